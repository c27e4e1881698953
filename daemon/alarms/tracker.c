/* SPDX-License-Identifier: MIT */
#include "alarms/tracker.h"

#include "base/text.h"
#include "base/timestamp.h"

#include <math.h>
#include <string.h>

#define LONGEST_PAUSE DAY_MS /* of a delay being served; see rules.h */

static void track_towards(struct tracker *tracker, int64_t time, double value, bool is_met, bool is_broken);
static void track_back(struct tracker *tracker, int64_t time, double value, bool is_met, bool is_broken,
                       bool is_so_beside);
static double rounding(const struct rule *rule);

void tracker_take(struct tracker *tracker, int64_t time, double value, bool is_so_beside)
{
    bool is_broken =
        tracker->latest_time != TIME_NONE && time - tracker->latest_time > rule_longest_pause(tracker->rule);
    bool is_met = is_so_beside && rule_is_past_limit(tracker->rule, value);
    if (tracker->phase == AT_REST || tracker->phase == PENDING)
        track_towards(tracker, time, value, is_met, is_broken);
    else
        track_back(tracker, time, value, is_met, is_broken, is_so_beside);
    tracker->latest = value;
    tracker->latest_time = time;
}

static void track_towards(struct tracker *tracker, int64_t time, double value, bool is_met, bool is_broken)
{
    if (!is_met) {
        tracker->phase = AT_REST;
        return;
    }
    struct episode *current = &tracker->current;
    if (tracker->phase == AT_REST || is_broken) {
        *current = (struct episode){.start = time, .end = TIME_NONE, .worst = value, .worst_time = time};
        tracker->met_count = 0;
    }
    tracker->met_count++;
    tracker->phase = PENDING;
    tracker_take_value(tracker->rule, current, time, value);
    if (time - current->start < tracker->rule->on_delay || tracker->met_count < tracker->rule->samples)
        return;
    current->raised = time;
    tracker->phase = ACTIVE;
}

static void track_back(struct tracker *tracker, int64_t time, double value, bool is_met, bool is_broken,
                       bool is_so_beside)
{
    bool is_back = !is_so_beside || rule_is_back(tracker->rule, value);
    bool begins_return = tracker->phase == ACTIVE ? is_back : is_broken && !is_met;
    if (begins_return) {
        tracker->phase = RETURNING;
        tracker->returned = time;
    } else if (is_met) {
        tracker->phase = ACTIVE;
    }
    if (tracker->phase == ACTIVE) {
        tracker_take_value(tracker->rule, &tracker->current, time, value);
    } else if (time - tracker->returned >= tracker->rule->off_delay) {
        tracker->current.end = tracker->returned;
        *finds_add(tracker->finds) = tracker->current;
        tracker->phase = AT_REST;
    }
}

void tracker_take_value(const struct rule *rule, struct episode *episode, int64_t time, double value)
{
    if (rules_excess(rule, value) > rules_excess(rule, episode->worst)) {
        episode->worst = value;
        episode->worst_time = time;
    }
    episode->last = value;
    episode->last_time = time;
}

void tracker_end(struct tracker *tracker)
{
    if (tracker->phase != ACTIVE && tracker->phase != RETURNING)
        return;
    tracker->current.last = tracker->latest;
    tracker->current.last_time = tracker->latest_time;
    *finds_add(tracker->finds) = tracker->current;
}

/* Flat is so where the change is no more than the limit, all else where the value is more past it than by rounding. */
bool rule_is_past_limit(const struct rule *rule, double value)
{
    double slack = ROUNDING * rounding(rule);
    return rules_excess(rule, value) > (rule->kind == RULE_FLAT ? -slack : slack);
}

bool rule_is_back(const struct rule *rule, double value)
{
    if (rule->kind == RULE_FLAT && !(rule->deadband > 0))
        return !rule_is_past_limit(rule, value);
    return rules_excess(rule, value) <= ROUNDING * rounding(rule) - rule->deadband;
}

int64_t rule_longest_delay(const struct rule *rule)
{
    return rule->on_delay > rule->off_delay ? rule->on_delay : rule->off_delay;
}

int64_t rule_longest_pause(const struct rule *rule)
{
    int64_t delay = rule_longest_delay(rule);
    return delay > LONGEST_PAUSE ? delay : LONGEST_PAUSE;
}

int64_t rule_longest_wait(const struct rule *rule)
{
    int64_t delay = rule_longest_delay(rule);
    int64_t counting = rule->samples > 1 ? (rule->samples - 1) * rule_longest_pause(rule) : 0;
    return counting > delay ? counting : delay;
}

static double rounding(const struct rule *rule)
{
    if (rule->kind != RULE_OUTSIDE)
        return fabs(rule->limit) + rule->deadband;
    double low = isfinite(rule->low) ? fabs(rule->low) : 0, high = isfinite(rule->high) ? fabs(rule->high) : 0;
    return fmax(low, high) + rule->deadband;
}

struct episode *finds_add(struct finds *finds)
{
    if (finds->count == finds->capacity) {
        finds->capacity = finds->capacity ? 2 * finds->capacity : 4;
        struct episode *moved = arena_array(finds->arena, finds->capacity, sizeof *moved);
        if (finds->count)
            memcpy(moved, finds->list, finds->count * sizeof *moved);
        finds->list = moved;
    }
    return &finds->list[finds->count++];
}

void detail_add_value(struct text *text, enum quantity quantity, double inside)
{
    const struct quantity_info *info = quantity_info(quantity);
    text_number(text, quantity_to_written(quantity, inside), info->decimals);
    if (info->decimals > 0 && !text->is_full) {
        while (text->length > 0 && text->bytes[text->length - 1] == '0')
            text->length--;
        if (text->length > 0 && text->bytes[text->length - 1] == '.')
            text->length--;
        text->bytes[text->length] = '\0';
    }
    if (strcmp(info->unit, "1") != 0)
        text_printf(text, " %s", info->unit);
}

void detail_keep(struct episode *episode, const char *detail)
{
    size_t length = strlen(detail), room = sizeof episode->detail - 1;
    if (length > room) {
        length = room;
        while (length > 0 && ((unsigned char)detail[length] & 0xC0) == 0x80)
            length--;
    }
    memcpy(episode->detail, detail, length);
    episode->detail[length] = '\0';
}
