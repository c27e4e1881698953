/* SPDX-License-Identifier: MIT */
#include "alarms/evaluate.h"

#include "alarms/tide.h"
#include "alarms/tracker.h"
#include "base/text.h"
#include "base/timestamp.h"

#include <math.h>
#include <string.h>

/* The lowest and highest value of the rows of a time window that moves on, from queues of rows whose values only get
 * higher (lower): each row enters and leaves once, so the sweep is linear whatever the window. */
struct sliding {
    const struct record *record;
    const double *value;
    size_t *low, *high; /* rows */
    size_t low_first, low_end, high_first, high_end;
};

static bool is_evaluable(const struct rule_view *view);
static bool does_count(const struct rule_view *view, size_t row);
static bool has_values(const struct rule_view *view, size_t row);
static bool is_usable(const struct rule *rule, const struct record *record, enum quantity quantity, size_t row);
static bool is_so_beside(const struct rule_view *view, size_t row);
static bool is_its_time(const struct rule_condition *condition, int64_t local);
static struct sliding sliding_new(struct arena *arena, const struct rule_view *view);
static void sliding_drop(struct sliding *sliding, int64_t before);
static void sliding_add(struct sliding *sliding, size_t row);
static void describe_rise_or_fall(const struct rule_view *view, struct episode *episode);
static void describe_change(const struct rule_view *view, struct episode *episode);
static void describe_flat(const struct rule_view *view, struct episode *episode);

size_t evaluate_threshold(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    const struct record *record = view->record;
    struct finds finds = {.arena = arena};
    struct tracker tracker = {.rule = view->rule, .finds = &finds, .latest_time = TIME_NONE};
    if (!is_evaluable(view))
        return 0;
    const double *value = record->value[view->rule->quantity];
    for (size_t i = 0; i < record->n; i++)
        if (does_count(view, i))
            tracker_take(&tracker, record->time[i], value[i], is_so_beside(view, i));
    tracker_end(&tracker);
    *ret = finds.list;
    return finds.count;
}

/* Against the lowest value of the window behind each sample (the highest for a fall). */
size_t evaluate_rise_or_fall(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    const struct rule *rule = view->rule;
    const struct record *record = view->record;
    struct finds finds = {.arena = arena};
    struct tracker tracker = {.rule = rule, .finds = &finds, .latest_time = TIME_NONE};
    if (!is_evaluable(view))
        return 0;
    struct sliding window = sliding_new(arena, view);
    bool is_rise = rule->kind == RULE_RISE;
    for (size_t i = 0; i < record->n; i++) {
        if (!does_count(view, i))
            continue;
        sliding_drop(&window, record->time[i] - rule->window);
        double change = 0;
        if (is_rise && window.low_first < window.low_end)
            change = window.value[i] - window.value[window.low[window.low_first]];
        if (!is_rise && window.high_first < window.high_end)
            change = window.value[window.high[window.high_first]] - window.value[i];
        tracker_take(&tracker, record->time[i], change, is_so_beside(view, i));
        sliding_add(&window, i);
    }
    tracker_end(&tracker);
    for (size_t i = 0; i < finds.count; i++)
        describe_rise_or_fall(view, &finds.list[i]);
    *ret = finds.list;
    return finds.count;
}

/* Against the first counted value at or after the last visit, or the given time. Before that there is no change. */
size_t evaluate_change(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    const struct rule *rule = view->rule;
    const struct record *record = view->record;
    struct finds finds = {.arena = arena};
    struct tracker tracker = {.rule = rule, .finds = &finds, .latest_time = TIME_NONE};
    bool by_visit = rule->since == TIME_NONE, has_begun = !by_visit;
    double base = by_visit ? NAN : view->base;
    size_t visit = 0;
    if (!is_evaluable(view))
        return 0;
    for (size_t i = 0; i < record->n; i++) {
        for (; by_visit && visit < view->visit_count && view->visits[visit] <= record->time[i]; visit++) {
            base = NAN;
            has_begun = true;
        }
        if (!has_begun || !does_count(view, i) || (!by_visit && record->time[i] < rule->since))
            continue;
        double value = record->value[rule->quantity][i];
        base = isnan(base) ? value : base;
        tracker_take(&tracker, record->time[i], value - base, is_so_beside(view, i));
    }
    tracker_end(&tracker);
    for (size_t i = 0; i < finds.count; i++)
        describe_change(view, &finds.list[i]);
    *ret = finds.list;
    return finds.count;
}

int64_t rules_base(const struct rule *rule, const struct record *record, double *ret)
{
    const struct rule_view view = {.rule = rule, .record = record};
    for (size_t i = 0; is_evaluable(&view) && i < record->n; i++)
        if (record->time[i] >= rule->since && has_values(&view, i)) {
            *ret = record->value[rule->quantity][i];
            return record->time[i];
        }
    return TIME_NONE;
}

/* Highest less lowest of the window up to each sample. A large one is no flat stretch in any case; a small one is where
 * samples reach back over the whole window, without a pause longer than it. */
size_t evaluate_flat(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    const struct rule *rule = view->rule;
    const struct record *record = view->record;
    struct finds finds = {.arena = arena};
    struct tracker tracker = {.rule = rule, .finds = &finds, .latest_time = TIME_NONE};
    int64_t run_start = TIME_NONE, latest = TIME_NONE;
    if (!is_evaluable(view))
        return 0;
    struct sliding window = sliding_new(arena, view);
    for (size_t i = 0; i < record->n; i++) {
        if (!does_count(view, i))
            continue;
        int64_t time = record->time[i];
        if (run_start == TIME_NONE || time - latest > rule->window)
            run_start = time;
        latest = time;
        sliding_drop(&window, time - rule->window);
        sliding_add(&window, i);
        double range = window.value[window.high[window.high_first]] - window.value[window.low[window.low_first]];
        bool is_covered = time - run_start >= rule->window;
        if (is_covered || !rule_is_past_limit(rule, range))
            tracker_take(&tracker, time, range, is_so_beside(view, i));
    }
    tracker_end(&tracker);
    for (size_t i = 0; i < finds.count; i++)
        describe_flat(view, &finds.list[i]);
    *ret = finds.list;
    return finds.count;
}

static bool is_evaluable(const struct rule_view *view)
{
    const struct record *record = view->record;
    bool has_columns = record && record->value[view->rule->quantity];
    for (size_t c = 0; has_columns && c < view->rule->condition_count; c++) {
        enum quantity beside = view->rule->conditions[c].quantity;
        has_columns = beside == QUANTITY_COUNT || record->value[beside];
    }
    return has_columns;
}

static bool does_count(const struct rule_view *view, size_t row)
{
    return has_values(view, row) && (!tide_is_asked(view->rule) || (view->stages && view->stages[row] != 0));
}

static bool has_values(const struct rule_view *view, size_t row)
{
    const struct rule *rule = view->rule;
    bool has = is_usable(rule, view->record, rule->quantity, row);
    for (size_t c = 0; has && c < rule->condition_count; c++) {
        enum quantity beside = rule->conditions[c].quantity;
        has = beside == QUANTITY_COUNT || is_usable(rule, view->record, beside, row);
    }
    return has;
}

static bool is_usable(const struct rule *rule, const struct record *record, enum quantity quantity, size_t row)
{
    uint8_t flag = record->flag[quantity][row];
    return isfinite(record->value[quantity][row]) && flag != FLAG_FAIL && flag != FLAG_MISSING &&
           (flag != FLAG_SUSPECT || rule->counts_suspect);
}

static bool is_so_beside(const struct rule_view *view, size_t row)
{
    bool is_so = true;
    for (size_t c = 0; is_so && c < view->rule->condition_count; c++) {
        const struct rule_condition *condition = &view->rule->conditions[c];
        double value = condition->quantity == QUANTITY_COUNT ? NAN : view->record->value[condition->quantity][row];
        is_so = !(value >= condition->below) && !(value <= condition->above) && /* NaN: that side is open */
                (condition->stages == 0 || (condition->stages & view->stages[row])) &&
                is_its_time(condition, view->record->time[row] + view->utc_offset);
    }
    return is_so;
}

/* `local`: by the station's standard time. */
static bool is_its_time(const struct rule_condition *condition, int64_t local)
{
    int minute = (int)((local - timestamp_floor(local, DAY_MS)) / MINUTE_MS);
    if (condition->months != 0 && !(condition->months >> (timestamp_to_civil(local).month - 1) & 1))
        return false;
    if (condition->from == condition->to)
        return true;
    bool is_over_midnight = condition->to < condition->from;
    return is_over_midnight ? minute >= condition->from || minute < condition->to
                            : minute >= condition->from && minute < condition->to;
}

static struct sliding sliding_new(struct arena *arena, const struct rule_view *view)
{
    size_t n = view->record->n;
    return (struct sliding){.record = view->record,
                            .value = view->record->value[view->rule->quantity],
                            .low = arena_array(arena, n, sizeof(size_t)),
                            .high = arena_array(arena, n, sizeof(size_t))};
}

static void sliding_drop(struct sliding *s, int64_t before)
{
    while (s->low_first < s->low_end && s->record->time[s->low[s->low_first]] < before)
        s->low_first++;
    while (s->high_first < s->high_end && s->record->time[s->high[s->high_first]] < before)
        s->high_first++;
}

static void sliding_add(struct sliding *s, size_t row)
{
    while (s->low_first < s->low_end && s->value[s->low[s->low_end - 1]] >= s->value[row])
        s->low_end--;
    s->low[s->low_end++] = row;
    while (s->high_first < s->high_end && s->value[s->high[s->high_end - 1]] <= s->value[row])
        s->high_end--;
    s->high[s->high_end++] = row;
}

/* "rose 0.84 m in 45 min, from 1.02 m to 1.86 m": the sweep keeps only sizes, so the row that the worst
 * change is counted from is looked up here, once an episode. */
static void describe_rise_or_fall(const struct rule_view *view, struct episode *episode)
{
    const struct rule *rule = view->rule;
    const struct record *record = view->record;
    const double *value = record->value[rule->quantity];
    double sign = rule->kind == RULE_RISE ? 1 : -1;
    size_t worst = record_at_or_after(record, episode->worst_time), from = worst;
    for (size_t i = worst; i > 0 && episode->worst_time - record->time[i - 1] <= rule->window; i--)
        if (does_count(view, i - 1) && sign * value[i - 1] < sign * value[from])
            from = i - 1;
    struct text text;
    text_init(&text, sizeof episode->detail - 1);
    text_puts(&text, rule->kind == RULE_RISE ? "rose " : "fell ");
    detail_add_value(&text, rule->quantity, episode->worst);
    char duration[TIMESTAMP_SIZE];
    text_printf(&text, " in %s, from ", duration_print(episode->worst_time - record->time[from], duration));
    detail_add_value(&text, rule->quantity, value[from]);
    text_puts(&text, " to ");
    detail_add_value(&text, rule->quantity, value[worst]);
    detail_keep(episode, text.bytes);
    text_done(&text);
}

/* "fell 0.35 m since the visit of 2026-03-01T10:05:00Z, from 1.2 m to 0.85 m" */
static void describe_change(const struct rule_view *view, struct episode *episode)
{
    const struct rule *rule = view->rule;
    const double *value = view->record->value[rule->quantity];
    size_t worst = record_at_or_after(view->record, episode->worst_time);
    int64_t since = rule->since;
    for (size_t i = 0; i < view->visit_count && rule->since == TIME_NONE; i++)
        if (view->visits[i] <= episode->worst_time)
            since = view->visits[i];
    struct text text;
    char when[TIMESTAMP_SIZE];
    text_init(&text, sizeof episode->detail - 1);
    text_puts(&text, episode->worst > 0 ? "rose " : "fell ");
    detail_add_value(&text, rule->quantity, fabs(episode->worst));
    text_printf(&text, " since %s%s, from ", rule->since == TIME_NONE ? "the visit of " : "",
                timestamp_print(since, when));
    detail_add_value(&text, rule->quantity, value[worst] - episode->worst);
    text_puts(&text, " to ");
    detail_add_value(&text, rule->quantity, value[worst]);
    detail_keep(episode, text.bytes);
    text_done(&text);
}

/* "changed by 0.002 m in 6 h, at 1.204 m" */
static void describe_flat(const struct rule_view *view, struct episode *episode)
{
    const struct rule *rule = view->rule;
    size_t worst = record_at_or_after(view->record, episode->worst_time);
    struct text text;
    char duration[TIMESTAMP_SIZE];
    text_init(&text, sizeof episode->detail - 1);
    text_puts(&text, "changed by ");
    detail_add_value(&text, rule->quantity, episode->worst);
    text_printf(&text, " in %s, at ", duration_print(rule->window, duration));
    detail_add_value(&text, rule->quantity, view->record->value[rule->quantity][worst]);
    detail_keep(episode, text.bytes);
    text_done(&text);
}
