/* SPDX-License-Identifier: MIT */
/* The network at a glance, for a terminal or as JSON: stations and their last data, what waits or was set aside and
 * why, open alarms, the outbox. Reads the store beside a running service. */
#ifndef RILLWARD_SERVICE_STATUS_H
#define RILLWARD_SERVICE_STATUS_H

#include "base/error.h"
#include "base/text.h"
#include "config/config.h"
#include "store/store.h"

#include <stdbool.h>

struct status_options {
    bool as_json;
    bool in_colour;
    int64_t now;
};

/* Appends to ret. ret_needs_hand: anything waits for a person. */
bool status_render(const struct config *config, struct store *store, const struct status_options *options,
                   struct text *ret, bool *ret_needs_hand, struct error *error);

#endif
