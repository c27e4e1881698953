/* SPDX-License-Identifier: MIT */
#include "derive/pair.h"

#include "base/timestamp.h"
#include "science/gravity.h"
#include "science/statistics.h"

#include <math.h>

enum { HOURS = 168 };

int64_t pair_week(int64_t time)
{
    const int64_t monday = 4 * DAY_MS; /* 1970-01-05 */
    int64_t week = (time - monday) / PAIR_WEEK - ((time - monday) % PAIR_WEEK < 0);
    return week * PAIR_WEEK + monday;
}

struct pair_week_result pair_compare(const struct air_source *own, const struct air_source *other, int64_t from,
                                     int64_t largest_gap)
{
    int64_t time[HOURS], gap[HOURS];
    uint32_t barometer[HOURS];
    double here[HOURS], there[HOURS];
    double elevation = own->barometer->elevation, gravity = gravity_at(own->barometer->latitude, elevation);
    for (size_t k = 0; k < HOURS; k++)
        time[k] = from + (int64_t)k * HOUR_MS;
    air_pressure_at(HOURS, time, 1, own, elevation, gravity, largest_gap, here, barometer, gap);
    air_pressure_at(HOURS, time, 1, other, elevation, gravity, largest_gap, there, barometer, gap);
    size_t n = 0;
    for (size_t k = 0; k < HOURS; k++) {
        if (isnan(here[k]) || isnan(there[k]))
            continue;
        here[n] = here[k];
        there[n++] = here[k] - there[k];
    }
    if (n < PAIR_SAMPLES)
        return (struct pair_week_result){NAN, NAN};
    return (struct pair_week_result){statistics_median(n, here), statistics_median(n, there)};
}

enum pair_verdict pair_judge(double limit, double against_first, double against_second)
{
    if (!(fabs(against_first) > limit))
        return PAIR_STEADY;
    if (isnan(against_second))
        return PAIR_UNDECIDED;
    /* A third that saw half of it is no witness for either. */
    if (against_second * against_first > 0 && fabs(against_second) > limit)
        return PAIR_OWN;
    return fabs(against_second) < limit / 2 ? PAIR_OTHER : PAIR_UNDECIDED;
}
