/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_ALIGNMENT_H
#define RILLWARD_SCIENCE_ALIGNMENT_H

#include <stddef.h>
#include <stdint.h>

/* Bringing one series to the times of another: the air pressure to each time of the water logger. Linear
 * between neighbours, never beyond the ends; the water series is never resampled. Times in ms UTC. */

/* The straight line through (t0, v0) and (t1, v1), at `time`, which must lie within them (in either order),
 * else NaN. Equal times: the common value, if it is one.
 * Check value: alignment_interpolate(1800, 0, 1013.2, 3600, 1011.6) = 1012.4. */
double alignment_interpolate(int64_t time_ms, int64_t t0_ms, double v0, int64_t t1_ms, double v1);

/* Values of a source series at `n` other times, all times in ascending order (repeats allowed).
 * A missing (NaN) source value is passed over: its neighbours make the bracket. ret_gaps_ms, if not NULL,
 * gets the width of the bracket used, 0 for an exact hit, -1 where the source does not cover the time. A
 * bracket wider than `longest_gap_ms` gives NaN and its width. Output must not alias input. */
void alignment_interpolate_sweep(size_t n, const int64_t *times_ms, size_t source_count,
                                 const int64_t *source_times_ms, const double *source_values,
                                 int64_t longest_gap_ms, double *ret_values, int64_t *ret_gaps_ms);

/* Largest error of linear interpolation over a gap for a wave of this amplitude and period (gap and period
 * in one unit of time): min(A, A (2 pi / T)2 h2 / 8). The half-daily tide of the air, 1.2 hPa at the
 * equator, over a gap of 3 h: alignment_error(1.2, 12, 3) = 0.3701 hPa. */
double alignment_error(double amplitude, double period, double gap);

#endif
