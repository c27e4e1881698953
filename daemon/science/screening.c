/* SPDX-License-Identifier: MIT */
#include "science/screening.h"

#include <math.h>

static int rank_of(enum screening_flag flag);

/* Written with "less" and "greater" so that a NaN limit never trips. */
enum screening_flag screening_gross_range(double value, double sensor_least, double sensor_most,
                                          double user_least, double user_most)
{
    if (isnan(value))
        return SCREENING_MISSING;
    if (value < sensor_least || value > sensor_most)
        return SCREENING_FAIL;
    if (value < user_least || value > user_most)
        return SCREENING_SUSPECT;
    return SCREENING_PASS;
}

enum screening_flag screening_spike(double before, double value, double after, double suspect_above,
                                    double fail_above)
{
    if (isnan(value))
        return SCREENING_MISSING;
    if (isnan(before) || isnan(after))
        return SCREENING_NOT_EVALUATED;
    const double height = fabs(value - (before + after) / 2);
    if (height > fail_above)
        return SCREENING_FAIL;
    return height > suspect_above ? SCREENING_SUSPECT : SCREENING_PASS;
}

enum screening_flag screening_step(double previous, double value, double deviations, double deviation)
{
    if (isnan(value))
        return SCREENING_MISSING;
    if (isnan(previous) || isnan(deviations) || isnan(deviation))
        return SCREENING_NOT_EVALUATED;
    return fabs(value - previous) > deviations * deviation ? SCREENING_SUSPECT : SCREENING_PASS;
}

enum screening_flag screening_flat(size_t n, const double *values, double tolerance, size_t suspect_count,
                                   size_t fail_count)
{
    if (n == 0)
        return SCREENING_NOT_EVALUATED;
    const double last = values[n - 1];
    if (isnan(last))
        return SCREENING_MISSING;
    size_t equal = 1;
    while (equal < n && fabs(values[n - 1 - equal] - last) < tolerance) /* false for NaN: ends the run */
        equal++;
    if (equal >= fail_count)
        return SCREENING_FAIL;
    if (equal >= suspect_count)
        return SCREENING_SUSPECT;
    return n < suspect_count ? SCREENING_NOT_EVALUATED : SCREENING_PASS;
}

enum screening_flag screening_attenuated(size_t n, const double *values, double suspect_below,
                                         double fail_below)
{
    double least = INFINITY;
    double most = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        least = fmin(least, values[i]); /* fmin and fmax pass over NaN */
        most = fmax(most, values[i]);
    }
    if (!(most >= least))
        return n == 0 ? SCREENING_NOT_EVALUATED : SCREENING_MISSING;
    if (most - least < fail_below)
        return SCREENING_FAIL;
    return most - least < suspect_below ? SCREENING_SUSPECT : SCREENING_PASS;
}

enum screening_flag screening_gap(int64_t now_ms, int64_t newest_ms, int64_t allowed_ms)
{
    return now_ms - newest_ms > allowed_ms ? SCREENING_MISSING : SCREENING_PASS;
}

enum screening_flag screening_worst(size_t n, const enum screening_flag *flags)
{
    if (n == 0)
        return SCREENING_NOT_EVALUATED;
    enum screening_flag worst = SCREENING_MISSING;
    for (size_t i = 0; i < n; i++) {
        if (rank_of(flags[i]) > rank_of(worst))
            worst = flags[i];
    }
    return worst;
}

static int rank_of(enum screening_flag flag)
{
    switch (flag) {
    case SCREENING_FAIL:
        return 4;
    case SCREENING_SUSPECT:
        return 3;
    case SCREENING_PASS:
        return 2;
    case SCREENING_NOT_EVALUATED:
        return 1;
    case SCREENING_MISSING:
        break;
    }
    return 0;
}
