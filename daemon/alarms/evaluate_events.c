/* SPDX-License-Identifier: MIT */
#include "alarms/evaluate.h"

#include "alarms/supply.h"
#include "alarms/tracker.h"
#include "base/text.h"
#include "base/timestamp.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void take_check(struct finds *finds, const struct rule *rule, const struct check_result *check,
                       enum check_kind *begun_by);
static bool describe_trend(const struct check_result *check, struct text *text);
static void describe_check(const struct check_result *check, struct episode *episode);
static void take_pause(struct finds *finds, const struct rule_view *view, int64_t last, int64_t next);
static void take_visit(struct finds *finds, const struct rule_view *view, size_t visit, int64_t last, int64_t next);
static void add_pause(struct finds *finds, const struct rule_view *view, int64_t last, int64_t due, int64_t next,
                      const char *before, const char *noun);

size_t evaluate_drift(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    struct finds finds = {.arena = arena};
    enum check_kind begun_by = CHECK_LEVEL;
    for (size_t i = 0; i < view->check_count; i++) {
        const struct check_result *check = &view->checks[i];
        if (check->quantity == view->rule->quantity && !check->is_first && isfinite(check->difference))
            take_check(&finds, view->rule, check, &begun_by);
    }
    *ret = finds.list;
    return finds.count;
}

size_t evaluate_silence(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    struct finds finds = {.arena = arena};
    int64_t last = view->before;
    for (size_t i = 0; view->record && i < view->record->n; i++) {
        take_pause(&finds, view, last, view->record->time[i]);
        last = view->record->time[i];
    }
    take_pause(&finds, view, last, view->after);
    *ret = finds.list;
    return finds.count;
}

/* What silence has no end for yet is no gap: data on both sides make one. */
size_t evaluate_gap(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    struct finds finds = {.arena = arena};
    size_t n = view->record ? view->record->n : 0;
    int64_t last = view->before;
    for (size_t i = 0; i <= n; i++) {
        int64_t next = i < n ? view->record->time[i] : view->after;
        if (last != TIME_NONE && next != TIME_NONE && next - last > view->rule->window) {
            char pause[TIMESTAMP_SIZE];
            struct episode *episode = finds_add(&finds);
            *episode = (struct episode){.start = last,
                                        .raised = last + view->rule->window,
                                        .end = next,
                                        .worst = (double)(next - last),
                                        .worst_time = next,
                                        .last = (double)(next - last),
                                        .last_time = next};
            snprintf(episode->detail, sizeof episode->detail, "no data for %s", duration_print(next - last, pause));
        }
        last = next;
    }
    *ret = finds.list;
    return finds.count;
}

size_t evaluate_visit_due(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    struct finds finds = {.arena = arena};
    int64_t last = view->visit_before;
    for (size_t i = 0; i < view->visit_count; i++) {
        take_visit(&finds, view, i, last, view->visits[i]);
        last = view->visits[i];
    }
    take_visit(&finds, view, view->visit_count, last, view->visit_after);
    *ret = finds.list;
    return finds.count;
}

size_t evaluate_nothing(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    (void)arena, (void)view, (void)ret; /* same shape as its siblings: a drop is no part of a record */
    return 0;
}

/* A week in which a trend claims nothing ends only what that trend began: it is no proof against a meter, or against
 * another trend. */
static void take_check(struct finds *finds, const struct rule *rule, const struct check_result *check,
                       enum check_kind *begun_by)
{
    struct episode *open = finds->count ? &finds->list[finds->count - 1] : NULL;
    if (open && open->end != TIME_NONE)
        open = NULL;
    bool may_end = check->kind < CHECK_TWINS || check->kind == *begun_by;
    if (open && rule_is_back(rule, check->difference)) {
        open->end = may_end ? check->time : open->end;
        return;
    }
    if (!open && !rule_is_past_limit(rule, check->difference))
        return;
    if (!open) {
        open = finds_add(finds);
        *begun_by = check->kind;
        *open = (struct episode){.start = check->time,
                                 .raised = check->time,
                                 .end = TIME_NONE,
                                 .worst = check->difference,
                                 .worst_time = check->time};
        describe_check(check, open);
    }
    int64_t worst_time = open->worst_time;
    tracker_take_value(rule, open, check->time, check->difference);
    if (open->worst_time != worst_time)
        describe_check(check, open);
}

/* "hand reading 1.342 m, record 1.391 m: 0.049 m apart" */
static void describe_check(const struct check_result *check, struct episode *episode)
{
    const char *reference = "field meter ", *sensor = ", sensor ";
    if (check->kind == CHECK_LEVEL || check->kind == CHECK_TAPE_DOWN) {
        reference = "hand reading ";
        sensor = ", record ";
    } else if (check->kind == CHECK_STANDARD) {
        reference = "standard ";
    } else if (check->kind == CHECK_CLEANED) {
        sensor = ", cleaned sensor ";
    } else if (check->kind == CHECK_ZERO_IN_AIR) {
        reference = "in air: barometer ";
    } else if (check->kind == CHECK_BAROMETERS) {
        reference = "other barometer ";
        sensor = ", barometer used ";
    }
    struct text text;
    text_init(&text, sizeof episode->detail - 1);
    if (describe_trend(check, &text)) {
        detail_keep(episode, text.bytes);
        text_done(&text);
        return;
    }
    text_puts(&text, reference);
    detail_add_value(&text, check->quantity, check->reference);
    text_puts(&text, sensor);
    detail_add_value(&text, check->quantity, check->sensor);
    text_puts(&text, ": ");
    detail_add_value(&text, check->quantity, fabs(check->difference));
    text_puts(&text, " apart");
    detail_keep(episode, text.bytes);
    text_done(&text);
}

/* What it saw, how sure it is, and what the crew should do; false for what is no trend. */
static bool describe_trend(const struct check_result *check, struct text *text)
{
    const char *what, *cure;
    switch (check->kind) {
    case CHECK_TWINS:
        what = "median of the first thermometer ";
        cure = "hold both and the meter into one bucket";
        break;
    case CHECK_DAILY_RANGE:
        what = "daily range of oxygen ";
        cure = "a film, or dark days: read the meter before and after cleaning";
        break;
    case CHECK_NIGHT_VALUES:
        what = "night values of oxygen ";
        cure = "sensor or creek: read the meter, clean, read again";
        break;
    default: return false;
    }
    text_puts(text, what);
    detail_add_value(text, check->quantity, check->sensor);
    text_puts(text, check->kind == CHECK_TWINS ? ", by the second " : ", when last serviced ");
    detail_add_value(text, check->quantity, check->reference);
    text_printf(text, " (likely or better); %s", cure);
    return true;
}

/* A pause that is longer than the window. `next` TIME_NONE: nothing came after, and it lasts until now. */
static void take_pause(struct finds *finds, const struct rule_view *view, int64_t last, int64_t next)
{
    if (last != TIME_NONE)
        add_pause(finds, view, last, last + view->rule->window, next, "", "data");
}

/* The pause behind a visit; `visit` is its place in view->supplies. */
static void take_visit(struct finds *finds, const struct rule_view *view, size_t visit, int64_t last, int64_t next)
{
    const struct supply nothing = {TIME_FOREVER, TIME_FOREVER};
    const struct supply *supply = view->supplies ? &view->supplies[visit] : &nothing;
    struct text cause;
    if (last == TIME_NONE)
        return;
    int64_t due = visit_due(view->rule, last, supply);
    text_init(&cause, sizeof finds->list->detail - 1);
    if (due < last + view->rule->window)
        supply_describe(supply, view->utc_offset, &cause);
    text_puts(&cause, cause.length > 0 ? "; " : "");
    add_pause(finds, view, last, due, next, cause.bytes ? cause.bytes : "", "visit");
    text_done(&cause);
}

int64_t visit_due(const struct rule *rule, int64_t last, const struct supply *supply)
{
    int64_t due = last + rule->window, out = supply_first(supply);
    if (out != TIME_FOREVER && out - rule->ahead < due)
        due = out - rule->ahead;
    return due < last ? last : due;
}

static void add_pause(struct finds *finds, const struct rule_view *view, int64_t last, int64_t due, int64_t next,
                      const char *before, const char *noun)
{
    int64_t until = next == TIME_NONE ? view->now : next;
    if (until <= due)
        return;
    struct episode *episode = finds_add(finds);
    *episode = (struct episode){
        .start = due,
        .raised = due,
        .end = next,
        .worst = (double)(until - last),
        .worst_time = until,
        .last = (double)(until - last),
        .last_time = until,
    };
    char when[TIMESTAMP_SIZE];
    bool is_open = next == TIME_NONE;
    snprintf(episode->detail, sizeof episode->detail, "%sno %s %s %s", before, noun, is_open ? "since" : "for",
             is_open ? timestamp_print_offset(last, view->utc_offset, when) : duration_print(until - last, when));
}
