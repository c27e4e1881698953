/* SPDX-License-Identifier: MIT */
/* The places that rules look at, and what a rule sees of one; between the files of service/. */
#ifndef RILLWARD_SERVICE_SUBJECT_H
#define RILLWARD_SERVICE_SUBJECT_H

#include "alarms/rules.h"
#include "service/pipeline.h"

/* What counts as a visit: the level was read, or the logger put in. */
#define VISIT_NOTES (LEVEL_NOTES | 1u << NOTE_IN_WATER)

struct subject {
    const char *id;
    uint32_t place;
    bool is_barometer;
    int64_t utc_offset;
    int64_t data_until; /* last reading; TIME_NONE */
};

/* Finished values read once and widened only when a rule asks for more. Zeroed at first, but for `wish`: what is read
 * at once where it is known that rules will ask for it; empty: what the first one asks for. */
struct row_cache {
    struct span wish, span;
    struct record record;
    struct check_result *checks;
    size_t check_count;
};

bool subject_find(struct pipeline *pipeline, const char *id, bool is_barometer, uint32_t place, struct subject *ret,
                  struct error *error);

/* Can a rule of this kind and quantity be about stations, or about barometers? */
bool subject_suits(const struct rule *rule, bool is_barometer);

/* What the rule sees in `window` (which may grow: a change since the last visit needs whole stretches between visits)
 * for a change in `changed`. `rows` is what ret->record points to. */
bool subject_view(struct pipeline *pipeline, const struct subject *subject, const struct rule *rule,
                  struct span changed, int64_t now, struct span *window, struct row_cache *cache, struct record *rows,
                  struct rule_view *ret, struct error *error);

#endif
