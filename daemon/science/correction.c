/* SPDX-License-Identifier: MIT */
#include "science/correction.h"

#include <math.h>

/* The greater of an absolute amount and a share of the value. */
struct limit {
    double absolute;
    double share;
};

struct quantity_limits {
    struct limit needed;      /* larger: correct */
    struct limit publishable; /* larger: withhold */
    struct limit rating[3];   /* not larger: excellent, good, fair */
};

static double prorated_error(int64_t time, int64_t start, int64_t end, double start_error, double end_error);
static double limit_at(struct limit limit, double value);

/* TM 1-D3, tables of calibration criteria, maximum allowable limits and accuracy ratings (from memory). */
static const struct quantity_limits limits[] = {
    [CORRECTION_TEMPERATURE] = {{0.2, 0}, {2.0, 0}, {{0.2, 0}, {0.5, 0}, {0.8, 0}}},
    [CORRECTION_CONDUCTANCE] = {{0.005, 0.03}, {0, 0.30}, {{0, 0.03}, {0, 0.10}, {0, 0.15}}},
    [CORRECTION_OXYGEN] = {{0.3, 0}, {2.0, 0.20}, {{0.3, 0.05}, {0.5, 0.10}, {0.8, 0.15}}},
    [CORRECTION_PH] = {{0.2, 0}, {2.0, 0}, {{0.2, 0}, {0.5, 0}, {0.8, 0}}},
    [CORRECTION_TURBIDITY] = {{0.5, 0.05}, {3.0, 0.30}, {{0.5, 0.05}, {1.0, 0.10}, {1.5, 0.15}}},
};
_Static_assert(sizeof limits / sizeof limits[0] == CORRECTION_QUANTITY_COUNT, "every quantity has limits");

static const char *const rating_names[] = {
    [CORRECTION_UNRATED] = "unrated", [CORRECTION_EXCELLENT] = "excellent", [CORRECTION_GOOD] = "good",
    [CORRECTION_FAIR] = "fair",       [CORRECTION_POOR] = "poor",
};

double correction_fouling(double monitor_after, double monitor_before, double field_after,
                          double field_before)
{
    return (monitor_after - monitor_before) - (field_after - field_before);
}

double correction_fouling_percent(double monitor_after, double monitor_before, double field_after,
                                  double field_before)
{
    if (monitor_before == 0)
        return NAN;
    const double error = correction_fouling(monitor_after, monitor_before, field_after, field_before);
    return 100 * error / monitor_before;
}

double correction_drift(double standard, double reading)
{
    return standard - reading;
}

double correction_drift_percent(double standard, double reading)
{
    return reading != 0 ? 100 * (standard - reading) / reading : NAN;
}

double correction_prorated(double value, int64_t time_ms, int64_t start_ms, int64_t end_ms,
                           double start_error, double end_error)
{
    return value + prorated_error(time_ms, start_ms, end_ms, start_error, end_error);
}

double correction_prorated_percent(double value, int64_t time_ms, int64_t start_ms, int64_t end_ms,
                                   double start_percent, double end_percent)
{
    return value * (1 + prorated_error(time_ms, start_ms, end_ms, start_percent, end_percent) / 100);
}

double correction_multi_point(double value, size_t count, const double *readings, const double *standards,
                              double weight)
{
    if (count == 0)
        return NAN;
    if (count == 1)
        return value + weight * (standards[0] - readings[0]);

    size_t i = 1; /* the piece from i-1 to i; the first and the last reach to infinity */
    while (i + 1 < count && value > readings[i])
        i++;
    const double width = readings[i] - readings[i - 1];
    if (!(width > 0))
        return NAN;
    const double left = standards[i - 1] - readings[i - 1];
    const double right = standards[i] - readings[i];
    return value + weight * (left + (right - left) * (value - readings[i - 1]) / width);
}

bool correction_is_needed(enum correction_quantity quantity, double size, double value)
{
    return fabs(size) > limit_at(limits[quantity].needed, value);
}

bool correction_is_publishable(enum correction_quantity quantity, double size, double value)
{
    return fabs(size) <= limit_at(limits[quantity].publishable, value);
}

enum correction_rating correction_rating(enum correction_quantity quantity, double size, double value)
{
    if (isnan(size) || isnan(value))
        return CORRECTION_UNRATED;
    const struct limit *rating = limits[quantity].rating;
    if (fabs(size) <= limit_at(rating[0], value))
        return CORRECTION_EXCELLENT;
    if (fabs(size) <= limit_at(rating[1], value))
        return CORRECTION_GOOD;
    if (fabs(size) <= limit_at(rating[2], value))
        return CORRECTION_FAIR;
    return CORRECTION_POOR;
}

const char *correction_rating_name(enum correction_rating rating)
{
    return rating_names[rating];
}

double correction_stage_tolerance(double effective_stage_m)
{
    const double hundredth_of_a_foot_m = 0.003048;
    if (isnan(effective_stage_m))
        return NAN;
    return fmax(hundredth_of_a_foot_m, 0.002 * fabs(effective_stage_m));
}

static double prorated_error(int64_t time, int64_t start, int64_t end, double start_error, double end_error)
{
    if (end <= start || time < start || time > end)
        return NAN;
    const double share = (double)(time - start) / (double)(end - start);
    return start_error + (end_error - start_error) * share;
}

static double limit_at(struct limit limit, double value)
{
    return isnan(value) ? NAN : fmax(limit.absolute, limit.share * fabs(value));
}
