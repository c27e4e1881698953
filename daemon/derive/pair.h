/* SPDX-License-Identifier: MIT */
/* Barometers against each other: what two of them differ by, week by week, and which of them drifted.
 *
 * Two barometers near each other differ by a constant, within half a hPa or so: calibration, and an error of an
 * elevation. What changes in it is the drift of one. Of a week (of UTC, beginning on Monday) the median of the
 * differences counts, of at least PAIR_SAMPLES hours that both cover. */
#ifndef RILLWARD_DERIVE_PAIR_H
#define RILLWARD_DERIVE_PAIR_H

#include "derive/air.h"

#define PAIR_WEEK ((int64_t)7 * 24 * 3600 * 1000)
enum { PAIR_SAMPLES = 24, PAIR_FIRST_WEEKS = 4 };

/* Beginning of the week that holds `time`. */
int64_t pair_week(int64_t time);

/* Median of [from, from + PAIR_WEEK) at each whole hour: of `own`, and of `own` less `other` carried to its elevation
 * [Pa]. NaN, NaN where too few hours are covered by both. */
struct pair_week_result {
    double own, difference;
};
struct pair_week_result pair_compare(const struct air_source *own, const struct air_source *other, int64_t from,
                                     int64_t largest_gap);

/* What a drift of more than `limit` since the first weeks means, with the drift of `own` against up to two others (NaN:
 * not known). */
enum pair_verdict {
    PAIR_STEADY,
    PAIR_UNDECIDED, /* one of the two drifted, and no third can say which */
    PAIR_OWN,       /* it is this one: it moved against a third as well */
    PAIR_OTHER      /* it is the other: a third moved with this one */
};
enum pair_verdict pair_judge(double limit, double against_first, double against_second);

#endif
