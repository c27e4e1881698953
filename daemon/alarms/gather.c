/* SPDX-License-Identifier: MIT */
#include "alarms/gather.h"

#include "alarms/hours.h"
#include "base/timestamp.h"

#include <stdlib.h>
#include <string.h>

#define URGENT_PAUSE MINUTE_MS /* between summaries of a flood with new alarms of high priority */

/* A new alarm to the recipient: it was not told yet that the alarm was raised. */
struct working {
    const struct gather_input *input;
    struct gather_plan *plan;
    bool *is_new;
};

static void keep_last_words(struct arena *arena, struct working *w);
static int by_alarm(const void *a, const void *b, void *context);
static void wait_for_hours(struct working *w);
static void look_for_flood(struct working *w);
static void summarise_flood(struct working *w);
static void group_by_rule(struct arena *arena, struct working *w);
static void send_together(struct working *w, const size_t *members, size_t count);
static void hold_earlier_words(struct working *w);
static void bound_messages(struct working *w);
static bool is_ready(const struct working *w, size_t item);
static void set_all(struct working *w, enum gather_fate fate, int64_t until);

struct gather_plan gather_plan(struct arena *arena, const struct gather_input *input)
{
    size_t n = input->n;
    struct gather_plan plan = {.fates = arena_array(arena, n, sizeof *plan.fates),
                               .with = arena_array(arena, n, sizeof *plan.with),
                               .until = arena_array(arena, n, sizeof *plan.until),
                               .flood_since = input->flood_since,
                               .summary_at = input->summary_at};
    struct working w = {.input = input, .plan = &plan, .is_new = arena_array(arena, n, sizeof *w.is_new)};
    for (size_t i = 0; i < n; i++) {
        plan.fates[i] = GATHER_SEND;
        w.is_new[i] = input->items[i].event == NOTICE_RAISED;
    }
    if (input->gather > 0)
        keep_last_words(arena, &w);
    wait_for_hours(&w);
    look_for_flood(&w);
    if (plan.is_flood) {
        summarise_flood(&w);
        return plan;
    }
    if (input->gather > 0)
        group_by_rule(arena, &w);
    if (input->gather > 0 || input->flood_since != TIME_NONE) /* what a flood held back is no second one */
        bound_messages(&w);
    return plan;
}

static void keep_last_words(struct arena *arena, struct working *w)
{
    const struct gather_item *items = w->input->items;
    size_t *order = arena_array(arena, w->input->n, sizeof *order);
    for (size_t i = 0; i < w->input->n; i++)
        order[i] = i;
    qsort_r(order, w->input->n, sizeof *order, by_alarm, (void *)items);
    for (size_t i = 0; i + 1 < w->input->n; i++) {
        size_t one = order[i], later = order[i + 1];
        if (items[one].alarm != items[later].alarm)
            continue;
        w->plan->fates[one] = GATHER_BY_LATER;
        w->plan->with[one] = later;
        w->is_new[later] |= w->is_new[one];
    }
}

static int by_alarm(const void *a, const void *b, void *context)
{
    const struct gather_item *items = context;
    size_t one = *(const size_t *)a, other = *(const size_t *)b;
    if (items[one].alarm != items[other].alarm)
        return items[one].alarm < items[other].alarm ? -1 : 1;
    return (one > other) - (one < other);
}

static void wait_for_hours(struct working *w)
{
    const struct gather_input *input = w->input;
    int64_t opens = hours_next_open(input->hours, input->now);
    for (size_t i = 0; opens > input->now && i < input->n; i++)
        if (is_ready(w, i) && input->items[i].priority != PRIORITY_HIGH) {
            w->plan->fates[i] = GATHER_HOLD;
            w->plan->until[i] = opens;
        }
    hold_earlier_words(w);
}

static void look_for_flood(struct working *w)
{
    struct gather_plan *plan = w->plan;
    plan->is_flood = w->input->flood_since != TIME_NONE ? w->input->raised_lately >= FLOOD_ENDS
                                                        : w->input->raised_lately > FLOOD_BEGINS;
    if (plan->is_flood && plan->flood_since == TIME_NONE)
        plan->flood_since = w->input->now;
    if (!plan->is_flood)
        plan->flood_since = plan->summary_at = TIME_NONE;
}

static void summarise_flood(struct working *w)
{
    const struct gather_input *input = w->input;
    bool is_urgent = false;
    size_t ready = 0;
    for (size_t i = 0; i < input->n; i++) {
        ready += is_ready(w, i);
        is_urgent |= is_ready(w, i) && w->is_new[i] && input->items[i].priority == PRIORITY_HIGH;
    }
    int64_t due =
        input->summary_at == TIME_NONE ? input->now : input->summary_at + (is_urgent ? URGENT_PAUSE : FLOOD_WINDOW);
    if (ready == 0)
        return;
    if (input->now < due) {
        set_all(w, GATHER_HOLD, due);
        return;
    }
    w->plan->summary_at = input->now;
    if (ready > 1)
        set_all(w, GATHER_SUMMARY, TIME_NONE);
}

static void group_by_rule(struct arena *arena, struct working *w)
{
    size_t *members = arena_array(arena, w->input->n, sizeof *members);
    for (size_t i = 0; i < w->input->n; i++) {
        size_t count = 0;
        for (size_t k = i; is_ready(w, i) && w->is_new[i] && k < w->input->n; k++)
            if (is_ready(w, k) && w->is_new[k] && strcmp(w->input->items[k].rule, w->input->items[i].rule) == 0)
                members[count++] = k;
        if (count > 0)
            send_together(w, members, count);
    }
    hold_earlier_words(w);
}

/* New alarms of one rule. */
static void send_together(struct working *w, const size_t *members, size_t count)
{
    int64_t last = w->input->items[members[0]].last_of_rule;
    int64_t due = last == TIME_NONE ? w->input->now : last + w->input->gather;
    bool must_wait = w->input->now < due;
    if (!must_wait && count == 1)
        return;
    for (size_t k = 0; k < count; k++) {
        w->plan->fates[members[k]] = must_wait ? GATHER_HOLD : GATHER_GROUP;
        w->plan->until[members[k]] = due;
        w->plan->with[members[k]] = w->plan->group_count;
    }
    w->plan->group_count += !must_wait;
}

/* An earlier word waits with the last, so that there is one message in the end. */
static void hold_earlier_words(struct working *w)
{
    for (size_t i = w->input->n; i-- > 0;) {
        size_t later = w->plan->with[i];
        if (w->plan->fates[i] != GATHER_BY_LATER || w->plan->fates[later] != GATHER_HOLD)
            continue;
        w->plan->fates[i] = GATHER_HOLD;
        w->plan->until[i] = w->plan->until[later];
    }
}

static void bound_messages(struct working *w)
{
    size_t messages = w->plan->group_count;
    for (size_t i = 0; i < w->input->n; i++)
        messages += w->plan->fates[i] == GATHER_SEND;
    for (size_t i = 0; messages > MESSAGES_AT_ONCE && i < w->input->n; i++)
        if (w->plan->fates[i] == GATHER_SEND || w->plan->fates[i] == GATHER_GROUP)
            w->plan->fates[i] = GATHER_SUMMARY;
}

static bool is_ready(const struct working *w, size_t item)
{
    return w->plan->fates[item] == GATHER_SEND;
}

static void set_all(struct working *w, enum gather_fate fate, int64_t until)
{
    for (size_t i = 0; i < w->input->n; i++)
        if (is_ready(w, i)) {
            w->plan->fates[i] = fate;
            w->plan->until[i] = until;
        }
    hold_earlier_words(w);
}
