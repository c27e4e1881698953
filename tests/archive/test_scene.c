/* SPDX-License-Identifier: MIT */
#include "archive/scene.h"

#include "archive/chart.h"
#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
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

TestSuite(scene, .init = start, .fini = finish);

static uint32_t number_at(size_t offset)
{
    const unsigned char *bytes = (const unsigned char *)text.bytes + offset;
    return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

static void expect_png(uint32_t width, uint32_t height)
{
    cr_assert_gt(text.length, 100);
    cr_expect_arr_eq(text.bytes, "\x89PNG\r\n\x1a\n", 8);
    cr_expect_eq(number_at(16), width);
    cr_expect_eq(number_at(20), height);
    for (const char *clock = text.bytes; clock < text.bytes + text.length - 4; clock++)
        cr_expect_neq(memcmp(clock, "tIME", 4), 0, "no time of writing in it");
}

/* A month whose oxygen sags below 3 mg/L for a day. */
static struct dataset *sagging_month(struct alarm *alarm)
{
    struct dataset *dataset = fixture_long_month(arena, 8928);
    int64_t start_of_sag = dataset->span.from + 10 * DAY_MS;
    for (size_t i = 0; i < dataset->record.n; i++) {
        int64_t time = dataset->record.time[i];
        if (time >= start_of_sag && time < start_of_sag + DAY_MS)
            dataset->record.value[QUANTITY_OXYGEN][i] = 2.1 + (double)((time - start_of_sag) / HOUR_MS) / 40;
    }
    dataset->config->rules[0].limit = 3;
    dataset->config->rules[0].title = "Oxygen low <b>& \u202esorry";
    *alarm = (struct alarm){.station = "heron-creek",
                            .rule = "low-oxygen",
                            .state = ALARM_NORMAL,
                            .episode = {.start = start_of_sag,
                                        .end = start_of_sag + DAY_MS,
                                        .worst = 2.1,
                                        .worst_time = start_of_sag,
                                        .last_time = start_of_sag + DAY_MS}};
    dataset->alarms = alarm;
    dataset->alarm_count = 1;
    return dataset;
}

Test(scene, png_of_a_month_is_two_dots_a_px_and_the_same_bytes_twice)
{
    struct dataset *dataset = fixture_long_month(arena, 8928);
    enum quantity panels[CHART_PANELS_MAX];
    size_t n = chart_panels(dataset, panels);
    chart_render_png(dataset, &text);
    expect_png(2400, 2 * (uint32_t)chart_height(panels, n));
    struct text again;
    text_init(&again, 1 << 24);
    chart_render_png(dataset, &again);
    cr_assert_eq(again.length, text.length);
    cr_expect_arr_eq(again.bytes, text.bytes, text.length);
    text_done(&again);
}

Test(scene, png_of_an_episode_fits_a_mail)
{
    struct alarm alarm;
    struct dataset *dataset = sagging_month(&alarm);
    dataset->span = chart_episode_span(&alarm.episode);
    cr_assert(chart_render_episode(dataset, &alarm, &text));
    expect_png(2 * CHART_EPISODE_WIDTH, 2 * CHART_EPISODE_HEIGHT);
    cr_expect_lt(text.length, 100000);
}

Test(scene, png_of_an_episode_cuts_a_name_that_finds_no_room)
{
    struct alarm alarm;
    struct dataset *dataset = sagging_month(&alarm);
    struct text other;
    text_init(&other, 1 << 24);
    dataset->span = chart_episode_span(&alarm.episode);
    struct station station = *dataset->station;
    dataset->station = &station;
    station.name = "Eelgrass Slough below the old culvert near the mill";
    cr_assert(chart_render_episode(dataset, &alarm, &text));
    station.name = "Eelgrass Slough below the old culvert near the bridge";
    cr_assert(chart_render_episode(dataset, &alarm, &other));
    cr_expect(other.length == text.length && memcmp(other.bytes, text.bytes, text.length) == 0, "behind the sign");
    station.name = "Eelgrass Slough below the new culvert near the mill";
    text_clear(&other);
    cr_assert(chart_render_episode(dataset, &alarm, &other));
    cr_expect(other.length != text.length || memcmp(other.bytes, text.bytes, text.length) != 0);
    text_done(&other);
}

Test(scene, png_of_an_episode_changes_with_what_it_shows)
{
    struct alarm alarm;
    struct dataset *dataset = sagging_month(&alarm);
    dataset->span = chart_episode_span(&alarm.episode);
    cr_assert(chart_render_episode(dataset, &alarm, &text));
    struct text other;
    text_init(&other, 1 << 24);
    dataset->config->rules[0].limit = 3.5; /* the limit is drawn */
    chart_render_episode(dataset, &alarm, &other);
    cr_expect(other.length != text.length || memcmp(other.bytes, text.bytes, text.length) != 0);
    dataset->config->rules[0].limit = 3;
    text_clear(&other);
    dataset->alarm_count = 0; /* the hatching is that of the episode */
    chart_render_episode(dataset, &alarm, &other);
    cr_expect(other.length != text.length || memcmp(other.bytes, text.bytes, text.length) != 0);
    text_done(&other);
}

Test(scene, has_no_picture_of_an_episode_without_values_or_rule)
{
    struct alarm alarm;
    struct dataset *dataset = sagging_month(&alarm);
    dataset->span = chart_episode_span(&alarm.episode);
    alarm.rule = "gone-rule";
    cr_expect_not(chart_render_episode(dataset, &alarm, &text));
    alarm.rule = "low-oxygen";
    dataset->record.n = 0;
    cr_expect_not(chart_render_episode(dataset, &alarm, &text));
    cr_expect_eq(text.length, 0);
}

Test(scene, shows_time_before_an_episode_and_no_future_behind_an_open_one)
{
    int64_t start_of_it = fixture_time("2026-03-05T00:00:00Z");
    struct episode episode = {.start = start_of_it, .end = TIME_NONE, .last_time = start_of_it + 20 * MINUTE_MS};
    struct span span = chart_episode_span(&episode);
    cr_expect_eq(span.from, start_of_it - 6 * HOUR_MS);
    cr_expect_eq(span.to, episode.last_time + HOUR_MS);
    episode.last_time = start_of_it + 100 * DAY_MS;
    span = chart_episode_span(&episode);
    cr_expect_leq(span.to - span.from, 40 * DAY_MS, "of a long one, its end");
    cr_expect_gt(span.to, episode.last_time);
}

Test(scene, png_without_room_says_so)
{
    struct text small;
    text_init(&small, 1000);
    chart_render_png(fixture_long_month(arena, 100), &small);
    cr_expect(small.is_full);
    text_done(&small);
}

Test(scene, words_are_kept_plain_and_harmless)
{
    struct scene scene;
    scene_init(&scene);
    scene_words(&scene, LOOK_TITLE, 0, 0, 100, "a\x01\u202e<b>", NULL);
    cr_expect_str_eq(scene.shapes[0].words, "a\\x01\\u{202E}<b>");
    scene.height = 20;
    scene_write_svg(&scene, &text);
    cr_expect_not_null(strstr(text.bytes, "a\\x01\\u{202E}&lt;b&gt;"));
    scene_done(&scene);
}
