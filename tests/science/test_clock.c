/* SPDX-License-Identifier: MIT */
#include "science/clock.h"

#include "science/check.h"

#include <criterion/criterion.h>
#include <math.h>

#define HOUR INT64_C(3600000)
#define DAY (24 * HOUR)
#define MONTH (30 * DAY)

static double true_seconds(int64_t logger, int64_t logger_start, int64_t true_start, int64_t logger_end,
                           int64_t true_end);
static double rate_of_seconds(int64_t logger_start, int64_t true_start, int64_t logger_end, int64_t true_end);

Test(clock, formulas_agree_with_independent_values)
{
    const struct check rows[] = {
        CHECK(true_seconds(43200, 0, 0, 86430, 86400), 43185.005, 0.0005, "computed independently"),
        CHECK(rate_of_seconds(0, 0, 2592052, 2592000), 20.06, 0.005, "computed independently"),
        CHECK(true_seconds(1296000, 0, 0, 2592052, 2592000), 1295974.001, 0.0005, "computed independently"),
        CHECK(rate_of_seconds(100, 90, 1000100, 1000210), -119.986, 0.0005, "computed independently"),
    };
    CHECK_ALL(rows);
}

Test(clock, the_comparisons_themselves_are_met_exactly)
{
    const struct clock_check check = {.logger_start_ms = INT64_C(1700000000123),
                                      .true_start_ms = INT64_C(1700000000456),
                                      .logger_end_ms = INT64_C(1702592052000),
                                      .true_end_ms = INT64_C(1702592000789)};
    cr_expect(clock_true_time(&check, check.logger_start_ms) == check.true_start_ms);
    cr_expect(clock_true_time(&check, check.logger_end_ms) == check.true_end_ms);
}

Test(clock, corrected_times_keep_their_order)
{
    const struct clock_check check = {.logger_end_ms = MONTH + 52000, .true_end_ms = MONTH};
    int64_t previous = clock_true_time(&check, -HOUR);
    for (int64_t t = 0; t < MONTH; t += 900000) {
        const int64_t now = clock_true_time(&check, t);
        cr_expect(now > previous);
        previous = now;
    }
}

Test(clock, a_clock_that_is_right_changes_nothing)
{
    const struct clock_check check = {.logger_end_ms = MONTH, .true_end_ms = MONTH};
    cr_expect(clock_true_time(&check, 123456789) == 123456789);
    cr_expect(clock_rate_ppm(&check) == 0);
    cr_expect(clock_judge(&check, 900000) == CLOCK_AGREES);
}

Test(clock, comparisons_that_do_not_advance_give_an_offset_only)
{
    const struct clock_check check = {
        .logger_start_ms = 1000, .true_start_ms = 1500, .logger_end_ms = 1000, .true_end_ms = 1500};
    cr_expect(clock_true_time(&check, 5000) == 5500);
    cr_expect(isnan(clock_rate_ppm(&check)));
}

Test(clock, twenty_parts_per_million_are_the_seconds_that_crews_know)
{
    const struct clock_check day = {.logger_end_ms = DAY + 1728, .true_end_ms = DAY};
    cr_expect(is_close(clock_rate_ppm(&day), 20, 1e-9), "common practice: 20 ppm is 1.7 s a day");
    cr_expect(is_close(20e-6 * (double)(30 * DAY) / 1000, 52, 1), "and 52 s a month");
}

Test(clock, the_verdict_follows_difference_rate_and_zone)
{
    const struct {
        int64_t difference, span, interval;
        enum clock_verdict verdict;
    } rows[] = {
        {30000, MONTH, 900000, CLOCK_AGREES},
        {30001, MONTH, 900000, CLOCK_DRIFTED},
        {-52000, MONTH, 900000, CLOCK_DRIFTED},
        {15000, MONTH, 300000, CLOCK_AGREES},
        {16000, MONTH, 300000, CLOCK_DRIFTED},
        {160000, MONTH, 300000, CLOCK_SUSPECT},
        {40000, DAY, 900000, CLOCK_SUSPECT},
        {HOUR, 2 * MONTH, 900000, CLOCK_WRONG_ZONE},
        {-HOUR, 2 * MONTH, 900000, CLOCK_WRONG_ZONE},
        {5 * HOUR + 1800000, MONTH, 900000, CLOCK_WRONG_ZONE},
        {HOUR + 52000, MONTH, 900000, CLOCK_WRONG_ZONE},
        {HOUR + 300000, MONTH, 900000, CLOCK_SUSPECT},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct clock_check check = {.logger_end_ms = rows[i].span + rows[i].difference,
                                          .true_end_ms = rows[i].span};
        cr_expect(clock_judge(&check, rows[i].interval) == rows[i].verdict, "row %zu: %d", i,
                  (int)clock_judge(&check, rows[i].interval));
    }
}

static double true_seconds(int64_t logger, int64_t logger_start, int64_t true_start, int64_t logger_end,
                           int64_t true_end)
{
    const struct clock_check check = {.logger_start_ms = 1000 * logger_start,
                                      .true_start_ms = 1000 * true_start,
                                      .logger_end_ms = 1000 * logger_end,
                                      .true_end_ms = 1000 * true_end};
    return (double)clock_true_time(&check, 1000 * logger) / 1000;
}

static double rate_of_seconds(int64_t logger_start, int64_t true_start, int64_t logger_end, int64_t true_end)
{
    const struct clock_check check = {.logger_start_ms = 1000 * logger_start,
                                      .true_start_ms = 1000 * true_start,
                                      .logger_end_ms = 1000 * logger_end,
                                      .true_end_ms = 1000 * true_end};
    return clock_rate_ppm(&check);
}
