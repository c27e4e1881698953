/* SPDX-License-Identifier: MIT */
#include "archive/chart_panel.h"

#include "archive/decimate.h"
#include "archive/scale.h"
#include "archive/say.h"
#include "archive/summary.h"
#include "base/timestamp.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Lines are drawn in a box of WIDTH by ten times the panel's height, stretched to the plot: whole numbers are short. */
enum {
    WIDTH = 10000,
    TENTHS = 10,
    COLUMNS = 1000,
    PAUSE_INTERVALS = 3,     /* as quality has it: a longer pause is a gap */
    MARK_DISTANCE = 130,     /* least distance of flag marks, in units of WIDTH */
    LABEL_DISTANCE = 900,    /* least distance of closing errors */
    EPISODE_DISTANCE = 2400, /* least distance of episode names */
    NAME_WIDTH = 1400,       /* of an episode's name, about */
    SHORTEST_EPISODE = 25,
    SHORTEST_GAP = 12,
};

struct panel {
    const struct dataset *dataset;
    struct text *text;
    enum quantity quantity;
    int height; /* px */
    size_t n;
    const int64_t *time;
    const double *value;
    const uint8_t *flag;
    int64_t pause;
    struct scale scale;
    double *drawn;         /* [n] scratch: the values of the line being drawn, NaN elsewhere */
    struct kept_row *kept; /* [n] scratch */
    unsigned marks;
};

static struct scale fit_scale(const struct panel *p);
static void widen(const struct panel *p, double from, double to, double *low, double *high);
static double least_range(enum quantity quantity, double around);
static bool limit_is_shown(const struct panel *p, const struct rule *rule);
static bool is_check_here(const struct panel *p, const struct check_result *check);
static int64_t pause_of(const struct dataset *dataset);
static int compare_times(const void *a, const void *b);
static void draw_heading(struct panel *p, int top);
static void draw_grid(struct panel *p);
static void draw_tick_labels(struct panel *p);
static void draw_episodes(struct panel *p);
static void add_episode_title(const struct panel *p, const struct rule *rule, const struct episode *episode);
static void draw_lines(struct panel *p);
static void choose_finished(struct panel *p);
static bool choose_suspect(struct panel *p);
static bool choose_raw(struct panel *p);
static void draw_line(struct panel *p, const char *class);
static void draw_band(struct panel *p);
static void draw_band_piece(struct panel *p, const double *low, const double *high, int from, int to);
static void draw_limits(struct panel *p);
static void draw_gaps(struct panel *p);
static void draw_gap(struct panel *p, int from, int to);
static void draw_flags(struct panel *p, uint8_t flag);
static void draw_checks(struct panel *p);
static void draw_check(struct panel *p, const struct check_result *check, bool is_labelled);
static void draw_episode_names(struct panel *p);
static bool is_free_above(const struct panel *p, int from, int to);
static const struct rule *rule_of(const struct panel *p, const struct alarm *alarm);
static int end_of(const struct panel *p, const struct alarm *alarm);
static int y_of(const struct panel *p, double value);
static void add_px(struct text *text, int tenths);

int chart_panel_height(enum quantity quantity)
{
    return quantity == QUANTITY_LEVEL || quantity == QUANTITY_DEPTH || quantity == QUANTITY_OXYGEN ? 150 : 96;
}

unsigned chart_panel_render(const struct dataset *dataset, enum quantity quantity, int top, struct text *ret)
{
    const struct record *record = &dataset->record;
    struct panel p = {
        .dataset = dataset,
        .text = ret,
        .quantity = quantity,
        .height = chart_panel_height(quantity),
        .n = record->n,
        .time = record->time,
        .value = record->value[quantity],
        .flag = record->flag[quantity],
        .pause = pause_of(dataset),
        .drawn = x_array(record->n + 1, sizeof(double)),
        .kept = x_array(record->n + 1, sizeof(struct kept_row)),
    };
    p.scale = fit_scale(&p);
    draw_heading(&p, top);
    text_printf(ret, "<svg x=\"%s\" y=\"%d\" width=\"%s\" height=\"%d\">\n", CHART_LEFT, top, CHART_WIDTH, p.height);
    draw_grid(&p);
    draw_episodes(&p);
    draw_lines(&p);
    draw_tick_labels(&p);
    draw_limits(&p);
    draw_gaps(&p);
    draw_flags(&p, FLAG_SUSPECT);
    draw_flags(&p, FLAG_FAIL);
    draw_checks(&p);
    draw_episode_names(&p);
    text_puts(ret, "</svg>\n");
    free(p.drawn);
    free(p.kept);
    return p.marks;
}

/* ---- the frame ---- */

/* Over what is usable, the hand readings, and those limits that lie near enough not to flatten the line. */
static struct scale fit_scale(const struct panel *p)
{
    struct summary s = summarize(&p->dataset->record, p->quantity);
    double min = s.min, max = s.max;
    for (size_t k = 0; k < p->dataset->check_count; k++) {
        const struct check_result *check = &p->dataset->checks[k];
        if (!is_check_here(p, check))
            continue;
        min = check->reference < min ? check->reference : min;
        max = check->reference > max ? check->reference : max;
    }
    double low = min, high = max, reach = max - min;
    widen(p, min - reach / 2, max + reach / 2, &low, &high);
    for (size_t r = 0; r < p->dataset->config->rule_count; r++) {
        const struct rule *rule = &p->dataset->config->rules[r];
        if (!limit_is_shown(p, rule) || rule->limit < min - reach || rule->limit > max + reach)
            continue;
        low = rule->limit < low ? rule->limit : low;
        high = rule->limit > high ? rule->limit : high;
    }
    double scale = quantity_info(p->quantity)->scale;
    return scale_fit(low * scale, high * scale, least_range(p->quantity, max * scale), p->height > 100 ? 5 : 3);
}

/* Raw values and the band as far as they fit into `from` to `to`: a wild reading must not flatten the line. */
static void widen(const struct panel *p, double from, double to, double *low, double *high)
{
    const double *raw = p->dataset->raw.value[p->quantity], *u = p->dataset->record.uncertainty[p->quantity];
    for (size_t i = 0; i < p->n; i++) {
        if (p->flag[i] == FLAG_FAIL)
            continue;
        const double values[] = {raw ? raw[i] : NAN, u ? p->value[i] - 2 * u[i] : NAN, u ? p->value[i] + 2 * u[i] : NAN};
        for (size_t k = 0; k < COUNT_OF(values); k++) {
            if (!(values[k] >= from && values[k] <= to))
                continue;
            *low = values[k] < *low ? values[k] : *low;
            *high = values[k] > *high ? values[k] : *high;
        }
    }
}

/* In the written unit. */
static double least_range(enum quantity quantity, double around)
{
    switch (quantity) {
    case QUANTITY_LEVEL:
    case QUANTITY_DEPTH: return 0.05;
    case QUANTITY_OXYGEN:
    case QUANTITY_TEMPERATURE: return 1;
    case QUANTITY_SALINITY: return 0.1;
    case QUANTITY_AIR_PRESSURE: return 5;
    default: return fabs(around) * 0.05 + 0.01;
    }
}

static bool limit_is_shown(const struct panel *p, const struct rule *rule)
{
    return (rule->kind == RULE_BELOW || rule->kind == RULE_ABOVE) && rule->quantity == p->quantity &&
           rule_watches(rule, p->dataset->station->id);
}

static bool is_check_here(const struct panel *p, const struct check_result *check)
{
    const struct span *month = &p->dataset->span;
    return check->quantity == p->quantity && check->kind != NOTE_STANDARD && isfinite(check->reference) &&
           check->time >= month->from && check->time < month->to;
}

/* Longest step between rows that is no gap. The middle of a few hundred steps tells the interval well enough. */
static int64_t pause_of(const struct dataset *dataset)
{
    enum { LOOKS = 255 };
    const struct record *record = &dataset->record;
    int64_t steps[LOOKS];
    size_t count = 0, stride = record->n / LOOKS + 1;
    for (size_t i = 1; i < record->n && count < LOOKS; i += stride)
        steps[count++] = record->time[i] - record->time[i - 1];
    qsort(steps, count, sizeof *steps, compare_times);
    return count > 0 ? PAUSE_INTERVALS * steps[count / 2] : HOUR_MS;
}

static int compare_times(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return x < y ? -1 : x > y;
}

static void draw_heading(struct panel *p, int top)
{
    struct text *t = p->text;
    bool is_height = p->quantity == QUANTITY_LEVEL;
    text_printf(t, "<text x=\"%s\" y=\"%d\" class=\"name\">", CHART_LEFT, top - 9);
    text_puts(t, quantity_info(p->quantity)->title);
    text_puts(t, " <tspan class=\"soft\">");
    text_puts(t, summary_unit(p->quantity));
    text_puts(t, is_height ? " above the datum" : "");
    text_puts(t, "</tspan></text>\n");
}

static void draw_grid(struct panel *p)
{
    struct text *t = p->text;
    const struct span *month = &p->dataset->span;
    for (int day = 5; month->from + (day - 1) * DAY_MS < month->to; day += 5) {
        int x = chart_position(p->dataset, month->from + (day - 1) * DAY_MS);
        text_puts(t, "<line class=\"grid\" x1=\"");
        chart_add_percent(t, x);
        text_puts(t, "\" x2=\"");
        chart_add_percent(t, x);
        text_printf(t, "\" y1=\"0\" y2=\"%d\"/>", p->height);
    }
    for (double label = scale_first_label(&p->scale); label <= p->scale.high; label += p->scale.step) {
        int y = y_of(p, label / quantity_info(p->quantity)->scale);
        text_puts(t, "<line class=\"grid\" x1=\"0\" x2=\"100%\" y1=\"");
        add_px(t, y);
        text_puts(t, "\" y2=\"");
        add_px(t, y);
        text_puts(t, "\"/>");
    }
    text_printf(t, "<line class=\"base\" x1=\"0\" x2=\"100%%\" y1=\"%d\" y2=\"%d\"/>\n", p->height, p->height);
}

/* Behind the lines in order, so that no line crosses them out where they stand in the plot. */
static void draw_tick_labels(struct panel *p)
{
    struct text *t = p->text;
    for (double label = scale_first_label(&p->scale); label <= p->scale.high; label += p->scale.step) {
        int y = y_of(p, label / quantity_info(p->quantity)->scale);
        text_puts(t, y < 12 * TENTHS ? "<text class=\"tick edge\" x=\"0\" y=\"" : "<text class=\"tick\" x=\"0\" y=\"");
        add_px(t, y);
        text_puts(t, "\">");
        if (label < -p->scale.step / 2)
            text_puts(t, "\u2212");
        text_number(t, fabs(label), p->scale.decimals);
        text_puts(t, "</text>");
    }
    text_putc(t, '\n');
}

/* ---- lines ---- */

static void draw_lines(struct panel *p)
{
    struct text *t = p->text;
    text_printf(t,
                "<svg class=\"lines\" width=\"100%%\" height=\"%d\" viewBox=\"0 0 %d %d\" preserveAspectRatio=\"none\">\n",
                p->height, WIDTH, p->height * TENTHS);
    if (p->dataset->record.uncertainty[p->quantity])
        draw_band(p);
    if (choose_raw(p)) {
        draw_line(p, "raw");
        p->marks |= MARK_RAW;
    }
    choose_finished(p);
    draw_line(p, "finished");
    if (choose_suspect(p))
        draw_line(p, "doubt");
    text_puts(t, "</svg>\n");
}

static void choose_finished(struct panel *p)
{
    for (size_t i = 0; i < p->n; i++)
        p->drawn[i] = p->flag[i] == FLAG_FAIL ? NAN : p->value[i];
}

static bool choose_suspect(struct panel *p)
{
    bool any = false;
    for (size_t i = 0; i < p->n; i++) {
        bool is_suspect = p->flag[i] == FLAG_SUSPECT;
        p->drawn[i] = is_suspect ? p->value[i] : NAN;
        any |= is_suspect;
    }
    return any;
}

/* Only where it can be told from the finished line. What failed has its cross and needs no second line off the scale. */
static bool choose_raw(struct panel *p)
{
    const double *raw = p->dataset->raw.value[p->quantity];
    bool any = false;
    for (size_t i = 0; raw && i < p->n; i++) {
        bool differs = p->flag[i] != FLAG_FAIL && (isnan(p->value[i]) || abs(y_of(p, raw[i]) - y_of(p, p->value[i])) > TENTHS);
        p->drawn[i] = differs ? raw[i] : NAN;
        any |= differs && !isnan(raw[i]);
    }
    return any;
}

/* Relative steps in whole tenths, so that no rounding adds up; a sample alone becomes a dot by its round ends. */
static void draw_line(struct panel *p, const char *class)
{
    struct text *t = p->text;
    size_t n = decimate(p->time, p->drawn, p->n, p->dataset->span, COLUMNS, p->pause, p->kept);
    int last_x = 0, last_y = 0;
    bool moved = true;
    text_printf(t, "<path class=\"%s\" d=\"", class);
    for (size_t k = 0; k < n; k++) {
        size_t row = p->kept[k].row;
        int x = chart_position(p->dataset, p->time[row]), y = y_of(p, p->drawn[row]);
        if (p->kept[k].begins) {
            text_puts(t, moved ? "" : "h0");
            text_printf(t, "M%d %dl", x, y);
        } else if (x != last_x || y != last_y) {
            text_printf(t, y < last_y ? "%d%d " : "%d %d ", x - last_x, y - last_y);
        }
        moved = p->kept[k].begins ? false : moved || x != last_x || y != last_y;
        last_x = x;
        last_y = y;
    }
    text_puts(t, moved ? "\"/>\n" : "h0\"/>\n");
}

static void draw_band(struct panel *p)
{
    const double *u = p->dataset->record.uncertainty[p->quantity];
    double *low = x_array(2 * (COLUMNS + 1), sizeof *low), *high = low + COLUMNS + 1;
    for (int c = 0; c <= COLUMNS; c++)
        low[c] = high[c] = NAN;
    for (size_t i = 0; i < p->n; i++) {
        if (isnan(p->value[i]) || isnan(u[i]) || p->flag[i] == FLAG_FAIL)
            continue;
        int column = chart_position(p->dataset, p->time[i]) * COLUMNS / WIDTH;
        low[column] = fmin(low[column], p->value[i] - 2 * u[i]);
        high[column] = fmax(high[column], p->value[i] + 2 * u[i]);
    }
    const struct span *month = &p->dataset->span;
    int bridge = 1 + (int)(p->pause * COLUMNS / (month->to - month->from)), from = -1, last = -1;
    text_puts(p->text, "<path class=\"band\" d=\"");
    for (int c = 0; c <= COLUMNS; c++) {
        if (isnan(low[c]))
            continue;
        if (from >= 0 && c - last > bridge) {
            draw_band_piece(p, low, high, from, last);
            from = -1;
        }
        from = from < 0 ? c : from;
        last = c;
    }
    if (from >= 0)
        draw_band_piece(p, low, high, from, last);
    text_puts(p->text, "\"/>\n");
    p->marks |= from >= 0 ? MARK_BAND : 0;
    free(low);
}

/* Along the upper edge and back along the lower. */
static void draw_band_piece(struct panel *p, const double *low, const double *high, int from, int to)
{
    char command = 'M';
    for (int c = from; c <= to; c++) {
        if (isnan(high[c]))
            continue;
        text_printf(p->text, "%c%d %d", command, c * (WIDTH / COLUMNS), y_of(p, high[c]));
        command = 'L';
    }
    for (int c = to; c >= from; c--)
        if (!isnan(low[c]))
            text_printf(p->text, "L%d %d", c * (WIDTH / COLUMNS), y_of(p, low[c]));
    text_putc(p->text, 'Z');
}

/* ---- rules ---- */

static void draw_episodes(struct panel *p)
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
        bool is_right = from > WIDTH * 6 / 10;
        int x = is_right ? from : to;
        if (from - last < EPISODE_DISTANCE)
            continue;
        text_puts(t, is_right ? "<text class=\"called left\" dx=\"-5\" x=\"" : "<text class=\"called\" dx=\"5\" x=\"");
        chart_add_percent(t, x);
        text_printf(t, "\" y=\"%d\">",
                    is_free_above(p, is_right ? from - NAME_WIDTH : to, is_right ? from : to + NAME_WIDTH) ? 13 : p->height - 7);
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
        if (!limit_is_shown(p, rule))
            continue;
        double position = scale_position(&p->scale, quantity_to_written(p->quantity, rule->limit));
        if (position < 0 || position > 1)
            continue;
        int y = y_of(p, rule->limit);
        text_puts(t, "<line class=\"limit\" x1=\"0\" x2=\"100%\" y1=\"");
        add_px(t, y);
        text_puts(t, "\" y2=\"");
        add_px(t, y);
        text_puts(t, "\"/><text class=\"limit-name\" x=\"4\" y=\"");
        bool is_under = rule->kind == RULE_BELOW ? y + 15 * TENTHS < p->height * TENTHS : y < 15 * TENTHS;
        add_px(t, is_under ? y + 12 * TENTHS : y - 5 * TENTHS);
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
        add_px(t, y_of(p, p->value[i]));
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
        if (!is_check_here(p, check))
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
    int x = chart_position(p->dataset, check->time), y = y_of(p, check->reference);
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
    add_px(t, y);
    text_puts(t, "\"/>");
    if (is_labelled) {
        bool is_right = x > WIDTH * 8 / 10, is_high = y < 24 * TENTHS;
        text_puts(t, is_right ? "<text class=\"closing left\" x=\"" : "<text class=\"closing\" x=\"");
        chart_add_percent(t, x);
        text_printf(t, "\" dx=\"%d\" y=\"", is_right ? -7 : 7);
        add_px(t, is_high ? y + 14 * TENTHS : y - 6 * TENTHS);
        text_puts(t, "\">");
        summary_add_difference(t, p->quantity, check->difference);
        text_puts(t, "</text>");
    }
    text_puts(t, "</g>\n");
}

/* ---- places and numbers ---- */

int chart_position(const struct dataset *dataset, int64_t time)
{
    const struct span *month = &dataset->span;
    if (time <= month->from)
        return 0;
    if (time >= month->to)
        return WIDTH;
    return (int)((double)(time - month->from) / (double)(month->to - month->from) * WIDTH + 0.5);
}

/* Tenths of a px from the panel's upper edge; what lies beyond the scale stands at its edge. NaN stands below. */
static int y_of(const struct panel *p, double value)
{
    double position = scale_position(&p->scale, quantity_to_written(p->quantity, value));
    int bottom = p->height * TENTHS;
    if (!(position > 0))
        return bottom;
    return position >= 1 ? 0 : (int)((1 - position) * bottom + 0.5);
}

void chart_add_percent(struct text *text, int hundredths)
{
    text_number(text, hundredths / 100.0, hundredths % 100 == 0 ? 0 : 2);
    text_putc(text, '%');
}

static void add_px(struct text *text, int tenths)
{
    text_number(text, tenths / 10.0, tenths % 10 == 0 ? 0 : 1);
}
