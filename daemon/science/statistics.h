/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_STATISTICS_H
#define RILLWARD_SCIENCE_STATISTICS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Statistics over arrays of `n` values. Missing (NaN) values are passed over; nothing left: NaN. */

/* Arithmetic mean, and standard deviation with n-1 in the divisor (NaN for fewer than two values). */
double statistics_mean(size_t n, const double *values);
double statistics_standard_deviation(size_t n, const double *values);

/* Quantile 0..1 by linear interpolation between order statistics ((n-1) q, the usual default), and median.
 * They REORDER `values`; give a copy if the order matters. Linear time on average. */
double statistics_quantile(size_t n, double *values, double quantile);
double statistics_median(size_t n, double *values);

/* Median of the distances from the median; 1.4826 times it estimates a standard deviation that outliers do
 * not move. REPLACES `values` by those distances. */
double statistics_median_deviation(size_t n, double *values);

/* The usual step of ascending times: the middle one by length (the longer of two) of those that are at most `longest`;
 * 0 where there is none. `scratch` holds n numbers. One comparison a step where most steps are alike. */
int64_t statistics_usual_step(size_t n, const int64_t *times, int64_t longest, double *scratch);

/* Pearson's correlation of pairs (either missing: pair passed over); NaN for fewer than two pairs or where
 * one side does not vary. */
double statistics_correlation(size_t n, const double *x, const double *y);

/* A straight line through points, kept about its centre so that x may be a time in ms since 1970. */
struct statistics_line {
    double x_centre;
    double y_centre; /* value of the line at x_centre */
    double slope;
    double slope_uncertainty;  /* standard error; NaN where not known (two points, robust fit) */
    double residual_deviation; /* least squares: sqrt(SS / (n-2)), NaN for two points; robust: 1.4826 MAD */
    size_t count;              /* points used */
};

/* Least squares. False, and *ret_line untouched, for fewer than two points or no spread in x. */
bool statistics_fit_line(size_t n, const double *x, const double *y, struct statistics_line *ret_line);

/* Theil (1950) and Sen (1968, J. Am. Stat. Assoc. 63:1379-1389): slope is the median of the slopes of all
 * pairs of points with different x, the height the median of what is left; up to 29 % of wild points do not
 * move it. False as above, or for more than STATISTICS_ROBUST_LIMIT points. */
#define STATISTICS_ROBUST_LIMIT 64
bool statistics_fit_line_robust(size_t n, const double *x, const double *y, struct statistics_line *ret_line);

double statistics_line_at(const struct statistics_line *line, double x);

/* The most events in any half-open window [t, t + window). `times_ms` ascending, window above 0. Eleven
 * alarms or more in ten minutes are a flood in the sense of ISA-18.2. */
size_t statistics_most_in_window(size_t n, const int64_t *times_ms, int64_t window_ms);

#endif
