/* SPDX-License-Identifier: MIT */
#include "archive/chart.h"

#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static struct arena *arena;
static struct text text;

static void start(void)
{
    arena = arena_new();
    text_init(&text, 1 << 24);
}

static void finish(void)
{
    text_done(&text);
    arena_free(arena);
}

TestSuite(chart, .init = start, .fini = finish);

static size_t count(const char *word)
{
    size_t n = 0;
    for (const char *at = text.bytes; (at = strstr(at, word)); at += strlen(word))
        n++;
    return n;
}

/* What the Python check thinks of the picture alone in a folder. */
static int check(void)
{
    char *folder = fixture_make_folder();
    fixture_write(folder, "chart.svg", text.bytes);
    int status = fixture_check("check_pages.py", folder);
    fixture_remove_folder(folder);
    return status;
}

Test(chart, equals_the_golden_picture_byte_by_byte)
{
    chart_render(fixture_month(arena), &text);
    const char *golden = fixture_read(arena, fixture_here(), "golden/heron-creek_2026-03.svg");
    cr_assert_not_null(golden);
    cr_assert_str_eq(text.bytes, golden);
}

Test(chart, writes_the_same_bytes_twice)
{
    chart_render(fixture_long_month(arena, 8928), &text);
    char *first = arena_strdup(arena, text.bytes);
    text_clear(&text);
    chart_render(fixture_long_month(arena, 8928), &text);
    cr_assert_str_eq(text.bytes, first);
}

Test(chart, is_sound_whatever_stands_in_it)
{
    struct dataset *dataset = fixture_long_month(arena, 8928);
    ((struct station *)(uintptr_t)dataset->station)->name = "<b>\"Weir\" & \u202etide\x01'</b>";
    dataset->config->rules[0].title = "</text><script>alert(1)</script>";
    chart_render(dataset, &text);
    cr_expect_eq(check(), 0);
    cr_expect_null(strstr(text.bytes, "<script"));
    cr_expect_null(strstr(text.bytes, "\u202e"));
}

Test(chart, is_sound_without_any_usable_value)
{
    struct dataset *dataset = fixture_month(arena);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        for (size_t i = 0; dataset->record.value[q] && i < dataset->record.n; i++)
            dataset->record.value[q][i] = NAN;
    enum quantity panels[CHART_PANELS_MAX];
    cr_expect_eq(chart_panels(dataset, panels), 0);
    chart_render(dataset, &text);
    cr_expect_eq(check(), 0);
    cr_expect_not_null(strstr(text.bytes, "No usable values."));
}

Test(chart, shows_depth_only_where_nothing_ties_the_level)
{
    struct dataset *dataset = fixture_long_month(arena, 100);
    enum quantity panels[CHART_PANELS_MAX];
    cr_expect_eq(chart_panels(dataset, panels), 6);
    cr_expect_eq(panels[0], QUANTITY_LEVEL);
    for (size_t i = 0; i < 100; i++)
        dataset->record.value[QUANTITY_LEVEL][i] = NAN;
    chart_panels(dataset, panels);
    cr_expect_eq(panels[0], QUANTITY_DEPTH);
}

/* A row of the table of quantities says whether there is a panel, and where. */
Test(chart, has_room_for_every_place_of_the_table)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        cr_expect(quantity_info(q)->panel >= 0 && quantity_info(q)->panel <= CHART_PANELS_MAX, "%s",
                  quantity_info(q)->key);
}

Test(chart, tells_flags_apart_by_shape)
{
    struct dataset *dataset = fixture_long_month(arena, 8928);
    uint8_t *flag = dataset->record.flag[QUANTITY_TEMPERATURE];
    double *value = dataset->record.value[QUANTITY_TEMPERATURE];
    flag[1000] = FLAG_SUSPECT;
    flag[3000] = FLAG_FAIL;
    for (size_t i = 5000; i < 5100; i++) {
        value[i] = NAN;
        flag[i] = FLAG_MISSING;
    }
    chart_render(dataset, &text);
    cr_expect_eq(count("<use href=\"#ring\" x=\"11."), 1);  /* 1000 of 8928 rows */
    cr_expect_eq(count("<use href=\"#cross\" x=\"33."), 1); /* 3000 */
    cr_expect_eq(count("<rect class=\"gap\""), 1);
    cr_expect_eq(count("class=\"doubt\""), 1);
    for (size_t k = 0; k < 3; k++)
        cr_expect_eq(count((const char *[]){">suspect<", ">fail<", ">missing<"}[k]), 2, "in the key, wide and narrow");
}

Test(chart, names_in_the_key_only_what_it_shows)
{
    chart_render(fixture_long_month(arena, 8928), &text);
    cr_expect_eq(count(">finished<"), 2);
    cr_expect_eq(count(">suspect<") + count(">fail<") + count(">missing<") + count(">measured<"), 0);
}

Test(chart, draws_raw_values_only_where_they_differ)
{
    struct dataset *dataset = fixture_long_month(arena, 8928);
    chart_render(dataset, &text);
    cr_expect_eq(count("class=\"raw\""), 0);
    for (size_t i = 0; i < 500; i++)
        dataset->raw.value[QUANTITY_OXYGEN][i] += 0.7;
    text_clear(&text);
    chart_render(dataset, &text);
    cr_expect_eq(count("class=\"raw\""), 3, "the line, and its sample in two keys");
}

Test(chart, breaks_the_line_at_a_gap)
{
    struct dataset *dataset = fixture_long_month(arena, 2000);
    for (size_t i = 1000; i < 2000; i++)
        dataset->record.time[i] += 2 * HOUR_MS;
    chart_render(dataset, &text);
    const char *line = strstr(text.bytes, "class=\"finished\" d=\"");
    size_t pieces = 0;
    for (const char *c = line + strlen("class=\"finished\" d=\""); *c != '"'; c++)
        pieces += *c == 'M';
    cr_expect_eq(pieces, 2);
    cr_expect_eq(count("<rect class=\"gap\""), 6, "one on each panel");
}

Test(chart, keeps_a_spike_of_one_sample)
{
    struct dataset *dataset = fixture_long_month(arena, 8928);
    dataset->record.value[QUANTITY_LEVEL][4444] = 9;
    chart_describe(dataset, &text);
    cr_expect_not_null(strstr(text.bytes, "to 9.000"));
    text_clear(&text);
    chart_render(dataset, &text);
    /* The scale reaches 6 % of its range above the highest value, so the line comes as near to the upper edge. */
    int y = 1500, highest = 1500, dx, dy, used;
    const char *at = strstr(strstr(text.bytes, "class=\"finished\" d=\"M"), "M") + 1;
    cr_assert_eq(sscanf(at, "%d %dl%n", &dx, &y, &used), 2);
    for (at += used; sscanf(at, "%d%d %n", &dx, &dy, &used) == 2; at += used) {
        y += dy;
        highest = y < highest ? y : highest;
    }
    cr_expect(highest > 60 && highest < 100, "%d tenths of a px", highest);
}

Test(chart, shows_episodes_of_rules_and_their_limits)
{
    struct dataset *dataset = fixture_long_month(arena, 8928);
    struct alarm alarms[] = {
        {.station = "heron-creek",
         .rule = "low-oxygen",
         .episode = {.start = dataset->span.from + 20 * DAY_MS,
                     .end = TIME_NONE,
                     .last_time = dataset->span.from + 21 * DAY_MS},
         .state = ALARM_UNACKNOWLEDGED},
        {.station = "heron-creek",
         .rule = "low-oxygen",
         .episode = {.start = dataset->span.from + 5 * DAY_MS, .end = dataset->span.from + 6 * DAY_MS},
         .state = ALARM_NORMAL},
        {.station = "heron-creek",
         .rule = "low-oxygen",
         .episode = {.start = dataset->span.from + 2 * DAY_MS, .end = dataset->span.from + 3 * DAY_MS},
         .state = ALARM_WITHDRAWN},
        {.station = "heron-creek", .rule = "gone-rule", .episode = {.start = dataset->span.from, .end = TIME_NONE}},
    };
    dataset->alarms = alarms;
    dataset->alarm_count = COUNT_OF(alarms);
    dataset->config->rules[0].title = "Oxygen low";
    dataset->config->rules[0].limit = 5.5;
    chart_render(dataset, &text);
    cr_expect_eq(count("class=\"episode\" x="), 2);
    cr_expect_eq(count("still so at the last sample</title>"), 1);
    cr_expect_eq(count("class=\"limit\" x1"), 1);
    cr_expect_eq(count(">below 5.5: Oxygen low<"), 1);
    cr_expect_eq(check(), 0);
}

Test(chart, marks_hand_readings_with_their_closing_error)
{
    struct dataset *dataset = fixture_long_month(arena, 8928);
    struct check_result checks[] = {
        {.time = dataset->span.from + 3 * DAY_MS,
         .quantity = QUANTITY_LEVEL,
         .kind = CHECK_LEVEL,
         .sensor = 1.1,
         .reference = 1.1,
         .difference = 0,
         .is_first = true},
        {.time = dataset->span.from + 12 * DAY_MS,
         .quantity = QUANTITY_LEVEL,
         .kind = CHECK_TAPE_DOWN,
         .sensor = 1.1,
         .reference = 1.112,
         .difference = -0.012},
        {.time = dataset->span.from + 40 * DAY_MS,
         .quantity = QUANTITY_LEVEL,
         .kind = CHECK_LEVEL,
         .sensor = 1,
         .reference = 1,
         .difference = 0.5},
    };
    dataset->checks = checks;
    dataset->check_count = COUNT_OF(checks);
    chart_render(dataset, &text);
    cr_expect_eq(count("<use href=\"#diamond\" x=\"9.68%\""), 1);
    cr_expect_eq(count("#diamond\" x=\"100%"), 0, "another month's reading is not shown");
    cr_expect_eq(count(">\u221212\u00a0mm</text>"), 1);
    cr_expect_eq(count("<text class=\"closing"), 1);
}

Test(chart, stays_small_with_a_hundred_thousand_rows)
{
    struct dataset *dataset = fixture_long_month(arena, 100000);
    for (size_t i = 0; i < dataset->record.n; i++)
        dataset->record.time[i] = dataset->span.from + (int64_t)i * 25 * SECOND_MS;
    chart_render(dataset, &text);
    cr_expect_lt(text.length, 400000);
}
