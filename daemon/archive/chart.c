/* SPDX-License-Identifier: MIT */
#include "archive/chart.h"

#include "archive/chart_panel.h"
#include "archive/say.h"
#include "archive/scene.h"
#include "archive/summary.h"
#include "base/timestamp.h"

#include <math.h>
#include <string.h>

enum {
    PRINT_WIDTH = 1200, /* px, as all here */
    EPISODE_TOP = 80,
    EPISODE_TITLE = 34, /* characters that find room above it: large, bold, plain */
    EPISODE_NAME = 42,
    EPISODE_WORDS = 52,
    EPISODE_PLOT = 130, /* so that three rows of the key find room */
    SHARP = 2,          /* dots for each px */
    LONGEST_DESCRIPTION = 4096,
};

static void draw_month(const struct dataset *dataset, struct scene *scene);
static void draw_head(const struct dataset *dataset, struct scene *scene);
static void draw_zone(const struct dataset *dataset, int top, struct scene *scene);
static void describe(const struct dataset *dataset, struct text *ret);
static void name_month(const struct dataset *dataset, struct text *ret);
static void draw_episode_head(const struct dataset *dataset, const struct rule *rule, struct scene *scene);
static const char *shorten(struct arena *arena, const char *words, size_t most);

size_t chart_panels(const struct dataset *dataset, enum quantity ret[CHART_PANELS_MAX])
{
    size_t n = 0;
    for (int place = 1; place <= CHART_PANELS_MAX; place++)
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
            if (quantity_info(q)->panel != place || !summary_has_usable(dataset, q))
                continue;
            ret[n++] = q;
            break;
        }
    return n;
}

int chart_height(const enum quantity *panels, size_t n)
{
    int height = CHART_HEAD + CHART_TIMES + CHART_ZONE + SCENE_KEY_HEIGHT;
    for (size_t k = 0; k < n; k++)
        height += CHART_PANEL_HEAD + chart_panel_height(panels[k]);
    return height;
}

void chart_describe(const struct dataset *dataset, struct text *ret)
{
    struct text plain;
    text_init(&plain, LONGEST_DESCRIPTION);
    describe(dataset, &plain);
    say(ret, plain.bytes);
    text_done(&plain);
}

static void describe(const struct dataset *dataset, struct text *ret)
{
    enum quantity panels[CHART_PANELS_MAX];
    size_t n = chart_panels(dataset, panels);
    name_month(dataset, ret);
    text_putc(ret, '.');
    if (n == 0)
        text_puts(ret, " No usable values.");
    for (size_t k = 0; k < n; k++) {
        struct summary summary = summary_of(dataset, panels[k]);
        text_putc(ret, ' ');
        summary_add_sentence(ret, &summary, panels[k]);
    }
}

static void name_month(const struct dataset *dataset, struct text *ret)
{
    text_puts(ret, dataset->station->name);
    text_puts(ret, ", ");
    summary_add_month(ret, dataset->year, dataset->month);
}

void chart_render(const struct dataset *dataset, struct text *ret)
{
    struct scene scene;
    scene_init(&scene);
    draw_month(dataset, &scene);
    scene_write_svg(&scene, ret);
    scene_done(&scene);
}

void chart_render_png(const struct dataset *dataset, struct text *ret)
{
    struct scene scene;
    scene_init(&scene);
    draw_month(dataset, &scene);
    scene_write_png(&scene, PRINT_WIDTH, SHARP, ret);
    scene_done(&scene);
}

/* ---- a month ---- */

static void draw_month(const struct dataset *dataset, struct scene *scene)
{
    enum quantity panels[CHART_PANELS_MAX];
    size_t n = chart_panels(dataset, panels);
    scene->height = chart_height(panels, n);
    draw_head(dataset, scene);
    int top = CHART_HEAD;
    for (size_t k = 0; k < n; k++) {
        top += CHART_PANEL_HEAD;
        struct panel panel = {.dataset = dataset,
                              .scene = scene,
                              .quantity = panels[k],
                              .top = top,
                              .height = chart_panel_height(panels[k])};
        chart_panel_draw(&panel);
        top += panel.height;
    }
    chart_draw_times(dataset, top, scene);
    draw_zone(dataset, top + 33, scene);
    scene->key_top = top + CHART_TIMES + CHART_ZONE;
}

static void draw_head(const struct dataset *dataset, struct scene *scene)
{
    struct text words;
    text_init(&words, LONGEST_DESCRIPTION);
    name_month(dataset, &words);
    scene->title = arena_strdup(scene->arena, words.bytes);
    text_clear(&words);
    describe(dataset, &words);
    scene->description = arena_strdup(scene->arena, words.bytes);
    scene_words(scene, LOOK_TITLE, 0, 0, 26 * SCENE_TENTHS, dataset->station->name, NULL);
    text_clear(&words);
    summary_add_month(&words, dataset->year, dataset->month);
    text_printf(&words, " \u00b7 revision %lld \u00b7 %s", (long long)dataset->revision,
                record_state_word(dataset->state));
    scene_words(scene, LOOK_SOFT, 0, 0, 46 * SCENE_TENTHS, words.bytes, NULL);
    text_done(&words);
}

static void draw_zone(const struct dataset *dataset, int top, struct scene *scene)
{
    struct text words;
    text_init(&words, LONGEST_DESCRIPTION);
    text_puts(&words, "day of ");
    summary_add_month(&words, dataset->year, dataset->month);
    text_puts(&words, ", standard time ");
    chart_add_offset(&words, dataset->station->utc_offset);
    scene_words(scene, LOOK_SOFT, 0, 0, top * SCENE_TENTHS, words.bytes, NULL);
    text_done(&words);
}

/* ---- an episode ---- */

struct span chart_episode_span(const struct episode *episode)
{
    enum { SHARE_BEFORE = 2, SHARE_BEHIND = 4 };
    const int64_t least = 6 * HOUR_MS, longest = 25 * DAY_MS;
    bool is_open = episode->end == TIME_NONE;
    int64_t end = is_open ? episode->last_time : episode->end, start = episode->start;
    start = end - start > longest ? end - longest : start;
    int64_t before = (end - start) / SHARE_BEFORE > least ? (end - start) / SHARE_BEFORE : least;
    int64_t behind = is_open ? HOUR_MS : (end - start) / SHARE_BEHIND > least ? (end - start) / SHARE_BEHIND : least;
    return (struct span){start - before, end + behind};
}

bool chart_render_episode(const struct dataset *dataset, const struct alarm *alarm, struct text *ret)
{
    const struct config *config = dataset->config;
    size_t r = config_find_rule(config, alarm->rule);
    if (r == config->rule_count || config->rules[r].quantity == QUANTITY_COUNT ||
        !summary_has_usable(dataset, config->rules[r].quantity))
        return false;
    struct scene scene;
    scene_init(&scene);
    scene.height = CHART_EPISODE_HEIGHT;
    draw_episode_head(dataset, &config->rules[r], &scene);
    struct panel panel = {.dataset = dataset,
                          .scene = &scene,
                          .quantity = config->rules[r].quantity,
                          .top = EPISODE_TOP,
                          .height = EPISODE_PLOT,
                          .focus = alarm};
    chart_panel_draw(&panel);
    chart_draw_times(dataset, EPISODE_TOP + EPISODE_PLOT, &scene);
    scene.key_top = EPISODE_TOP + EPISODE_PLOT + 22;
    scene_write_png(&scene, CHART_EPISODE_WIDTH, SHARP, ret);
    scene_done(&scene);
    return true;
}

static void draw_episode_head(const struct dataset *dataset, const struct rule *rule, struct scene *scene)
{
    struct civil first = timestamp_to_civil(dataset->span.from + dataset->station->utc_offset);
    const char *name = dataset->station->name;
    bool is_long = shorten(scene->arena, name, EPISODE_TITLE) != name;
    scene_words(scene, is_long ? LOOK_NAME : LOOK_TITLE, 0, 0, 20 * SCENE_TENTHS,
                shorten(scene->arena, name, EPISODE_NAME), NULL);
    scene_words(scene, LOOK_SOFT, 0, 0, 37 * SCENE_TENTHS, shorten(scene->arena, rule->title, EPISODE_WORDS), NULL);
    struct text words;
    text_init(&words, LONGEST_DESCRIPTION);
    summary_add_month(&words, first.year, first.month);
    text_puts(&words, ", standard time ");
    chart_add_offset(&words, dataset->station->utc_offset);
    text_printf(&words, " \u00b7 %s", record_state_word(dataset->state));
    scene_words(scene, LOOK_SOFT, 0, 0, 53 * SCENE_TENTHS, words.bytes, NULL);
    text_done(&words);
}

/* The words themselves, or as many characters of them as there is room for, and a sign that there were more. */
static const char *shorten(struct arena *arena, const char *words, size_t most)
{
    size_t length = strlen(words), at = 0, end = 0;
    for (size_t n = 0; at < length; n++) {
        size_t step = text_utf8_length(words + at, length - at);
        end = n + 1 < most ? at + (step > 0 ? step : 1) : end;
        at += step > 0 ? step : 1;
        if (n == most)
            return arena_printf(arena, "%.*s\u2026", (int)end, words);
    }
    return words;
}
