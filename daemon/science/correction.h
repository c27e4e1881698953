/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_CORRECTION_H
#define RILLWARD_SCIENCE_CORRECTION_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Corrections from what a crew measures at a visit: fouling, calibration drift, and their limits.
 *
 * After Wagner, Boulger, Oblinger and Smith (2006), USGS Techniques and Methods 1-D3; formulas, limits and
 * ratings are from memory and were not compared with the printed text. Sign: an error here is what must be
 * ADDED to the reading. Fouling is applied first, then drift, each as a layer of its own; raw values stay.
 * NaN in: NaN out. */

/* Fouling: the change of the monitor by cleaning, less the change that the field meter saw meanwhile.
 * In the unit of the readings, and in per cent of the reading before cleaning (NaN if that is 0).
 * Check values: correction_fouling(668, 640, 659, 655) = 24, correction_fouling_percent(same) = 3.75. */
double correction_fouling(double monitor_after, double monitor_before, double field_after,
                          double field_before);
double correction_fouling_percent(double monitor_after, double monitor_before, double field_after,
                                  double field_before);

/* Calibration drift: the standard less what the cleaned monitor reads in it; per cent of the reading.
 * Check values: correction_drift(1413, 1392) = 21, correction_drift_percent(1413, 1392) = 1.5086. */
double correction_drift(double standard, double reading);
double correction_drift_percent(double standard, double reading);

/* An error found at one visit, prorated over the time since the last: linear from `start_error` at
 * `start_ms` to `end_error` at `end_ms`. Outside the two visits: NaN; equal times: NaN.
 * Check value: 600 with 3.75 % after 30 days is 607.5 on day 10. */
double correction_prorated(double value, int64_t time_ms, int64_t start_ms, int64_t end_ms,
                           double start_error, double end_error);
double correction_prorated_percent(double value, int64_t time_ms, int64_t start_ms, int64_t end_ms,
                                   double start_percent, double end_percent);

/* Drift checked in two or more standards: the error is piecewise linear in the reading, the end pieces are
 * extended, and `weight` (0..1, the share of time gone by) prorates it. `readings` ascending, `count` at
 * least 1 (with 1 the error is constant); equal neighbouring readings: NaN.
 * Check value: readings 98, 990 in standards 100, 1000: 500 at half time becomes 502.8027. */
double correction_multi_point(double value, size_t count, const double *readings, const double *standards,
                              double weight);

/* What limits and ratings exist for. Units: degC, mS/cm, mg/L, pH units, turbidity units. */
enum correction_quantity {
    CORRECTION_TEMPERATURE,
    CORRECTION_CONDUCTANCE,
    CORRECTION_OXYGEN,
    CORRECTION_PH,
    CORRECTION_TURBIDITY,
    CORRECTION_QUANTITY_COUNT
};

enum correction_rating {
    CORRECTION_UNRATED, /* NaN in */
    CORRECTION_EXCELLENT,
    CORRECTION_GOOD,
    CORRECTION_FAIR,
    CORRECTION_POOR
};

/* `size` is |fouling| + |drift| in the unit of the quantity, `value` the corrected reading it belongs to.
 * Where a limit has an absolute and a per-cent form, the greater counts. The rating speaks of the size of the
 * correction, not of the error that is left.
 *   is_needed      : larger than the calibration criterion (0.2 degC; 5 uS/cm or 3 %; 0.3 mg/L ...)
 *   is_publishable : not larger than the maximum allowable (2 degC; 30 %; 2 mg/L or 20 % ...) */
bool correction_is_needed(enum correction_quantity quantity, double size, double value);
bool correction_is_publishable(enum correction_quantity quantity, double size, double value);
enum correction_rating correction_rating(enum correction_quantity quantity, double size, double value);

/* "excellent", "good", "fair", "poor", "unrated". */
const char *correction_rating_name(enum correction_rating rating);

/* Accuracy asked of a stage record [m]: the greater of 0.01 ft and 0.2 % of the effective stage (depth
 * above the sensor or above zero flow, not above a distant datum): USGS Office of Surface Water Technical
 * Memorandum 96.05.  Check values: 0.003048 at 1 m, 0.006 at 3 m. */
double correction_stage_tolerance(double effective_stage_m);

#endif
