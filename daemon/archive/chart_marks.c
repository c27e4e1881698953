/* SPDX-License-Identifier: MIT */
/* What stands on the lines of a panel: episodes and limits of rules, gaps, flags, hand readings. */
#include "archive/chart_panel.h"

#include "archive/say.h"
#include "archive/summary.h"
#include "base/timestamp.h"

#include <math.h>

enum {
    MARK_DISTANCE = 130,     /* least distance of flag marks, in units of CHART_UNITS, as all here */
    LABEL_DISTANCE = 900,    /* least distance of closing errors */
    EPISODE_DISTANCE = 2400, /* least distance of episode names */
    NAME_WIDTH = 1400,       /* of an episode's name, about */
    SHORTEST_EPISODE = 25,
    SHORTEST_GAP = 12,
};

static void add_episode_title(const struct panel *p, const struct rule *rule, const struct episode *episode);
static void draw_episode_names(struct panel *p);
static bool is_free_above(const struct panel *p, int from, int to);
static const struct rule *rule_of(const struct panel *p, const struct alarm *alarm);
static int end_of(const struct panel *p, const struct alarm *alarm);
static void draw_limits(struct panel *p);
static void draw_gaps(struct panel *p);
static void draw_gap(struct panel *p, int from, int to);
static void draw_flags(struct panel *p, uint8_t flag);
static void draw_checks(struct panel *p);
static void draw_check(struct panel *p, const struct check_result *check, bool is_labelled);

void chart_draw_marks(struct panel *p)
{
    draw_limits(p);
    draw_gaps(p);
    draw_flags(p, FLAG_SUSPECT);
    draw_flags(p, FLAG_FAIL);
    draw_checks(p);
    draw_episode_names(p);
}

/* ---- rules ---- */

void chart_draw_episodes(struct panel *p)
{
    struct text *t = p->text;
    for (size_t k = 0; k < p->dataset->alarm_count; k++) {
        const struct alarm *alarm = &p->dataset->alarms[k];
        const struct rule *rule = rule_of(p, alarm);
        if (!rule)
            continue;
        int from = chart_position(p->dataset, alarm->episode.start), to = end_of(p, alarm);
        text_puts(t, "<g>");
        add_episode_title(p, rule, &alarm->episode);
        for (int layer = 0; layer < 2; layer++) {
            text_printf(t, "<rect class=\"%s\" x=\"", layer ? "hatch" : "episode");
            chart_add_percent(t, from);
            text_puts(t, "\" y=\"0\" width=\"");
            chart_add_percent(t, to - from);
            text_printf(t, "\" height=\"%d\"/>", p->height);
        }
        text_puts(t, "</g>\n");
        p->marks |= MARK_EPISODE;
    }
}

static void add_episode_title(const struct panel *p, const struct rule *rule, const struct episode *episode)
{
    int64_t offset = p->dataset->station->utc_offset;
    char when[TIMESTAMP_SIZE];
    text_puts(p->text, "<title>");
    say(p->text, rule->title);
    text_printf(p->text, ", from %s ", timestamp_print_offset(episode->start, offset, when));
    if (episode->end == TIME_NONE)
        text_puts(p->text, "on, still so at the last sample");
    else
        text_printf(p->text, "to %s", timestamp_print_offset(episode->end, offset, when));
    text_puts(p->text, "</title>");
}

/* Beside the episode, towards the middle of the picture, and above or below by where the line leaves room. */
static void draw_episode_names(struct panel *p)
{
    struct text *t = p->text;
    int last = -EPISODE_DISTANCE;
    for (size_t k = p->dataset->alarm_count; k > 0; k--) { /* newest first in the list: from the left here */
        const struct alarm *alarm = &p->dataset->alarms[k - 1];
        const struct rule *rule = rule_of(p, alarm);
        if (!rule)
            continue;
        int from = chart_position(p->dataset, alarm->episode.start), to = end_of(p, alarm);
        bool is_right = from > CHART_UNITS * 6 / 10;
        int x = is_right ? from : to;
        if (from - last < EPISODE_DISTANCE)
            continue;
        text_puts(t, is_right ? "<text class=\"called left\" dx=\"-5\" x=\"" : "<text class=\"called\" dx=\"5\" x=\"");
        chart_add_percent(t, x);
        text_printf(t, "\" y=\"%d\">",
                    is_free_above(p, is_right ? from - NAME_WIDTH : to, is_right ? from : to + NAME_WIDTH)
                        ? 13
                        : p->height - 7);
        say(t, rule->title);
        text_puts(t, "</text>\n");
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
    struct text *t = p->text;
    for (size_t r = 0; r < p->dataset->config->rule_count; r++) {
        const struct rule *rule = &p->dataset->config->rules[r];
        if (!chart_limit_is_shown(p, rule))
            continue;
        double position = scale_position(&p->scale, quantity_to_written(p->quantity, rule->limit));
        if (position < 0 || position > 1)
            continue;
        int y = chart_y(p, rule->limit);
        text_puts(t, "<line class=\"limit\" x1=\"0\" x2=\"100%\" y1=\"");
        chart_add_px(t, y);
        text_puts(t, "\" y2=\"");
        chart_add_px(t, y);
        text_puts(t, "\"/><text class=\"limit-name\" x=\"4\" y=\"");
        bool is_under =
            rule->kind == RULE_BELOW ? y + 15 * CHART_TENTHS < p->height * CHART_TENTHS : y < 15 * CHART_TENTHS;
        chart_add_px(t, is_under ? y + 12 * CHART_TENTHS : y - 5 * CHART_TENTHS);
        text_puts(t, "\">");
        text_puts(t, rule_kind_word(rule->kind));
        text_putc(t, ' ');
        text_number(t, quantity_to_written(p->quantity, rule->limit), p->scale.decimals > 1 ? p->scale.decimals : 1);
        text_puts(t, ": ");
        say(t, rule->title);
        text_puts(t, "</text>\n");
        p->marks |= MARK_LIMIT;
    }
}

/* ---- marks ---- */

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
    struct text *t = p->text;
    int shorter = SHORTEST_GAP - (to - from);
    to += shorter > 0 ? shorter : 0;
    text_puts(t, "<rect class=\"gap\" x=\"");
    chart_add_percent(t, from);
    text_puts(t, "\" width=\"");
    chart_add_percent(t, to - from);
    text_printf(t, "\" y=\"%d\" height=\"5\"/>\n", p->height - 5);
    p->marks |= MARK_MISSING;
}

/* A mark at each flagged stretch's first row, and then as often as marks can be told apart. */
static void draw_flags(struct panel *p, uint8_t flag)
{
    struct text *t = p->text;
    int last = -MARK_DISTANCE;
    for (size_t i = 0; i < p->n; i++) {
        if (p->flag[i] != flag || isnan(p->value[i]))
            continue;
        int x = chart_position(p->dataset, p->time[i]);
        if (x - last < MARK_DISTANCE)
            continue;
        text_puts(t, flag == FLAG_FAIL ? "<use href=\"#cross\" x=\"" : "<use href=\"#ring\" x=\"");
        chart_add_percent(t, x);
        text_puts(t, "\" y=\"");
        chart_add_px(t, chart_y(p, p->value[i]));
        text_puts(t, "\"/>");
        last = x;
        p->marks |= flag == FLAG_FAIL ? MARK_FAIL : MARK_SUSPECT;
    }
    text_putc(t, '\n');
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
        p->marks |= MARK_HAND;
    }
}

static void draw_check(struct panel *p, const struct check_result *check, bool is_labelled)
{
    struct text *t = p->text;
    int x = chart_position(p->dataset, check->time), y = chart_y(p, check->reference);
    char when[TIMESTAMP_SIZE];
    text_puts(t, "<g><title>");
    text_puts(t, timestamp_print_offset(check->time, p->dataset->station->utc_offset, when));
    text_puts(t, ": by hand ");
    summary_add_value(t, p->quantity, check->reference);
    text_puts(t, ", record ");
    summary_add_value(t, p->quantity, check->sensor);
    text_puts(t, "</title><use href=\"#diamond\" x=\"");
    chart_add_percent(t, x);
    text_puts(t, "\" y=\"");
    chart_add_px(t, y);
    text_puts(t, "\"/>");
    if (is_labelled) {
        bool is_right = x > CHART_UNITS * 8 / 10, is_high = y < 24 * CHART_TENTHS;
        text_puts(t, is_right ? "<text class=\"closing left\" x=\"" : "<text class=\"closing\" x=\"");
        chart_add_percent(t, x);
        text_printf(t, "\" dx=\"%d\" y=\"", is_right ? -7 : 7);
        chart_add_px(t, is_high ? y + 14 * CHART_TENTHS : y - 6 * CHART_TENTHS);
        text_puts(t, "\">");
        summary_add_difference(t, p->quantity, check->difference);
        text_puts(t, "</text>");
    }
    text_puts(t, "</g>\n");
}
