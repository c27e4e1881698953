/* SPDX-License-Identifier: MIT */
/* Sensors that drift without a check: what a station's own record says of them, week by week.
 *
 * Two thermometers at one station part. The daily range of oxygen fades, as it does under a growing film. The
 * night values of oxygen sink, with the season taken away: they are compared as saturation, which warmer
 * water does not lower. Each is the median of the last seven days against that of the first seven days since
 * the sensor was cleaned or put in, since the data begin, or since TREND_REACH before, whichever is latest;
 * of days of which at least 18 hours have a usable value, five of seven on each side.
 *
 * How sure: the difference of the medians over its standard error, from the scatter of the days on both sides
 * (1.2533 s / sqrt(n) for the median of normal values, s from the median deviation). Below TREND_SURE nothing
 * is claimed, and the check is even. What a trend cannot tell is the sensor from the water: the next visit
 * can, and the words say how. */
#ifndef RILLWARD_DERIVE_TREND_H
#define RILLWARD_DERIVE_TREND_H

#include "derive/findings.h"
#include "model/record.h"

#define TREND_WEEK ((int64_t)7 * 24 * 3600 * 1000)
#define TREND_REACH ((int64_t)45 * 24 * 3600 * 1000)
#define TREND_SURE 3.0

/* Beyond these somebody should look. Practice of the trade: where fouling and drift are corrected (USGS
 * Techniques and Methods 1-D3, as remembered: 0.2 degC, 0.3 mg/L), widened because a trend is no check; and
 * half of a daily range of at least 1 mg/L. */
#define TREND_TWINS 0.4 /* degC */
#define TREND_NIGHT 1.0 /* mg/L */
#define TREND_RANGE_SHARE 0.5
#define TREND_LEAST_RANGE 1.0 /* mg/L; below it a daily range has nothing to lose */

struct trend_input {
    const struct record *record; /* finished; from TREND_REACH and a week before the marks */
    int64_t utc_offset;          /* days are those of the station's standard time */
    const int64_t *visits;       /* ascending: when a sensor was cleaned, checked in a standard, or put in */
    size_t visit_count;
    struct span marks; /* ends of weeks to be judged: from <= mark < to */
};

/* Checks of the kinds CHECK_TWINS, CHECK_DAILY_RANGE and CHECK_NIGHT_VALUES, ascending by time, one of each a
 * week where there is enough to compare; sensor: now, reference: then, difference: 0 where nothing is
 * claimed, or where oxygen rose. Findings where a difference is beyond the limits. In the arena. */
void trends_find(struct arena *arena, const struct trend_input *input, struct check_result **ret_checks,
                 size_t *ret_count, struct findings *findings);

#endif
