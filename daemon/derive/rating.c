/* SPDX-License-Identifier: MIT */
#include "derive/rating.h"

#include "base/timestamp.h"
#include "science/correction.h"

#include <math.h>

/* What a day of levels is told to be: the later in this list, the worse. */
enum closeness { NOT_CLOSED, WITHIN_TOLERANCE, BEYOND_TOLERANCE };

static enum closeness closeness_of(const struct anchor *left, const struct anchor *right, int64_t time, double depth);
static void add_level_day(struct arena *arena, int64_t day, enum closeness worst, struct findings *findings);
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

void rating_of_level_days(struct arena *arena, const struct record *record, const uint32_t *deployment,
                          size_t anchor_count, const struct anchor *anchors, int64_t utc_offset,
                          struct findings *findings)
{
    enum closeness worst = NOT_CLOSED;
    int64_t day = TIME_NONE;
    for (size_t k = 1; k < anchor_count; k++) {
        const struct anchor *left = &anchors[k - 1], *right = &anchors[k];
        if (left->deployment != right->deployment)
            continue;
        size_t last = record_at_or_after(record, right->time + 1);
        for (size_t i = record_at_or_after(record, left->time + 1); i < last; i++) {
            int64_t own = day_of(record->time[i], utc_offset);
            if (deployment[i] != left->deployment)
                continue;
            if (own != day) {
                add_level_day(arena, day, worst, findings);
                worst = NOT_CLOSED;
                day = own;
            }
            enum closeness found = closeness_of(left, right, record->time[i], record->value[QUANTITY_DEPTH][i]);
            worst = found > worst ? found : worst;
        }
    }
    add_level_day(arena, day, worst, findings);
}

static enum closeness closeness_of(const struct anchor *left, const struct anchor *right, int64_t time, double depth)
{
    double size = fabs((right->level - right->depth) - (left->level - left->depth));
    double share = (double)(time - left->time) / (double)(right->time - left->time);
    if (isnan(depth))
        return NOT_CLOSED;
    return size * share > correction_stage_tolerance(depth) ? BEYOND_TOLERANCE : WITHIN_TOLERANCE;
}

static void add_level_day(struct arena *arena, int64_t day, enum closeness worst, struct findings *findings)
{
    if (worst == NOT_CLOSED)
        return;
    const char *text = arena_printf(arena,
                                    "%s 0.01 ft or 0.2 %% of the depth, by the closing error between two hand "
                                    "readings (USGS OSW memorandum 96.05)",
                                    worst == WITHIN_TOLERANCE ? "within" : "beyond");
    findings_add(findings, arena,
                 &(struct finding){.kind = FINDING_RATING,
                                   .span = {day, day + DAY_MS},
                                   .quantity = QUANTITY_LEVEL,
                                   .value = NAN,
                                   .uncertainty = NAN,
                                   .text = text});
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
