/* SPDX-License-Identifier: MIT */
#include "archive/chart_panel.h"

#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static struct dataset *dataset;
static struct chart_tick ticks[CHART_TICKS_MAX];

static void start(void)
{
    arena = arena_new();
    dataset = fixture_month(arena);
}

static void finish(void)
{
    arena_free(arena);
}

TestSuite(chart_axis, .init = start, .fini = finish);

static void look_at(const char *from, int64_t length)
{
    dataset->span.from = fixture_time(from);
    dataset->span.to = dataset->span.from + length;
}

Test(chart_axis, of_a_month_names_the_first_and_every_fifth_day_of_standard_time)
{
    static const char *const labels[] = {"1", "5", "10", "15", "20", "25", "30"};
    cr_assert_eq(chart_ticks(dataset, ticks), COUNT_OF(labels));
    for (size_t k = 0; k < COUNT_OF(labels); k++)
        cr_expect_str_eq(ticks[k].label, labels[k]);
    cr_expect_eq(ticks[1].time, fixture_time("2026-03-04T14:00:00Z"), "the fifth begins at UTC+10 midnight");
}

Test(chart_axis, of_hours_has_round_times_and_says_the_day_at_midnight)
{
    look_at("2026-03-03T10:10:00Z", 12 * HOUR_MS); /* 20:10 by the station's clock */
    size_t n = chart_ticks(dataset, ticks);
    cr_assert_eq(n, 6);
    cr_expect_str_eq(ticks[0].label, "22:00");
    cr_expect_str_eq(ticks[1].label, "4 Mar");
    cr_expect_str_eq(ticks[2].label, "02:00");
}

Test(chart_axis, never_has_more_ticks_than_there_is_room_for)
{
    for (int64_t length = 10 * MINUTE_MS; length < 40 * DAY_MS; length += 7 * HOUR_MS + MINUTE_MS) {
        look_at("2026-03-03T10:10:00Z", length);
        size_t n = chart_ticks(dataset, ticks);
        cr_assert_leq(n, CHART_TICKS_MAX);
        for (size_t k = 0; k < n; k++) {
            cr_assert(ticks[k].time >= dataset->span.from && ticks[k].time < dataset->span.to);
            cr_assert(k == 0 || ticks[k].time > ticks[k - 1].time);
        }
    }
}

Test(chart_axis, places_times_by_their_share_of_the_span_and_keeps_them_in_it)
{
    look_at("2026-03-03T00:00:00Z", DAY_MS);
    cr_expect_eq(chart_position(dataset, dataset->span.from), 0);
    cr_expect_eq(chart_position(dataset, dataset->span.from + 6 * HOUR_MS), SCENE_UNITS / 4);
    cr_expect_eq(chart_position(dataset, dataset->span.from - 1), 0);
    cr_expect_eq(chart_position(dataset, dataset->span.to + HOUR_MS), SCENE_UNITS);
}

Test(chart_axis, says_the_zone_with_a_sign_that_is_no_hyphen)
{
    struct text text;
    text_init(&text, 100);
    chart_add_offset(&text, 10 * HOUR_MS);
    text_putc(&text, ' ');
    chart_add_offset(&text, -(3 * HOUR_MS + 30 * MINUTE_MS));
    cr_expect_str_eq(text.bytes, "UTC+10:00 UTC\u221203:30");
    text_done(&text);
}
