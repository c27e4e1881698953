/* SPDX-License-Identifier: MIT */
#include "science/clock.h"

#include <math.h>

#define SUSPECT_PPM 100.0
#define LARGEST_TOLERANCE_MS 30000
#define ZONE_STEP_MS 900000     /* zones and daylight saving move in quarters of an hour */
#define ZONE_TOLERANCE_MS 60000 /* crews set clocks to the minute */

static bool advances(const struct clock_check *check);
static bool is_zone_step(int64_t difference_ms);
static int64_t magnitude(int64_t difference_ms);

/* Only the correction is computed in floating point, so that the stamp itself loses no digit. */
int64_t clock_true_time(const struct clock_check *check, int64_t logger_time_ms)
{
    const int64_t since_start = logger_time_ms - check->logger_start_ms;
    int64_t correction = 0;
    if (advances(check)) {
        const int64_t logger_span = check->logger_end_ms - check->logger_start_ms;
        const int64_t true_span = check->true_end_ms - check->true_start_ms;
        const double slowness = (double)(true_span - logger_span) / (double)logger_span;
        correction = llround((double)since_start * slowness);
    }
    return check->true_start_ms + since_start + correction;
}

double clock_rate_ppm(const struct clock_check *check)
{
    if (!advances(check))
        return NAN;
    const int64_t logger_span = check->logger_end_ms - check->logger_start_ms;
    const int64_t true_span = check->true_end_ms - check->true_start_ms;
    return 1e6 * (double)(logger_span - true_span) / (double)true_span;
}

enum clock_verdict clock_judge(const struct clock_check *check, int64_t interval_ms)
{
    const int64_t difference = magnitude(check->logger_end_ms - check->true_end_ms);
    const int64_t twentieth = interval_ms / 20;
    const int64_t tolerance = twentieth < LARGEST_TOLERANCE_MS ? twentieth : LARGEST_TOLERANCE_MS;
    if (difference <= tolerance)
        return CLOCK_AGREES;
    if (is_zone_step(difference))
        return CLOCK_WRONG_ZONE;
    const double rate = clock_rate_ppm(check);
    if (difference > interval_ms / 2 || isnan(rate) || fabs(rate) > SUSPECT_PPM)
        return CLOCK_SUSPECT;
    return CLOCK_DRIFTED;
}

static bool advances(const struct clock_check *check)
{
    return check->logger_end_ms > check->logger_start_ms && check->true_end_ms > check->true_start_ms;
}

static bool is_zone_step(int64_t difference_ms)
{
    const int64_t steps = (difference_ms + ZONE_STEP_MS / 2) / ZONE_STEP_MS;
    return steps > 0 && magnitude(difference_ms - steps * ZONE_STEP_MS) <= ZONE_TOLERANCE_MS;
}

static int64_t magnitude(int64_t difference_ms)
{
    return difference_ms < 0 ? -difference_ms : difference_ms;
}
