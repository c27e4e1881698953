/* SPDX-License-Identifier: MIT */
#include "science/statistics.h"

#include "science/check.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool is_flood(size_t n, const double *minutes);
static double scattered(unsigned *state);
static int by_value(const void *a, const void *b);

Test(statistics, eleven_alarms_in_ten_minutes_are_a_flood)
{
    const struct check rows[] = {
        CHECK(is_flood(11, (double[]){0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 9.5}), 1, 0.1, "ISA-18.2: 11 in 10 min"),
        CHECK(is_flood(10, (double[]){0, 1, 2, 3, 4, 5, 6, 7, 8, 9}), 0, 0.1, "ISA-18.2: 10 is not more than 10"),
        CHECK(is_flood(13, (double[]){0, 4, 5, 5, 6, 6, 7, 8, 9, 11, 12, 13, 13.9}), 1, 0.1, "ISA-18.2: 12 in 4..14"),
    };
    CHECK_ALL(rows);
}

Test(statistics, mean_and_deviation_are_those_of_a_textbook)
{
    const double values[] = {2, 4, NAN, 4, 4, 5, 5, 7, 9};
    cr_expect(statistics_mean(9, values) == 5, "computed by hand");
    cr_expect(is_close(statistics_standard_deviation(9, values), sqrt(32.0 / 7), 1e-15), "computed by hand");
    cr_expect(isnan(statistics_standard_deviation(1, values)));
    cr_expect(isnan(statistics_mean(0, NULL)) && isnan(statistics_mean(1, values + 2)));
}

Test(statistics, the_usual_step_is_the_middle_one_of_those_that_count)
{
    unsigned state = 3;
    double scratch[60];
    for (size_t n = 1; n <= 60; n++) {
        int64_t times[60] = {1000}, longest = 7;
        double steps[60];
        size_t count = 0;
        for (size_t i = 1; i < n; i++) { /* mostly 3 in every second round */
            int64_t step = n % 2 && scattered(&state) < 0.6 ? 3 : 1 + (int64_t)(scattered(&state) * 9);
            times[i] = times[i - 1] + step;
            if (step <= longest)
                steps[count++] = (double)step;
        }
        qsort(steps, count, sizeof steps[0], by_value);
        cr_expect_eq(statistics_usual_step(n, times, longest, scratch), count > 0 ? (int64_t)steps[count / 2] : 0,
                     "n %zu", n);
    }
}

Test(statistics, a_large_offset_does_not_eat_the_deviation)
{
    double values[100];
    for (int i = 0; i < 100; i++)
        values[i] = 1.7e12 + i % 2;
    cr_expect(is_close(statistics_standard_deviation(100, values), sqrt(25.0 / 99), 1e-9));
}

Test(statistics, median_and_quantiles_are_those_of_the_sorted_values)
{
    unsigned state = 7;
    for (size_t n = 1; n <= 60; n++) {
        double values[60], sorted[60];
        for (size_t i = 0; i < n; i++)
            sorted[i] = floor(20 * scattered(&state)); /* many ties */
        memcpy(values, sorted, sizeof values);
        qsort(sorted, n, sizeof sorted[0], by_value);
        for (int tenth = 0; tenth <= 10; tenth++) {
            const double position = (double)(n - 1) * (tenth / 10.0);
            const size_t k = (size_t)position;
            const double above = k + 1 < n ? sorted[k + 1] : sorted[k];
            const double expected = sorted[k] + (above - sorted[k]) * (position - (double)k);
            cr_expect(is_close(statistics_quantile(n, values, tenth / 10.0), expected, 1e-12), "n %zu, %d", n, tenth);
        }
    }
}

Test(statistics, sorted_reversed_and_equal_values_have_their_median_too)
{
    enum { N = 10001 };
    static double values[N];
    for (int i = 0; i < N; i++)
        values[i] = i;
    cr_expect(statistics_median(N, values) == 5000);
    for (int i = 0; i < N; i++)
        values[i] = N - i;
    cr_expect(statistics_median(N, values) == 5001);
    for (int i = 0; i < N; i++)
        values[i] = 3;
    cr_expect(statistics_median(N, values) == 3);
}

Test(statistics, missing_values_are_passed_over_and_none_at_all_is_nan)
{
    double values[] = {NAN, 3, NAN, 1, 2, NAN};
    cr_expect(statistics_median(6, values) == 2);
    double none[] = {NAN, NAN};
    cr_expect(isnan(statistics_median(2, none)) && isnan(statistics_median(0, NULL)));
    double one[] = {1, 2};
    cr_expect(isnan(statistics_quantile(2, one, 1.1)) && isnan(statistics_quantile(2, one, NAN)));
}

Test(statistics, the_median_deviation_is_not_moved_by_a_wild_value)
{
    double calm[] = {1, 2, 3, 4, 5};
    double wild[] = {1, 2, 3, 4, 5000};
    cr_expect(statistics_median_deviation(5, calm) == 1);
    cr_expect(statistics_median_deviation(5, wild) == 1);

    const double x[] = {0, 1, 2, 3, 4};
    const double z[] = {-2, 1, 0, -1, 2};
    struct statistics_line line;
    cr_assert(statistics_fit_line_robust(5, x, z, &line));
    const double slope = line.slope;
    double rest[5];
    for (int i = 0; i < 5; i++)
        rest[i] = z[i] - slope * (i - 2);
    const double deviation = statistics_median_deviation(5, rest);
    cr_expect(deviation > 0 && is_close(line.residual_deviation / deviation, 1.482602, 3e-5),
              "1 / 0.674490, the quartile of the normal distribution");
}

Test(statistics, correlation_runs_from_minus_one_to_one)
{
    const double x[] = {1, 2, 3, 4, NAN};
    const double up[] = {10, 20, 30, 40, 1};
    const double down[] = {4, 3, 2, 1, 1};
    const double flat[] = {5, 5, 5, 5, 5};
    const double bent[] = {1, 4, 9, 16, 0};
    cr_expect(is_close(statistics_correlation(5, x, up), 1, 1e-15));
    cr_expect(is_close(statistics_correlation(5, x, down), -1, 1e-15));
    cr_expect(is_close(statistics_correlation(5, x, bent), 0.98437404, 1e-8), "computed independently");
    cr_expect(isnan(statistics_correlation(5, x, flat)) && isnan(statistics_correlation(1, x, up)));
}

Test(statistics, a_line_through_exact_points_is_recovered_even_at_times_of_today)
{
    double x[20], y[20];
    for (int i = 0; i < 20; i++) {
        x[i] = 1.7e12 + 900000.0 * i;
        y[i] = i == 4 ? NAN : 2.5 + 1e-7 * (x[i] - 1.7e12);
    }
    struct statistics_line line, robust;
    cr_assert(statistics_fit_line(20, x, y, &line));
    cr_assert(statistics_fit_line_robust(20, x, y, &robust));
    cr_expect(line.count == 19 && robust.count == 19);
    cr_expect(is_close(line.slope, 1e-7, 1e-15) && is_close(robust.slope, 1e-7, 1e-15));
    cr_expect(is_close(statistics_line_at(&line, 1.7e12), 2.5, 1e-9));
    cr_expect(is_close(statistics_line_at(&robust, 1.7e12), 2.5, 1e-9));
    cr_expect(line.residual_deviation < 1e-8 && robust.residual_deviation < 1e-8);
}

/* Five points by hand: slope 0.6, intercept 2.2, residual squares 2.4. */
Test(statistics, least_squares_gives_the_textbook_line_and_its_uncertainty)
{
    const double x[] = {1, 2, 3, 4, 5};
    const double y[] = {2, 4, 5, 4, 5};
    struct statistics_line line;
    cr_assert(statistics_fit_line(5, x, y, &line));
    cr_expect(is_close(line.slope, 0.6, 1e-14) && is_close(statistics_line_at(&line, 0), 2.2, 1e-14));
    cr_expect(is_close(line.residual_deviation, sqrt(2.4 / 3), 1e-14));
    cr_expect(is_close(line.slope_uncertainty, sqrt(0.8 / 10), 1e-14));
}

Test(statistics, the_robust_line_ignores_a_quarter_of_wild_points)
{
    double x[20], y[20];
    unsigned state = 3;
    for (int i = 0; i < 20; i++) {
        x[i] = i;
        y[i] = 1 + 0.5 * i + 0.01 * (scattered(&state) - 0.5);
        if (i % 4 == 3)
            y[i] += 100;
    }
    struct statistics_line plain, robust;
    cr_assert(statistics_fit_line(20, x, y, &plain));
    cr_assert(statistics_fit_line_robust(20, x, y, &robust));
    cr_expect(is_close(robust.slope, 0.5, 0.002), "%g", robust.slope);
    cr_expect(is_close(statistics_line_at(&robust, 10), 6, 0.02), "%g", statistics_line_at(&robust, 10));
    cr_expect(fabs(plain.slope - 0.5) > 0.1, "the plain line is moved: %g", plain.slope);
}

Test(statistics, what_is_no_line_is_refused_and_leaves_the_output_alone)
{
    const double x[] = {3, 3, 3};
    const double y[] = {1, 2, NAN};
    struct statistics_line line = {.count = 99};
    cr_expect(!statistics_fit_line(3, x, y, &line) && !statistics_fit_line_robust(3, x, y, &line));
    cr_expect(!statistics_fit_line(1, x, y, &line) && !statistics_fit_line(0, NULL, NULL, &line));
    cr_expect(!statistics_fit_line_robust(1, x, y, &line));
    double many[STATISTICS_ROBUST_LIMIT + 1];
    for (int i = 0; i <= STATISTICS_ROBUST_LIMIT; i++)
        many[i] = i;
    cr_expect(!statistics_fit_line_robust(STATISTICS_ROBUST_LIMIT + 1, many, many, &line));
    cr_expect(line.count == 99);
    cr_expect(statistics_fit_line_robust(STATISTICS_ROBUST_LIMIT, many, many, &line));
    cr_expect(line.slope == 1 && line.count == STATISTICS_ROBUST_LIMIT);
}

Test(statistics, two_points_make_a_line_without_uncertainty)
{
    const double x[] = {0, 2};
    const double y[] = {1, 5};
    struct statistics_line line;
    cr_assert(statistics_fit_line(2, x, y, &line));
    cr_expect(line.slope == 2 && isnan(line.slope_uncertainty) && isnan(line.residual_deviation));
}

Test(statistics, the_window_is_half_open)
{
    const int64_t times[] = {0, 600000, 600001, 1200000};
    cr_expect(statistics_most_in_window(2, times, 600000) == 1);
    cr_expect(statistics_most_in_window(2, times, 600001) == 2);
    cr_expect(statistics_most_in_window(4, times, 600000) == 2);
    cr_expect(statistics_most_in_window(0, NULL, 600000) == 0);
}

static bool is_flood(size_t n, const double *minutes)
{
    int64_t times[32];
    for (size_t i = 0; i < n; i++)
        times[i] = llround(minutes[i] * 60000);
    return statistics_most_in_window(n, times, 600000) > 10;
}

/* A fixed sequence in 0..1: the tests see the same numbers on every machine. */
static double scattered(unsigned *state)
{
    *state = *state * 1664525u + 1013904223u;
    return (double)(*state >> 8) / (double)(1u << 24);
}

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;
    return (x > y) - (x < y);
}
