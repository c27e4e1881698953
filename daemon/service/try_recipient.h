/* SPDX-License-Identifier: MIT */
/* `rillward alarms test`: a test notice to a recipient, by the way that alarms take, and what came of it. */
#ifndef RILLWARD_SERVICE_TRY_RECIPIENT_H
#define RILLWARD_SERVICE_TRY_RECIPIENT_H

#include "base/error.h"
#include "base/text.h"
#include "config/config.h"
#include "store/store.h"

#include <stdbool.h>
#include <stdint.h>

/* How long the answer of a running service is waited for. */
#define TRY_PATIENCE (30 * INT64_C(1000))

/* Puts one notice for each of the recipients into the outbox, rings the running service, and waits for the first answer
 * of each. Appends a line for each to `ret`. `ret_needs_hand`: somebody was not reached. INPUT error for a recipient
 * that the settings do not have: then nobody is told. */
bool try_recipients(const struct config *config, struct store *store, char *const *ids, int count, int64_t now,
                    int64_t patience, struct text *ret, bool *ret_needs_hand, struct error *error);

#endif
