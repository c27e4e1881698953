/* SPDX-License-Identifier: MIT */
#include "archive/chart_panel.h"

#include "archive/summary.h"
#include "base/timestamp.h"

#include <math.h>
#include <stdlib.h>

enum {
    COLUMNS = 1000,
    PAUSE_INTERVALS = 3, /* as quality has it: a longer pause is a gap */
};

static struct scale fit_scale(const struct panel *p);
static void widen(const struct panel *p, double from, double to, double *low, double *high);
static double least_range(enum quantity quantity, double around);
static int64_t pause_of(const struct dataset *dataset);
static int compare_times(const void *a, const void *b);
static void draw_heading(struct panel *p, int top);
static void draw_grid(struct panel *p);
static void draw_tick_labels(struct panel *p);
static void draw_lines(struct panel *p);
static void choose_finished(struct panel *p);
static bool choose_suspect(struct panel *p);
static bool choose_raw(struct panel *p);
static void draw_line(struct panel *p, const char *class);
static void draw_band(struct panel *p);
static void draw_band_piece(struct panel *p, const double *low, const double *high, int from, int to);

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
    chart_draw_episodes(&p);
    draw_lines(&p);
    draw_tick_labels(&p);
    chart_draw_marks(&p);
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
        if (!chart_check_is_shown(p, check))
            continue;
        min = check->reference < min ? check->reference : min;
        max = check->reference > max ? check->reference : max;
    }
    double low = min, high = max, reach = max - min;
    widen(p, min - reach / 2, max + reach / 2, &low, &high);
    for (size_t r = 0; r < p->dataset->config->rule_count; r++) {
        const struct rule *rule = &p->dataset->config->rules[r];
        if (!chart_limit_is_shown(p, rule) || rule->limit < min - reach || rule->limit > max + reach)
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

bool chart_limit_is_shown(const struct panel *p, const struct rule *rule)
{
    return (rule->kind == RULE_BELOW || rule->kind == RULE_ABOVE) && rule->quantity == p->quantity &&
           rule_watches(rule, p->dataset->station->id);
}

bool chart_check_is_shown(const struct panel *p, const struct check_result *check)
{
    const struct span *month = &p->dataset->span;
    return check->quantity == p->quantity && check->kind != CHECK_STANDARD && isfinite(check->reference) &&
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
        int y = chart_y(p, label / quantity_info(p->quantity)->scale);
        text_puts(t, "<line class=\"grid\" x1=\"0\" x2=\"100%\" y1=\"");
        chart_add_px(t, y);
        text_puts(t, "\" y2=\"");
        chart_add_px(t, y);
        text_puts(t, "\"/>");
    }
    text_printf(t, "<line class=\"base\" x1=\"0\" x2=\"100%%\" y1=\"%d\" y2=\"%d\"/>\n", p->height, p->height);
}

/* Behind the lines in order, so that no line crosses them out where they stand in the plot. */
static void draw_tick_labels(struct panel *p)
{
    struct text *t = p->text;
    for (double label = scale_first_label(&p->scale); label <= p->scale.high; label += p->scale.step) {
        int y = chart_y(p, label / quantity_info(p->quantity)->scale);
        text_puts(t, y < 12 * CHART_TENTHS ? "<text class=\"tick edge\" x=\"0\" y=\""
                                           : "<text class=\"tick\" x=\"0\" y=\"");
        chart_add_px(t, y);
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
    text_printf(
        t, "<svg class=\"lines\" width=\"100%%\" height=\"%d\" viewBox=\"0 0 %d %d\" preserveAspectRatio=\"none\">\n",
        p->height, CHART_UNITS, p->height * CHART_TENTHS);
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

/* Only where it can be told from the finished line. What failed has its cross and needs no second line off the scale.
 */
static bool choose_raw(struct panel *p)
{
    const double *raw = p->dataset->raw.value[p->quantity];
    bool any = false;
    for (size_t i = 0; raw && i < p->n; i++) {
        bool differs = p->flag[i] != FLAG_FAIL &&
                       (isnan(p->value[i]) || abs(chart_y(p, raw[i]) - chart_y(p, p->value[i])) > CHART_TENTHS);
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
        int x = chart_position(p->dataset, p->time[row]), y = chart_y(p, p->drawn[row]);
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
        int column = chart_position(p->dataset, p->time[i]) * COLUMNS / CHART_UNITS;
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
        text_printf(p->text, "%c%d %d", command, c * (CHART_UNITS / COLUMNS), chart_y(p, high[c]));
        command = 'L';
    }
    for (int c = to; c >= from; c--)
        if (!isnan(low[c]))
            text_printf(p->text, "L%d %d", c * (CHART_UNITS / COLUMNS), chart_y(p, low[c]));
    text_putc(p->text, 'Z');
}

/* ---- places and numbers ---- */

int chart_position(const struct dataset *dataset, int64_t time)
{
    const struct span *month = &dataset->span;
    if (time <= month->from)
        return 0;
    if (time >= month->to)
        return CHART_UNITS;
    return (int)((double)(time - month->from) / (double)(month->to - month->from) * CHART_UNITS + 0.5);
}

/* Tenths of a px from the panel's upper edge; what lies beyond the scale stands at its edge. NaN stands below. */
int chart_y(const struct panel *p, double value)
{
    double position = scale_position(&p->scale, quantity_to_written(p->quantity, value));
    int bottom = p->height * CHART_TENTHS;
    if (!(position > 0))
        return bottom;
    return position >= 1 ? 0 : (int)((1 - position) * bottom + 0.5);
}

void chart_add_percent(struct text *text, int hundredths)
{
    text_number(text, hundredths / 100.0, hundredths % 100 == 0 ? 0 : 2);
    text_putc(text, '%');
}

void chart_add_px(struct text *text, int tenths)
{
    text_number(text, tenths / 10.0, tenths % 10 == 0 ? 0 : 1);
}
