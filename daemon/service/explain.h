/* SPDX-License-Identifier: MIT */
/* How one value came to be: reading, source file and line, clock, water, barometer, salinity, density, hand readings,
 * each correction, flag and the tests that set it, and what its uncertainty is made of. Derived anew from the facts in
 * the store. */
#ifndef RILLWARD_SERVICE_EXPLAIN_H
#define RILLWARD_SERVICE_EXPLAIN_H

#include "base/error.h"
#include "base/text.h"
#include "config/config.h"
#include "store/store.h"

#include <stdbool.h>

struct explain_options {
    const char *station;
    int64_t time;           /* the nearest sample within two hours is explained */
    enum quantity quantity; /* QUANTITY_COUNT: all that the station has */
    bool as_json;
};

/* Appends to ret. INPUT error where there is no such station or no sample near. */
bool explain_render(const struct config *config, struct store *store, const struct explain_options *options,
                    struct text *ret, struct error *error);

#endif
