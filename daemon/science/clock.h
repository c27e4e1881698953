/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_CLOCK_H
#define RILLWARD_SCIENCE_CLOCK_H

#include <stdbool.h>
#include <stdint.h>

/* Drift of a logger's clock, from two comparisons with true time. All times in ms UTC, within a few thousand
 * years of 1970. Correct before air pressure is aligned; keep the stamp that the logger wrote. Corrected
 * stamps are no longer round: keep them as they are. */
struct clock_check {
    int64_t logger_start_ms; /* what the logger showed when it was set ... */
    int64_t true_start_ms;   /* ... and the true time of that instant */
    int64_t logger_end_ms;   /* the same at retrieval */
    int64_t true_end_ms;
};

enum clock_verdict {
    CLOCK_AGREES,    /* leave the stamps */
    CLOCK_DRIFTED,   /* prorate */
    CLOCK_SUSPECT,   /* do not prorate: ask the crew (more than half an interval, or more than 100 ppm) */
    CLOCK_WRONG_ZONE /* do not prorate: off by a multiple of 15 min, as a missed zone or DST change is */
};

/* True time of a logger's stamp: drift is taken as linear between the comparisons and, as clocks go on,
 * beyond them. If the two comparisons do not both advance, only the first offset is applied.
 * Check value: a clock 30 s fast after a day: 43200000 -> 43185005. */
int64_t clock_true_time(const struct clock_check *check, int64_t logger_time_ms);

/* Rate [ppm], above 0 if the logger's clock is fast; NaN if the comparisons do not both advance. Crystals:
 * 20 ppm typical, 1.7 s a day.  Check value: 52 s fast in 30 days: 20.06. */
double clock_rate_ppm(const struct clock_check *check);

/* What to do, by the difference at retrieval and the rate; `interval_ms` is the logger's sampling interval.
 * Drifted: the difference is larger than 30 s or a twentieth of the interval, whichever is less. */
enum clock_verdict clock_judge(const struct clock_check *check, int64_t interval_ms);

#endif
