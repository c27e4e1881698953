/* SPDX-License-Identifier: MIT */
/* Sensors that drift without a check, on made-up weeks whose truth is known. Limits: see derive/trend.h; no
 * published source. */
#include "derive/trend.h"

#include "base/random.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#define START (INT64_C(2900) * TREND_WEEK + 4 * DAY_MS) /* a Monday */
#define OFFSET (-8 * HOUR_MS)
enum { WEEKS = 6, ROWS = WEEKS * 7 * 24 };

static struct arena *arena;
static struct record record;
static struct check_result *checks;
static size_t count;
static struct findings findings;
static int64_t visit;

static void set_up(void)
{
    arena = arena_new();
    visit = START - DAY_MS;
    findings = (struct findings){0};
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(trend, .init = set_up, .fini = tear_down);

/* Hourly; `range` and `sink` a week, mg/L: oxygen swings by 3 mg/L about 8 at 20 degC; the scatter of a day
 * is 0.2. */
static void oxygen(double fade, double sink)
{
    uint64_t state = 7;
    double scatter = 0;
    record_init(&record, arena, ROWS,
                1u << QUANTITY_OXYGEN | 1u << QUANTITY_OXYGEN_SATURATION_STANDARD |
                    1u << QUANTITY_TEMPERATURE | 1u << QUANTITY_SECOND_TEMPERATURE);
    for (size_t i = 0; i < ROWS; i++) {
        double weeks = (double)i / (7 * 24), angle = (double)(i % 24) / 24 * 2 * acos(-1);
        if (i % 24 == 0)
            scatter = (double)random_between(&state, -100, 100) / 500;
        record.time[i] = START + (int64_t)i * HOUR_MS;
        record.value[QUANTITY_OXYGEN][i] = 8 - sink * weeks + scatter + (1.5 - fade / 2 * weeks) * sin(angle);
        record.value[QUANTITY_OXYGEN_SATURATION_STANDARD][i] = record.value[QUANTITY_OXYGEN][i] / 9.092 * 100;
        record.value[QUANTITY_TEMPERATURE][i] = 20;
        record.value[QUANTITY_SECOND_TEMPERATURE][i] = 20.3 + scatter / 10;
    }
}

static void find(void)
{
    const struct trend_input input = {.record = &record,
                                      .utc_offset = OFFSET,
                                      .visits = &visit,
                                      .visit_count = 1,
                                      .marks = {START, START + WEEKS * TREND_WEEK + 1}};
    trends_find(arena, &input, &checks, &count, &findings);
}

static const struct check_result *last(enum check_kind kind)
{
    for (size_t k = count; k > 0; k--)
        if (checks[k - 1].kind == kind)
            return &checks[k - 1];
    cr_assert_fail("no such check");
    return NULL;
}

static size_t found(enum finding_kind kind)
{
    size_t n = 0;
    for (size_t k = 0; k < findings.count; k++)
        n += findings.list[k].kind == kind;
    return n;
}

Test(trend, a_steady_sensor_is_even_week_by_week)
{
    oxygen(0, 0);
    find();
    cr_assert_geq(count, 3 * 3);
    for (size_t k = 0; k < count; k++)
        cr_expect_eq(checks[k].difference, 0, "check %zu of kind %d says %g", k, (int)checks[k].kind,
                     checks[k].difference);
    cr_expect_eq(findings.count, 0);
}

Test(trend, a_daily_range_that_fades_is_found_and_says_what_to_do)
{
    oxygen(0.4, 0); /* from 3 to 1 mg/L in five weeks */
    find();
    const struct check_result *check = last(CHECK_DAILY_RANGE);
    cr_expect_lt(check->difference, -1.2);
    cr_expect_eq(check->quantity, QUANTITY_OXYGEN);
    cr_assert_geq(found(FINDING_RANGE_FADES), 1);
    cr_expect(strstr(findings.list[findings.count - 1].text, "before and after cleaning"));
    cr_expect(strstr(findings.list[findings.count - 1].text, "standard errors"));
    cr_expect(findings.list[findings.count - 1].wants_hand);
}

Test(trend, a_range_that_grows_is_no_drift)
{
    oxygen(-0.4, 0);
    find();
    cr_expect_eq(last(CHECK_DAILY_RANGE)->difference, 0);
    cr_expect_eq(found(FINDING_RANGE_FADES), 0);
}

Test(trend, night_values_that_sink_are_found)
{
    oxygen(0, 0.5);
    find();
    const struct check_result *check = last(CHECK_NIGHT_VALUES);
    cr_expect_float_eq(check->difference, -2.5, 0.5, "%g",
                       check->difference); /* five weeks between the middles */
    cr_expect_float_eq(check->sensor - check->reference, check->difference, 1e-9);
    cr_expect_geq(found(FINDING_NIGHTS_SINK), 1);
}

/* Water that warms by 6 degC holds 1.1 mg/L less (Standard Methods 4500-O: 10.084 at 15, 8.915 at 21 degC).
 */
Test(trend, warmer_water_alone_is_the_season)
{
    oxygen(0, 0);
    for (size_t i = 0; i < ROWS; i++) {
        double t = (double)i / ROWS;
        record.value[QUANTITY_OXYGEN][i] *= (10.084 - 1.169 * t) / 9.092;
    }
    find();
    cr_expect_eq(last(CHECK_NIGHT_VALUES)->difference, 0);
    cr_expect_eq(found(FINDING_NIGHTS_SINK), 0);
}

Test(trend, twins_that_part_are_found_and_a_steady_distance_is_none)
{
    oxygen(0, 0);
    find();
    cr_expect_eq(last(CHECK_TWINS)->difference, 0);
    for (size_t i = 0; i < ROWS; i++)
        record.value[QUANTITY_TEMPERATURE][i] += 0.6 * (double)i / ROWS;
    find();
    const struct check_result *check = last(CHECK_TWINS);
    cr_expect_float_eq(check->difference, 0.5, 0.08, "%g", check->difference);
    cr_expect_float_eq(check->sensor - check->reference, check->difference, 1e-9);
    cr_expect_geq(found(FINDING_TWINS_PART), 1);
}

Test(trend, a_cleaning_begins_anew)
{
    oxygen(0.4, 0);
    visit = START + 4 * TREND_WEEK;
    find();
    for (size_t k = 0; k < count; k++)
        cr_expect(checks[k].time <= visit || checks[k].time >= visit + 2 * TREND_WEEK,
                  "a week too soon after the cleaning");
}

Test(trend, days_with_too_few_hours_do_not_count)
{
    oxygen(0.4, 0);
    for (size_t i = 0; i < ROWS; i++)
        if (i % 24 < 8)
            record.value[QUANTITY_OXYGEN][i] = NAN;
    find();
    for (size_t k = 0; k < count; k++)
        cr_expect_eq(checks[k].kind, CHECK_TWINS);
}

Test(trend, no_rows_are_fine)
{
    record_init(&record, arena, 0, 0);
    find();
    cr_expect_eq(count, 0);
}
