/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_SCREENING_H
#define RILLWARD_SCIENCE_SCREENING_H

#include <stddef.h>
#include <stdint.h>

/* The arithmetic of the QARTOD tests for one sample: numbers in, one flag out. Which tests run on what,
 * over which windows, and how gaps in time cut a series, is decided by the caller.
 *
 * U.S. IOOS, Manual for Real-Time Quality Control of Water Level Data, version 2.1 (2021). Flags are the
 * primary scheme of UNESCO/IOC Manuals and Guides 54, vol. 3 (2013). A missing (NaN) sample is 9; a test
 * that lacks a neighbour or a limit (NaN) is 2. Comparisons are strict: a value on the limit passes. */
enum screening_flag {
    SCREENING_PASS = 1,
    SCREENING_NOT_EVALUATED = 2,
    SCREENING_SUSPECT = 3,
    SCREENING_FAIL = 4,
    SCREENING_MISSING = 9
};

/* Test 4, gross range: outside what the sensor can give fails, outside what the user expects is suspect. A
 * NaN limit is no limit.  Check value: 5.1 in sensor -0.5..10, user -0.5..5: suspect. */
enum screening_flag screening_gross_range(double value, double sensor_least, double sensor_most,
                                          double user_least, double user_most);

/* Test 6, spike: distance of `value` from the mean of its two neighbours. */
enum screening_flag screening_spike(double before, double value, double after, double suspect_above,
                                    double fail_above);

/* Test 7, rate of change: step larger than `deviations` times the deviation of the series (of a window that
 * ends before this sample). Suspect, never fail. */
enum screening_flag screening_step(double previous, double value, double deviations, double deviation);

/* Test 8, flat line, of the last of `n` values: the run of values within `tolerance` of the last one, which
 * counts itself. The manual's text counts so, its code column does not, and omits the absolute value. Fewer
 * than `suspect_count` values: not evaluated. */
enum screening_flag screening_flat(size_t n, const double *values, double tolerance, size_t suspect_count,
                                   size_t fail_count);

/* Test 10, attenuated signal, of a window: the range (largest less smallest) is below a limit. */
enum screening_flag screening_attenuated(size_t n, const double *values, double suspect_below,
                                         double fail_below);

/* Test 1, timing: missing when the newest sample is older than the time allowed. */
enum screening_flag screening_gap(int64_t now_ms, int64_t newest_ms, int64_t allowed_ms);

/* One flag from those of several tests: 4 before 3 before 1 before 2 before 9, as the open reference
 * implementation of the tests ranks them. No flags: not evaluated. */
enum screening_flag screening_worst(size_t n, const enum screening_flag *flags);

#endif
