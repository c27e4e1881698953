/* SPDX-License-Identifier: MIT */
/* The last step of the chain: from the first datum to the one that was valid. */
#include "derive/derive.h"

#include <math.h>

static const struct datum_change *change_at(const struct station *station, int64_t time);
static void tell_datum(struct arena *arena, const struct station *station, struct derived *derived);

void derive_to_datum(struct arena *arena, const struct station *station, struct derived *derived)
{
    struct record *r = &derived->record;
    double *level = r->value[QUANTITY_LEVEL];
    if (station->datum_change_count == 0 || !level)
        return;
    for (size_t i = 0; i < r->n; i++) {
        double offset = derive_datum_offset(station, r->time[i]);
        level[i] -= offset;
        derived->offset[i] -= offset;
    }
    for (size_t k = 0; k < derived->check_count; k++) {
        struct check_result *check = &derived->checks[k];
        if (check->quantity != QUANTITY_LEVEL)
            continue;
        check->sensor -= derive_datum_offset(station, check->time);
        check->reference -= derive_datum_offset(station, check->time);
    }
    tell_datum(arena, station, derived);
}

double derive_datum_offset(const struct station *station, int64_t time)
{
    const struct datum_change *change = change_at(station, time);
    return change ? change->offset : 0;
}

/* NULL before the first. */
static const struct datum_change *change_at(const struct station *station, int64_t time)
{
    const struct datum_change *found = NULL;
    for (size_t k = 0; k < station->datum_change_count && station->datum_changes[k].from <= time; k++)
        found = &station->datum_changes[k];
    return found;
}

static void tell_datum(struct arena *arena, const struct station *station, struct derived *derived)
{
    const struct record *r = &derived->record;
    for (size_t i = 0, first = 0; i < r->n; i++) {
        const struct datum_change *change = change_at(station, r->time[i]);
        bool is_last = i + 1 == r->n || change_at(station, r->time[i + 1]) != change ||
                       r->time[i + 1] - r->time[i] > FINDING_PAUSE;
        if (!is_last)
            continue;
        const char *text = change ? arena_printf(arena, "level 0 is '%s', %+.4f m from the first: '%s'", change->datum,
                                                 change->offset, station->datum)
                                  : arena_printf(arena, "level 0 is '%s', the first", station->datum);
        findings_add(&derived->findings, arena,
                     &(struct finding){.kind = FINDING_DATUM,
                                       .span = {r->time[first], r->time[i] + 1},
                                       .quantity = QUANTITY_LEVEL,
                                       .value = change ? change->offset : 0,
                                       .uncertainty = NAN,
                                       .text = text});
        first = i + 1;
    }
}
