/* SPDX-License-Identifier: MIT */
#include "archive/chart_panel.h"

#include "archive/summary.h"
#include "base/timestamp.h"
#include "science/statistics.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    COLUMNS = 1000,
    PAUSE_INTERVALS = 3, /* as quality has it: a longer pause is a gap */
};

static struct scale fit_scale(const struct panel *p);
static void widen(const struct panel *p, double from, double to, double *low, double *high);
static double least_range(enum quantity quantity, double around);
static int64_t pause_of(const struct panel *p);
static void draw_heading(struct panel *p);
static void draw_grid(struct panel *p);
static void draw_tick_labels(struct panel *p);
static void draw_lines(struct panel *p);
static void choose_finished(struct panel *p);
static bool choose_suspect(struct panel *p);
static bool choose_raw(struct panel *p);
static void draw_line(struct panel *p, enum look look);
static void draw_band(struct panel *p);
static void draw_band_piece(struct panel *p, const double *low, const double *high, int from, int to);

int chart_panel_height(enum quantity quantity)
{
    return quantity == QUANTITY_LEVEL || quantity == QUANTITY_DEPTH || quantity == QUANTITY_OXYGEN ? 150 : 96;
}

void chart_panel_draw(struct panel *p)
{
    const struct record *record = &p->dataset->record;
    p->n = record->n;
    p->time = record->time;
    p->value = record->value[p->quantity];
    p->flag = record->flag[p->quantity];
    p->pause = pause_of(p);
    p->drawn = x_array(record->n + 1, sizeof *p->drawn);
    p->kept = x_array(record->n + 1, sizeof *p->kept);
    p->scale = fit_scale(p);
    draw_heading(p);
    scene_open_frame(p->scene, p->top, p->height);
    draw_grid(p);
    chart_draw_episodes(p);
    draw_lines(p);
    draw_tick_labels(p);
    chart_draw_marks(p);
    scene_close_frame(p->scene);
    free(p->drawn);
    free(p->kept);
}

/* ---- the frame ---- */

/* Over what is usable, the hand readings, and those limits that lie near enough not to flatten the line, or are what
 * the picture is about. */
static struct scale fit_scale(const struct panel *p)
{
    struct summary s = summary_of(p->dataset, p->quantity);
    double min = s.min, max = s.max;
    for (size_t k = 0; k < p->dataset->check_count; k++) {
        const struct check_result *check = &p->dataset->checks[k];
        if (!chart_check_is_shown(p, check))
            continue;
        min = check->reference < min ? check->reference : min;
        max = check->reference > max ? check->reference : max;
    }
    double low = min, high = max, reach = max - min;
    widen(p, min - reach / 2, max + reach / 2, &low, &high);
    for (size_t r = 0; r < p->dataset->config->rule_count; r++) {
        const struct rule *rule = &p->dataset->config->rules[r];
        bool is_focus = p->focus && strcmp(p->focus->rule, rule->id) == 0;
        double limits[2];
        for (size_t k = chart_limits(p, rule, limits); k > 0; k--) {
            double limit = limits[k - 1];
            if (!is_focus && (limit < min - reach || limit > max + reach))
                continue;
            low = limit < low ? limit : low;
            high = limit > high ? limit : high;
        }
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
        const double values[] = {raw ? raw[i] : NAN, u ? p->value[i] - 2 * u[i] : NAN,
                                 u ? p->value[i] + 2 * u[i] : NAN};
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

size_t chart_limits(const struct panel *p, const struct rule *rule, double ret[2])
{
    bool is_shown = rule->quantity == p->quantity && rule_watches(rule, p->dataset->station->id);
    return is_shown ? rule_levels(rule, ret) : 0;
}

bool chart_check_is_shown(const struct panel *p, const struct check_result *check)
{
    const struct span *month = &p->dataset->span;
    return check->quantity == p->quantity && check->kind != CHECK_STANDARD && isfinite(check->reference) &&
           check->time >= month->from && check->time < month->to;
}

/* Longest step between rows that is no gap. */
static int64_t pause_of(const struct panel *p)
{
    struct arena *arena = p->scene->arena;
    const struct record *record = &p->dataset->record;
    int64_t step =
        statistics_usual_step(record->n, record->time, INT64_MAX, arena_room(arena, record->n + 1, sizeof(double)));
    return step > 0 ? PAUSE_INTERVALS * step : HOUR_MS;
}

static void draw_heading(struct panel *p)
{
    struct text unit;
    text_init(&unit, 256);
    text_puts(&unit, summary_unit(p->quantity));
    text_puts(&unit, p->quantity == QUANTITY_LEVEL ? " above the datum" : "");
    scene_words(p->scene, LOOK_NAME, 0, 0, (p->top - 9) * SCENE_TENTHS, quantity_info(p->quantity)->title,
                unit.bytes ? unit.bytes : "");
    text_done(&unit);
}

static void draw_grid(struct panel *p)
{
    struct chart_tick ticks[CHART_TICKS_MAX];
    size_t n = chart_ticks(p->dataset, ticks);
    int bottom = p->height * SCENE_TENTHS;
    for (size_t k = 0; k < n; k++) {
        int x = chart_position(p->dataset, ticks[k].time);
        if (x > 0)
            scene_line(p->scene, LOOK_GRID, x, 0, x, bottom);
    }
    for (double label = scale_first_label(&p->scale); label <= p->scale.high; label += p->scale.step) {
        int y = chart_y(p, label / quantity_info(p->quantity)->scale);
        scene_line(p->scene, LOOK_GRID, 0, y, SCENE_UNITS, y);
    }
    scene_line(p->scene, LOOK_BASE, 0, bottom, SCENE_UNITS, bottom);
}

/* Behind the lines in order, so that no line crosses them out where they stand in the plot. */
static void draw_tick_labels(struct panel *p)
{
    struct text words;
    text_init(&words, 64);
    for (double label = scale_first_label(&p->scale); label <= p->scale.high; label += p->scale.step) {
        int y = chart_y(p, label / quantity_info(p->quantity)->scale);
        text_clear(&words);
        if (label < -p->scale.step / 2)
            text_puts(&words, "\u2212");
        text_number(&words, fabs(label), p->scale.decimals);
        scene_words(p->scene, y < 12 * SCENE_TENTHS ? LOOK_EDGE_TICK : LOOK_TICK, 0, 0, y, words.bytes, NULL);
    }
    text_done(&words);
}

/* ---- lines ---- */

static void draw_lines(struct panel *p)
{
    scene_open_lines(p->scene, p->height);
    if (p->dataset->record.uncertainty[p->quantity])
        draw_band(p);
    if (choose_raw(p)) {
        draw_line(p, LOOK_RAW);
        p->scene->marks |= MARK_RAW;
    }
    choose_finished(p);
    draw_line(p, LOOK_FINISHED);
    if (choose_suspect(p))
        draw_line(p, LOOK_DOUBT);
    scene_close_lines(p->scene);
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

/* Only where it can be told from the finished line. What failed has its cross and needs no second line off the scale.
 */
static bool choose_raw(struct panel *p)
{
    const double *raw = p->dataset->raw.value[p->quantity];
    bool any = false;
    for (size_t i = 0; raw && i < p->n; i++) {
        bool differs = p->flag[i] != FLAG_FAIL &&
                       (isnan(p->value[i]) || abs(chart_y(p, raw[i]) - chart_y(p, p->value[i])) > SCENE_TENTHS);
        p->drawn[i] = differs ? raw[i] : NAN;
        any |= differs && !isnan(raw[i]);
    }
    return any;
}

static void draw_line(struct panel *p, enum look look)
{
    size_t n = decimate(p->time, p->drawn, p->n, p->dataset->span, COLUMNS, p->pause, p->kept);
    scene_path(p->scene, look);
    for (size_t k = 0; k < n; k++) {
        size_t row = p->kept[k].row;
        scene_point(p->scene, chart_position(p->dataset, p->time[row]), chart_y(p, p->drawn[row]), p->kept[k].begins);
    }
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
        int column = chart_position(p->dataset, p->time[i]) * COLUMNS / SCENE_UNITS;
        low[column] = fmin(low[column], p->value[i] - 2 * u[i]);
        high[column] = fmax(high[column], p->value[i] + 2 * u[i]);
    }
    const struct span *month = &p->dataset->span;
    int bridge = 1 + (int)(p->pause * COLUMNS / (month->to - month->from)), from = -1, last = -1;
    scene_path(p->scene, LOOK_BAND);
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
    p->scene->marks |= from >= 0 ? MARK_BAND : 0;
    free(low);
}

/* Along the upper edge and back along the lower. */
static void draw_band_piece(struct panel *p, const double *low, const double *high, int from, int to)
{
    bool begins = true;
    for (int c = from; c <= to; c++) {
        if (isnan(high[c]))
            continue;
        scene_point(p->scene, c * (SCENE_UNITS / COLUMNS), chart_y(p, high[c]), begins);
        begins = false;
    }
    for (int c = to; c >= from; c--)
        if (!isnan(low[c]))
            scene_point(p->scene, c * (SCENE_UNITS / COLUMNS), chart_y(p, low[c]), false);
}

/* Tenths of a px from the panel's upper edge; what lies beyond the scale stands at its edge. NaN stands below. */
int chart_y(const struct panel *p, double value)
{
    double position = scale_position(&p->scale, quantity_to_written(p->quantity, value));
    int bottom = p->height * SCENE_TENTHS;
    if (!(position > 0))
        return bottom;
    return position >= 1 ? 0 : (int)((1 - position) * bottom + 0.5);
}
