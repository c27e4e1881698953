/* SPDX-License-Identifier: MIT */
#include "derive/rating.h"

#include "base/timestamp.h"

#include <math.h>

static int64_t day_of(int64_t time, int64_t utc_offset);
static void add_day(struct arena *arena, enum quantity quantity, int64_t day, enum correction_rating rating,
                    struct findings *findings);

void rating_of_days(struct arena *arena, const struct record *record, size_t count,
                    const struct correction *corrections, int64_t utc_offset, struct findings *findings)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        enum correction_rating lowest = CORRECTION_UNRATED;
        int64_t day = TIME_NONE;
        for (size_t k = 0; k < count; k++) {
            const struct correction *c = &corrections[k];
            size_t last = c->quantity == q ? record_at_or_after(record, c->to + 1) : 0;
            for (size_t i = record_at_or_after(record, c->from + 1); i < last; i++) {
                int64_t own = day_of(record->time[i], utc_offset);
                if (own != day) {
                    add_day(arena, q, day, lowest, findings);
                    lowest = CORRECTION_UNRATED;
                    day = own;
                }
                enum correction_rating rating = rating_of_sample(c, record->time[i], record->value[q][i]);
                lowest = rating > lowest ? rating : lowest; /* the higher number is the poorer */
            }
        }
        add_day(arena, q, day, lowest, findings);
    }
}

enum correction_rating rating_of_sample(const struct correction *correction, int64_t time, double value)
{
    double share = (double)(time - correction->from) / (double)(correction->to - correction->from);
    double scale = correction->is_percent ? fabs(value / correction->value) : 1;
    return correction_rating(correction_quantity_of(correction->quantity), correction->size * share * scale, value);
}

static int64_t day_of(int64_t time, int64_t utc_offset)
{
    return timestamp_floor(time + utc_offset, DAY_MS) - utc_offset;
}

static void add_day(struct arena *arena, enum quantity quantity, int64_t day, enum correction_rating rating,
                    struct findings *findings)
{
    if (rating == CORRECTION_UNRATED)
        return;
    const char *text = arena_printf(arena, "%s, by the size of the corrections for fouling and drift (USGS TM 1-D3)",
                                    correction_rating_name(rating));
    findings_add(findings, arena,
                 &(struct finding){.kind = FINDING_RATING,
                                   .span = {day, day + DAY_MS},
                                   .quantity = quantity,
                                   .value = NAN,
                                   .uncertainty = NAN,
                                   .text = text});
}
