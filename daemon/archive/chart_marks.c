/* SPDX-License-Identifier: MIT */
/* What stands on the lines of a panel: episodes and limits of rules, gaps, flags, hand readings. */
#include "archive/chart_panel.h"

#include "archive/summary.h"
#include "base/timestamp.h"

#include <math.h>

enum {
    MARK_DISTANCE = 130,     /* least distance of flag marks, in units of SCENE_UNITS, as all here */
    LABEL_DISTANCE = 900,    /* least distance of closing errors */
    EPISODE_DISTANCE = 2400, /* least distance of episode names */
    NAME_WIDTH = 1400,       /* of an episode's name, about */
    SHORTEST_EPISODE = 25,
    SHORTEST_GAP = 12,
    LONGEST_TITLE = 4096,
};

static void open_episode(struct panel *p, const struct rule *rule, const struct episode *episode);
static void draw_episode_names(struct panel *p);
static bool is_free_above(const struct panel *p, int from, int to);
static const struct rule *rule_of(const struct panel *p, const struct alarm *alarm);
static int end_of(const struct panel *p, const struct alarm *alarm);
static void draw_limits(struct panel *p);
static void draw_limit(struct panel *p, const struct rule *rule, double limit);
static void draw_reviews(struct panel *p);
static void draw_gaps(struct panel *p);
static void draw_gap(struct panel *p, int from, int to);
static void draw_flags(struct panel *p, uint8_t flag);
static void draw_checks(struct panel *p);
static void draw_check(struct panel *p, const struct check_result *check, bool is_labelled);
static void draw_worst(struct panel *p);

void chart_draw_marks(struct panel *p)
{
    draw_limits(p);
    draw_reviews(p);
    draw_gaps(p);
    draw_flags(p, FLAG_SUSPECT);
    draw_flags(p, FLAG_FAIL);
    draw_checks(p);
    if (p->focus)
        draw_worst(p);
    else
        draw_episode_names(p);
}

/* ---- rules ---- */

void chart_draw_episodes(struct panel *p)
{
    for (size_t k = 0; k < p->dataset->alarm_count; k++) {
        const struct alarm *alarm = &p->dataset->alarms[k];
        const struct rule *rule = rule_of(p, alarm);
        if (!rule)
            continue;
        open_episode(p, rule, &alarm->episode);
        scene_area(p->scene, LOOK_EPISODE, chart_position(p->dataset, alarm->episode.start), 0, end_of(p, alarm),
                   p->height * SCENE_TENTHS);
        scene_close_group(p->scene);
        p->scene->marks |= MARK_EPISODE;
    }
}

static void open_episode(struct panel *p, const struct rule *rule, const struct episode *episode)
{
    int64_t offset = p->dataset->station->utc_offset;
    char when[TIMESTAMP_SIZE];
    struct text words;
    text_init(&words, LONGEST_TITLE);
    text_puts(&words, rule->title);
    text_printf(&words, ", from %s ", timestamp_print_offset(episode->start, offset, when));
    if (episode->end == TIME_NONE)
        text_puts(&words, "on, still so at the last sample");
    else
        text_printf(&words, "to %s", timestamp_print_offset(episode->end, offset, when));
    scene_open_group(p->scene, words.bytes);
    text_done(&words);
}

/* Beside the episode, towards the middle of the picture, and above or below by where the line leaves room. */
static void draw_episode_names(struct panel *p)
{
    int last = -EPISODE_DISTANCE;
    for (size_t k = p->dataset->alarm_count; k > 0; k--) { /* newest first in the list: from the left here */
        const struct alarm *alarm = &p->dataset->alarms[k - 1];
        const struct rule *rule = rule_of(p, alarm);
        if (!rule)
            continue;
        int from = chart_position(p->dataset, alarm->episode.start), to = end_of(p, alarm);
        bool is_right = from > SCENE_UNITS * 6 / 10;
        if (from - last < EPISODE_DISTANCE)
            continue;
        bool is_above = is_free_above(p, is_right ? from - NAME_WIDTH : to, is_right ? from : to + NAME_WIDTH);
        scene_words(p->scene, LOOK_CALLED, is_right ? from : to, is_right ? -5 : 5,
                    (is_above ? 13 : p->height - 7) * SCENE_TENTHS, rule->title, NULL);
        last = from;
    }
}

/* Whether the line stays out of the upper strip between the two positions, or fills the lower one as well. */
static bool is_free_above(const struct panel *p, int from, int to)
{
    double low = 1, high = 0;
    for (size_t i = 0; i < p->n; i++) {
        int x = chart_position(p->dataset, p->time[i]);
        if (x < from || x > to || isnan(p->value[i]) || p->flag[i] == FLAG_FAIL)
            continue;
        double position = scale_position(&p->scale, quantity_to_written(p->quantity, p->value[i]));
        low = position < low ? position : low;
        high = position > high ? position : high;
    }
    return high < 0.8 || low < 0.2;
}

static const struct rule *rule_of(const struct panel *p, const struct alarm *alarm)
{
    const struct config *config = p->dataset->config;
    size_t r = config_find_rule(config, alarm->rule);
    const struct rule *rule = r < config->rule_count ? &config->rules[r] : NULL;
    bool is_stretch = rule && rule->kind != RULE_DRIFT && rule->kind != RULE_SILENCE;
    bool touches = alarm->episode.start < p->dataset->span.to &&
                   (alarm->episode.end == TIME_NONE || alarm->episode.end >= p->dataset->span.from);
    return is_stretch && touches && rule->quantity == p->quantity && alarm->state != ALARM_WITHDRAWN ? rule : NULL;
}

static int end_of(const struct panel *p, const struct alarm *alarm)
{
    const struct episode *e = &alarm->episode;
    int from = chart_position(p->dataset, e->start);
    int to = chart_position(p->dataset, e->end == TIME_NONE ? e->last_time : e->end);
    return to - from < SHORTEST_EPISODE ? from + SHORTEST_EPISODE : to;
}

static void draw_limits(struct panel *p)
{
    for (size_t r = 0; r < p->dataset->config->rule_count; r++) {
        const struct rule *rule = &p->dataset->config->rules[r];
        double limits[2];
        size_t n = chart_limits(p, rule, limits);
        for (size_t k = 0; k < n; k++)
            draw_limit(p, rule, limits[k]);
    }
}

static void draw_limit(struct panel *p, const struct rule *rule, double limit)
{
    double position = scale_position(&p->scale, quantity_to_written(p->quantity, limit));
    if (position < 0 || position > 1)
        return;
    bool is_lower = rule->kind == RULE_BELOW || (rule->kind == RULE_OUTSIDE && limit == rule->low);
    int y = chart_y(p, limit);
    struct text words;
    text_init(&words, LONGEST_TITLE);
    text_puts(&words, is_lower ? "below " : "above ");
    text_number(&words, quantity_to_written(p->quantity, limit), p->scale.decimals > 1 ? p->scale.decimals : 1);
    text_puts(&words, ": ");
    text_puts(&words, rule->title);
    bool is_under = is_lower ? y + 15 * SCENE_TENTHS < p->height * SCENE_TENTHS : y < 15 * SCENE_TENTHS;
    scene_line(p->scene, LOOK_LIMIT, 0, y, SCENE_UNITS, y);
    scene_words(p->scene, LOOK_LIMIT_NAME, 0, 4, is_under ? y + 12 * SCENE_TENTHS : y - 5 * SCENE_TENTHS, words.bytes,
                NULL);
    text_done(&words);
    p->scene->marks |= MARK_LIMIT;
}

/* ---- marks ---- */

/* Only where a part is: a whole month says it in its head. */
static void draw_reviews(struct panel *p)
{
    enum { STRIP = 3 };
    for (size_t k = 0; p->dataset->state == RECORD_PARTLY_REVIEWED && k < p->dataset->review_count; k++) {
        const struct span *span = &p->dataset->reviews[k].span;
        scene_area(p->scene, LOOK_REVIEWED, chart_position(p->dataset, span->from), p->height * SCENE_TENTHS,
                   chart_position(p->dataset, span->to), (p->height + STRIP) * SCENE_TENTHS);
        p->scene->marks |= MARK_REVIEWED;
    }
}

/* Between the first and the last row of the month: before and after nobody expects a value. */
static void draw_gaps(struct panel *p)
{
    int from = -1, to = -1;
    for (size_t i = 1; i < p->n; i++) {
        bool is_missing = isnan(p->value[i]) || isnan(p->value[i - 1]);
        if (!is_missing && p->time[i] - p->time[i - 1] <= p->pause)
            continue;
        int start = chart_position(p->dataset, p->time[i - 1]), end = chart_position(p->dataset, p->time[i]);
        if (to >= 0 && start - to > SHORTEST_GAP) {
            draw_gap(p, from, to);
            from = -1;
        }
        from = from < 0 ? start : from;
        to = end;
    }
    if (to >= 0)
        draw_gap(p, from, to);
}

static void draw_gap(struct panel *p, int from, int to)
{
    int shorter = SHORTEST_GAP - (to - from), bottom = p->height * SCENE_TENTHS;
    to += shorter > 0 ? shorter : 0;
    scene_area(p->scene, LOOK_GAP, from, bottom - 5 * SCENE_TENTHS, to, bottom);
    p->scene->marks |= MARK_MISSING;
}

/* A mark at each flagged stretch's first row, and then as often as marks can be told apart. */
static void draw_flags(struct panel *p, uint8_t flag)
{
    int last = -MARK_DISTANCE;
    for (size_t i = 0; i < p->n; i++) {
        const struct span *span = &p->dataset->span;
        if (p->flag[i] != flag || isnan(p->value[i]) || p->time[i] < span->from || p->time[i] >= span->to)
            continue;
        int x = chart_position(p->dataset, p->time[i]);
        if (x - last < MARK_DISTANCE)
            continue;
        scene_symbol(p->scene, flag == FLAG_FAIL ? LOOK_CROSS : LOOK_RING, x, chart_y(p, p->value[i]));
        last = x;
        p->scene->marks |= flag == FLAG_FAIL ? MARK_FAIL : MARK_SUSPECT;
    }
}

static void draw_checks(struct panel *p)
{
    int last = -LABEL_DISTANCE;
    for (size_t k = 0; k < p->dataset->check_count; k++) {
        const struct check_result *check = &p->dataset->checks[k];
        if (!chart_check_is_shown(p, check))
            continue;
        int x = chart_position(p->dataset, check->time);
        bool is_labelled = !check->is_first && isfinite(check->difference) && x - last >= LABEL_DISTANCE;
        draw_check(p, check, is_labelled);
        last = is_labelled ? x : last;
        p->scene->marks |= MARK_HAND;
    }
}

static void draw_check(struct panel *p, const struct check_result *check, bool is_labelled)
{
    int x = chart_position(p->dataset, check->time), y = chart_y(p, check->reference);
    char when[TIMESTAMP_SIZE];
    struct text words;
    text_init(&words, LONGEST_TITLE);
    text_puts(&words, timestamp_print_offset(check->time, p->dataset->station->utc_offset, when));
    text_puts(&words, ": by hand ");
    summary_add_value(&words, p->quantity, check->reference);
    text_puts(&words, ", record ");
    summary_add_value(&words, p->quantity, check->sensor);
    scene_open_group(p->scene, words.bytes);
    scene_symbol(p->scene, LOOK_DIAMOND, x, y);
    if (is_labelled) {
        bool is_right = x > SCENE_UNITS * 8 / 10, is_high = y < 24 * SCENE_TENTHS;
        text_clear(&words);
        summary_add_difference(&words, p->quantity, check->difference);
        scene_words(p->scene, LOOK_CLOSING, x, is_right ? -7 : 7,
                    is_high ? y + 14 * SCENE_TENTHS : y - 6 * SCENE_TENTHS, words.bytes, NULL);
    }
    scene_close_group(p->scene);
    text_done(&words);
}

/* What the picture is about: how bad it got, and when. */
static void draw_worst(struct panel *p)
{
    const struct episode *episode = &p->focus->episode;
    const struct rule *rule = rule_of(p, p->focus);
    if (!rule || rule->kind == RULE_GAP || !isfinite(episode->worst) || episode->worst_time < p->dataset->span.from ||
        episode->worst_time >= p->dataset->span.to)
        return;
    int x = chart_position(p->dataset, episode->worst_time), y = chart_y(p, episode->worst);
    bool is_right = x > SCENE_UNITS * 8 / 10, is_low = y > (p->height - 20) * SCENE_TENTHS;
    struct text words;
    text_init(&words, 64);
    summary_add_value(&words, p->quantity, episode->worst);
    scene_symbol(p->scene, LOOK_DOT, x, y);
    scene_words(p->scene, LOOK_CALLED, x, is_right ? -8 : 8, is_low ? y - 7 * SCENE_TENTHS : y + 13 * SCENE_TENTHS,
                words.bytes, NULL);
    text_done(&words);
}
