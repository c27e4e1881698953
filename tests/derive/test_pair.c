/* SPDX-License-Identifier: MIT */
#include "derive/pair.h"

#include "derive/site.h"

#include <criterion/criterion.h>
#include <math.h>

static struct arena *arena;
static struct site site;
static int64_t week;

static void set_up(void)
{
    arena = arena_new();
    week = pair_week(SITE_START);
    site_init(&site, arena, 1, HOUR_MS, 0);
    for (size_t k = 0; k < 2; k++)
        site.sources[k].readings = site_air(arena, week, 7 * 24 * 4 + 1, 15 * MINUTE_MS, SITE_AIR + (k ? 0 : 35));
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(pair, .init = set_up, .fini = tear_down);

Test(pair, weeks_begin_on_monday_before_and_after_1970)
{
    cr_expect_eq(pair_week(SITE_START), INT64_C(1771804800000), "2026-03-01 is a Sunday: 2026-02-23");
    cr_expect_eq(pair_week(INT64_C(1771804800000)), INT64_C(1771804800000));
    cr_expect_eq(pair_week(0), -3 * DAY_MS, "1970-01-01 was a Thursday");
}

Test(pair, the_difference_is_that_at_one_elevation)
{
    struct pair_week_result r = pair_compare(&site.sources[0], &site.sources[1], week, 3 * HOUR_MS);
    cr_expect_float_eq(r.own, SITE_AIR + 35, 1e-6);
    cr_expect_float_eq(r.difference, 35, 1e-6);
    site.barometers[1].elevation = 10;
    r = pair_compare(&site.sources[0], &site.sources[1], week, 3 * HOUR_MS);
    cr_expect_float_eq(r.difference, 35 - 120, 1, "10 m of air are 120 Pa: common practice of the trade");
}

Test(pair, a_week_with_less_than_a_day_of_both_says_nothing)
{
    site.sources[1].readings.n = 23 * 4 - 3;
    struct pair_week_result r = pair_compare(&site.sources[0], &site.sources[1], week, 3 * HOUR_MS);
    cr_expect(isnan(r.difference) && isnan(r.own));
    site.sources[1].readings.n = 23 * 4 + 1;
    r = pair_compare(&site.sources[0], &site.sources[1], week, 3 * HOUR_MS);
    cr_expect_float_eq(r.difference, 35, 1e-6);
}

Test(pair, a_third_barometer_tells_which_of_two_drifted)
{
    cr_expect_eq(pair_judge(50, 49, NAN), PAIR_STEADY);
    cr_expect_eq(pair_judge(50, NAN, 80), PAIR_STEADY, "nothing to judge");
    cr_expect_eq(pair_judge(50, -70, NAN), PAIR_UNDECIDED);
    cr_expect_eq(pair_judge(50, 70, 72), PAIR_OWN);
    cr_expect_eq(pair_judge(50, 70, 2), PAIR_OTHER);
    cr_expect_eq(pair_judge(50, 70, 40), PAIR_UNDECIDED);
    cr_expect_eq(pair_judge(50, 70, -70), PAIR_UNDECIDED);
}
