/* SPDX-License-Identifier: MIT */
#include "science/alignment.h"

#include "science/check.h"

#include <criterion/criterion.h>
#include <math.h>

#define LONG_GAP INT64_C(1000000)

Test(alignment, formulas_agree_with_independent_values)
{
    const struct check rows[] = {
        CHECK(alignment_interpolate(1800, 0, 1013.2, 3600, 1011.6), 1012.400, 0.0005,
              "computed independently"),
        CHECK(alignment_error(1.2, 12, 1), 0.0411, 5e-05, "computed independently"),
        CHECK(alignment_error(1.2, 12, 3), 0.3701, 5e-05, "computed independently"),
        CHECK(alignment_interpolate(2700, 0, 1002.35, 3600, 1003.07), 1002.8900, 5e-05,
              "computed independently"),
        CHECK(alignment_error(1.2, 12, 24), 1.2, 0, "never more than the amplitude"),
    };
    CHECK_ALL(rows);
}

Test(alignment, a_line_is_kept_between_its_ends_and_nothing_is_said_beyond)
{
    cr_expect(alignment_interpolate(0, 0, 5, 10, 7) == 5);
    cr_expect(alignment_interpolate(10, 0, 5, 10, 7) == 7);
    cr_expect(is_close(alignment_interpolate(4, 10, 7, 0, 5), 5.8, 1e-15), "ends in either order");
    cr_expect(alignment_interpolate(3, 3, 8, 3, 8) == 8);
    const struct check_missing rows[] = {
        MISSING(alignment_interpolate(-1, 0, 5, 10, 7)),
        MISSING(alignment_interpolate(11, 0, 5, 10, 7)),
        MISSING(alignment_interpolate(5, 0, NAN, 10, 7)),
        MISSING(alignment_interpolate(5, 0, 5, 10, NAN)),
        MISSING(alignment_interpolate(3, 3, 8, 3, 9)),
        MISSING(alignment_error(1, 0, 1)),
        MISSING(alignment_error(1, 12, NAN)),
        MISSING(alignment_error(NAN, 12, 1)),
    };
    MISSING_ALL(rows);
}

Test(alignment, a_sweep_agrees_with_single_lines_and_reports_the_gaps)
{
    const int64_t source[] = {0, 10, 20, 60};
    const double values[] = {1, 3, 2, 6};
    const int64_t times[] = {-5, 0, 4, 10, 10, 15, 20, 40, 60, 61};
    const double expected[] = {NAN, 1, 1.8, 3, 3, 2.5, 2, NAN, 6, NAN};
    const int64_t expected_gaps[] = {-1, 0, 10, 0, 0, 10, 0, 40, 0, -1};
    double got[10];
    int64_t gaps[10];
    alignment_interpolate_sweep(10, times, 4, source, values, 30, got, gaps);
    for (size_t i = 0; i < 10; i++) {
        cr_expect(is_same(got[i], expected[i]) || is_close(got[i], expected[i], 1e-15), "%zu: %g", i, got[i]);
        cr_expect(gaps[i] == expected_gaps[i], "%zu: %ld", i, (long)gaps[i]);
    }
}

Test(alignment, missing_source_values_are_passed_over)
{
    const int64_t source[] = {0, 10, 20, 30, 40};
    const double values[] = {NAN, 1, NAN, 3, NAN};
    const int64_t times[] = {5, 10, 20, 25, 30, 35};
    const double expected[] = {NAN, 1, 2, 2.5, 3, NAN};
    double got[6];
    alignment_interpolate_sweep(6, times, 5, source, values, LONG_GAP, got, NULL);
    for (size_t i = 0; i < 6; i++)
        cr_expect(is_same(got[i], expected[i]) || is_close(got[i], expected[i], 1e-15), "%zu: %g", i, got[i]);
}

Test(alignment, a_span_inside_a_long_source_gives_what_the_whole_gives)
{
    enum {
        SOURCE = 500,
        TIMES = 900
    };
    int64_t source[SOURCE], times[TIMES];
    double values[SOURCE], whole[TIMES], part[TIMES];
    for (int i = 0; i < SOURCE; i++) {
        source[i] = 7 * i + i % 3;
        values[i] = i % 11 == 0 ? NAN : sin(i * 0.1);
    }
    for (int i = 0; i < TIMES; i++)
        times[i] = 4 * i;
    alignment_interpolate_sweep(TIMES, times, SOURCE, source, values, LONG_GAP, whole, NULL);
    for (size_t from = 0; from < TIMES; from += 37) {
        alignment_interpolate_sweep(TIMES - from, times + from, SOURCE, source, values, LONG_GAP, part, NULL);
        for (size_t i = from; i < TIMES; i++)
            cr_expect(is_same(part[i - from], whole[i]), "from %zu, %zu", from, i);
    }
}

Test(alignment, an_empty_source_covers_nothing_and_no_times_touch_nothing)
{
    const int64_t times[] = {1, 2};
    double got[] = {7, 7};
    int64_t gaps[2];
    alignment_interpolate_sweep(2, times, 0, NULL, NULL, LONG_GAP, got, gaps);
    cr_expect(isnan(got[0]) && isnan(got[1]) && gaps[0] == -1);
    got[0] = 7;
    alignment_interpolate_sweep(0, NULL, 0, NULL, NULL, LONG_GAP, got, gaps);
    cr_expect(got[0] == 7);
}

Test(alignment, a_shift_in_time_changes_nothing)
{
    const int64_t shift = INT64_C(1700000000123);
    const int64_t source[] = {0, 600000, 1200000};
    const int64_t moved_source[] = {shift, shift + 600000, shift + 1200000};
    const double values[] = {1013.2, 1012.9, 1013.4};
    int64_t times[12], moved[12];
    for (int i = 0; i < 12; i++) {
        times[i] = i * 100001;
        moved[i] = shift + times[i];
    }
    double here[12], there[12];
    alignment_interpolate_sweep(12, times, 3, source, values, LONG_GAP, here, NULL);
    alignment_interpolate_sweep(12, moved, 3, moved_source, values, LONG_GAP, there, NULL);
    for (size_t i = 0; i < 12; i++)
        cr_expect(is_same(here[i], there[i]), "%zu", i);
}

/* A day of the half-daily tide of the air sampled every 3 h: the error stays under the bound, and comes near
 * it. */
Test(alignment, the_bound_of_interpolation_error_holds_for_a_tide_of_air)
{
    double largest = 0;
    for (int minute = 0; minute < 24 * 60; minute++) {
        const int64_t t0 = minute / 180 * 180;
        const double angle = 2 * 3.14159265358979323846 / 720;
        const double got = alignment_interpolate(minute, t0, 1.2 * sin(angle * (double)t0), t0 + 180,
                                                 1.2 * sin(angle * (double)(t0 + 180)));
        largest = fmax(largest, fabs(got - 1.2 * sin(angle * minute)));
    }
    const double bound = alignment_error(1.2, 12, 3);
    cr_expect(largest <= bound && largest > bound / 2, "%g, bound %g", largest, bound);
}
