/* SPDX-License-Identifier: MIT */
#include "archive/daily.h"

#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static struct arena *arena;
static struct dataset *dataset;
static struct daily daily;

enum { N = 8928 }; /* March at five minutes */

static void start(void)
{
    arena = arena_new();
    dataset = fixture_long_month(arena, N);
}

static void finish(void)
{
    arena_free(arena);
}

TestSuite(daily, .init = start, .fini = finish);

static struct rule *set_rules(size_t n)
{
    dataset = fixture_long_month(arena, N);
    struct rule *rules = arena_array(arena, n, sizeof *rules);
    struct config *config = arena_alloc(arena, sizeof *config);
    *config = *dataset->config;
    config->rules = rules;
    config->rule_count = n;
    dataset->config = config;
    for (size_t i = 0; i < n; i++)
        rules[i] = (struct rule){.id = "r", .kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3};
    return rules;
}

Test(daily, every_day_of_the_month_by_standard_time_has_a_row)
{
    dataset->record.n = 10;
    daily_compute(dataset, arena, &daily);
    cr_assert_eq(daily.count, 31);
    cr_expect_eq(daily.days[0].span.from, fixture_time("2026-02-28T14:00:00Z"));
    cr_expect_eq(daily.days[30].span.to, fixture_time("2026-03-31T14:00:00Z"));
    cr_expect_eq(daily.days[0].samples, 10);
    cr_expect_eq(daily.days[1].samples, 0);
    cr_expect_eq(daily.days[1].expected, 288);
    cr_expect_eq(daily.month.expected, N);
    cr_expect(isnan(daily.days[1].value[QUANTITY_LEVEL].mean));
    cr_expect_eq(daily.days[1].value[QUANTITY_LEVEL].minimum_time, TIME_NONE);
    cr_expect_eq(daily_good_percent(&daily.days[1], QUANTITY_LEVEL), 0);
}

Test(daily, values_equal_a_plain_computation_by_index)
{
    daily_compute(dataset, arena, &daily);
    const double *level = dataset->record.value[QUANTITY_LEVEL];
    for (size_t day = 0; day < 31; day++) {
        const struct daily_value *value = &daily.days[day].value[QUANTITY_LEVEL];
        long double sum = 0;
        double least = INFINITY, most = -INFINITY;
        for (size_t i = day * 288; i < (day + 1) * 288; i++) {
            sum += level[i];
            least = fmin(least, level[i]);
            most = fmax(most, level[i]);
        }
        cr_expect_eq(value->used, 288);
        cr_expect_eq(value->minimum, least);
        cr_expect_eq(value->maximum, most);
        cr_expect_float_eq(value->mean, (double)(sum / 288), 1e-12);
        size_t at = (size_t)((value->maximum_time - dataset->span.from) / (5 * MINUTE_MS));
        cr_expect(at / 288 == day && level[at] == most);
    }
}

Test(daily, a_sample_at_midnight_begins_a_day)
{
    double *level = dataset->record.value[QUANTITY_LEVEL];
    level[287] = 50;
    level[288] = 60;
    daily_compute(dataset, arena, &daily);
    cr_expect_eq(daily.days[0].value[QUANTITY_LEVEL].maximum, 50);
    cr_expect_eq(daily.days[1].value[QUANTITY_LEVEL].maximum, 60);
    cr_expect_eq(daily.days[1].value[QUANTITY_LEVEL].maximum_time, daily.days[1].span.from);
    cr_expect_eq(daily.month.value[QUANTITY_LEVEL].maximum, 60);
}

Test(daily, only_samples_that_passed_or_were_not_evaluated_are_used)
{
    double *level = dataset->record.value[QUANTITY_LEVEL];
    uint8_t *flag = dataset->record.flag[QUANTITY_LEVEL];
    for (size_t i = 0; i < 288; i++)
        level[i] = 1;
    level[0] = 3;
    flag[0] = FLAG_NOT_EVALUATED;
    level[1] = 100;
    flag[1] = FLAG_SUSPECT;
    level[2] = -100;
    flag[2] = FLAG_FAIL;
    level[3] = NAN;
    flag[3] = FLAG_MISSING;
    daily_compute(dataset, arena, &daily);
    const struct daily_value *value = &daily.days[0].value[QUANTITY_LEVEL];
    cr_expect_eq(value->used, 285);
    cr_expect_eq(value->good, 284);
    cr_expect_eq(value->suspect, 1);
    cr_expect_eq(value->minimum, 1);
    cr_expect_eq(value->maximum, 3);
    cr_expect_float_eq(value->mean, (284 + 3) / 285.0, 1e-12);
    cr_expect_float_eq(daily_good_percent(&daily.days[0], QUANTITY_LEVEL), 100 * 284.0 / 288, 1e-12);
}

Test(daily, the_first_of_several_extremes_gives_the_time)
{
    double *level = dataset->record.value[QUANTITY_LEVEL];
    level[10] = level[20] = 9;
    level[11] = level[21] = -9;
    daily_compute(dataset, arena, &daily);
    cr_expect_eq(daily.days[0].value[QUANTITY_LEVEL].maximum_time, dataset->record.time[10]);
    cr_expect_eq(daily.days[0].value[QUANTITY_LEVEL].minimum_time, dataset->record.time[11]);
}

Test(daily, hours_below_count_usable_samples_up_to_the_next_one)
{
    double *oxygen = dataset->record.value[QUANTITY_OXYGEN];
    uint8_t *flag = dataset->record.flag[QUANTITY_OXYGEN];
    for (size_t i = 0; i < N; i++)
        oxygen[i] = 8;
    for (size_t i = 100; i < 112; i++) /* an hour, less one suspect sample */
        oxygen[i] = 2.9;
    flag[105] = FLAG_SUSPECT;
    oxygen[300] = 3; /* not below 3 */
    daily_compute(dataset, arena, &daily);
    cr_assert_eq(daily.limit_count, 1);
    cr_expect_eq(daily.limits[0], 3);
    cr_expect_eq(daily.days[0].below[0], 55 * MINUTE_MS);
    cr_expect_eq(daily.days[1].below[0], 0);
    cr_expect_eq(daily.month.below[0], 55 * MINUTE_MS);
}

Test(daily, a_pause_after_a_low_sample_counts_as_one_interval)
{
    double *oxygen = dataset->record.value[QUANTITY_OXYGEN];
    dataset->record.n = 100;
    for (size_t i = 0; i < 100; i++)
        oxygen[i] = i == 50 || i == 99 ? 1 : 8;
    for (size_t i = 51; i < 100; i++)
        dataset->record.time[i] += 6 * HOUR_MS;
    daily_compute(dataset, arena, &daily);
    cr_expect_eq(daily.month.below[0], 10 * MINUTE_MS);
}

Test(daily, limits_are_those_of_the_rules_ascending_and_each_once)
{
    struct rule *rules = set_rules(5);
    const char **elsewhere = arena_array(arena, 1, sizeof *elsewhere);
    elsewhere[0] = "another-creek";
    rules[0].limit = 5;
    rules[2].limit = 5;
    rules[3].kind = RULE_ABOVE;
    rules[3].limit = 20;
    rules[4].limit = 1;
    rules[4].stations = (struct word_list){elsewhere, 1};
    daily_compute(dataset, arena, &daily);
    cr_assert_eq(daily.limit_count, 2);
    cr_expect_eq(daily.limits[0], 3);
    cr_expect_eq(daily.limits[1], 5);
}

Test(daily, without_rules_the_usual_limits_stand)
{
    set_rules(0);
    daily_compute(dataset, arena, &daily);
    cr_assert_eq(daily.limit_count, 3);
    cr_expect_eq(daily.limits[0], 2);
    cr_expect_eq(daily.limits[2], 5);
}

Test(daily, more_rules_than_there_is_room_for_are_no_harm)
{
    struct rule *rules = set_rules(2 * DAILY_LIMITS_MAX);
    for (size_t i = 0; i < 2 * DAILY_LIMITS_MAX; i++)
        rules[i].limit = 20 - (double)i;
    daily_compute(dataset, arena, &daily);
    cr_expect_eq(daily.limit_count, DAILY_LIMITS_MAX);
    cr_expect_eq(daily.limits[DAILY_LIMITS_MAX - 1], 20);
}

Test(daily, the_interval_is_the_setting_else_the_median_step)
{
    cr_expect_eq(daily_interval(dataset, arena), 5 * MINUTE_MS);
    dataset->record.n = 1;
    cr_expect_eq(daily_interval(dataset, arena), 0);
    struct station station = *dataset->station;
    station.interval = 10 * MINUTE_MS;
    dataset->station = &station;
    cr_expect_eq(daily_interval(dataset, arena), 10 * MINUTE_MS);
}

Test(daily, a_month_without_rows_has_days_without_values)
{
    dataset->record.n = 0;
    daily_compute(dataset, arena, &daily);
    cr_expect_eq(daily.count, 31);
    cr_expect_eq(daily.days[0].expected, 0);
    cr_expect(isnan(daily_good_percent(&daily.month, QUANTITY_LEVEL)));
}
