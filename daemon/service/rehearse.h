/* SPDX-License-Identifier: MIT */
/* What the rules of the settings would have announced over the stored history: to whom, when it happened, when it would
 * have been known, how many a week, and how that differs from the alarms stored now. Nothing is written, nobody is
 * told. Under a second file of settings the same history is played once more, and told is what only one of them finds:
 * to tune a limit, rehearse the changed file against the one in force.
 *
 * When it would have been known is when the file arrived that holds the sample at which the episode was raised; silence
 * and overdue visits are known by the clock. Air pressure or notes that came later still are not looked at. Drops are
 * not rehearsed: their history is not kept. Silences and overdue visits that are over are not compared with the alarms.
 * What waits for hours, is gathered or is shelved is listed as if it were told. */
#ifndef RILLWARD_SERVICE_REHEARSE_H
#define RILLWARD_SERVICE_REHEARSE_H

#include "base/error.h"
#include "base/text.h"
#include "config/config.h"
#include "store/store.h"

struct rehearse_options {
    int64_t from, to; /* episodes that begin in [from, to); TIME_NONE and TIME_FOREVER: all */
    bool as_json;
    int64_t now;
    const struct config *against; /* settings whose rules are played over the same history and compared; NULL: none */
    const char *against_name;     /* their file, for people */
    void (*progress)(void *context, size_t places, size_t all); /* hears after each place; NULL: nobody looks */
    void *context;
};

/* Appends to ret. */
bool rehearse_render(const struct config *config, struct store *store, const struct rehearse_options *options,
                     struct text *ret, struct error *error);

#endif
