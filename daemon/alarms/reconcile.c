/* SPDX-License-Identifier: MIT */
#include "alarms/reconcile.h"

#include "alarms/lifecycle.h"
#include "base/timestamp.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define STEP_OF_LIMIT 0.1 /* growth worth a message, where the rule has no deadband */

static size_t best_match(const struct reconcile_input *input, const bool *is_taken, const struct episode *found);
static bool compare(const struct reconcile_input *input, const struct alarm *stored, const struct episode *found,
                    struct alarm_change *ret);
static bool vanish(const struct reconcile_input *input, const struct alarm *stored, struct alarm_change *ret);
static const char *why_not_due(const struct reconcile_input *input, const struct alarm *stored);
static struct alarm_change learn(const struct reconcile_input *input, const struct episode *found);
static void raise_anew(const struct reconcile_input *input, struct alarm_change *change);
static void apply(struct alarm_change *change, enum alarm_event event);
static void finish(struct alarm_change *change, int64_t now);
static bool is_shelved(const struct reconcile_input *input);
static bool becomes_news(const struct reconcile_input *input, const struct alarm *stored, const struct episode *found);
static bool is_stale(const struct reconcile_input *input, const struct episode *episode);
static bool has_grown(const struct rule *rule, const struct episode *before, const struct episode *after);
static bool is_same(const struct rule *rule, const struct episode *a, const struct episode *b);
static bool is_same_value(double a, double b);
static bool touches(const struct episode *episode, struct span window);
static bool overlaps(const struct rule *rule, const struct episode *stored, const struct episode *found);
static int64_t last_moment(const struct episode *episode);
static int64_t end_or_forever(const struct episode *episode);
static bool measures_waiting(const struct rule *rule);
static int64_t add_time(int64_t time, int64_t duration);

size_t reconcile(struct arena *arena, const struct reconcile_input *input, struct alarm_change **ret)
{
    struct alarm_change *changes = arena_array(arena, input->stored_count + input->found_count, sizeof *changes);
    bool *is_taken = arena_array(arena, input->stored_count, sizeof *is_taken);
    size_t count = 0;
    for (size_t i = 0; i < input->found_count; i++) {
        const struct episode *found = &input->found[i];
        if (!touches(found, input->window))
            continue; /* a gap beyond the edge: unchanged, and its alarm need not be in `stored` */
        size_t match = best_match(input, is_taken, found);
        if (match == input->stored_count) {
            changes[count++] = learn(input, found);
            continue;
        }
        is_taken[match] = true;
        if (compare(input, &input->stored[match], found, &changes[count]))
            count++;
    }
    for (size_t i = 0; i < input->stored_count; i++)
        if (!is_taken[i] && touches(&input->stored[i].episode, input->window) &&
            vanish(input, &input->stored[i], &changes[count]))
            count++;
    *ret = changes;
    return count;
}

bool reconcile_widen(const struct rule *rule, const struct alarm *stored, size_t stored_count,
                     const struct episode *found, size_t found_count, int64_t after, struct span *window)
{
    struct span wider = *window;
    for (size_t i = 0; i < stored_count; i++) {
        const struct episode *episode = &stored[i].episode;
        if (stored[i].state == ALARM_WITHDRAWN || !touches(episode, *window))
            continue;
        int64_t from = add_time(episode->start, -rules_lead_in(rule));
        int64_t to = add_time(end_or_forever(episode), rules_lead_out(rule));
        wider.from = from < wider.from ? from : wider.from;
        wider.to = to > wider.to ? to : wider.to;
    }
    bool runs_on = found_count > 0 && found[found_count - 1].end == TIME_NONE && after != TIME_NONE;
    if (runs_on && wider.to == window->to) {
        /* Doubling: the rows looked at in vain stay in proportion to the episode. */
        int64_t start = found[found_count - 1].start;
        wider.to = add_time(after, (after - start) + rules_lead_out(rule) + 1);
    }
    bool grew = wider.from != window->from || wider.to != window->to;
    *window = wider;
    return grew;
}

/* Index into stored; stored_count where none is left. The same start first: without that, an alarm left over
 * from an earlier version of the data could be taken for this one at the next run, and the two would change
 * places for ever. */
static size_t best_match(const struct reconcile_input *input, const bool *is_taken, const struct episode *found)
{
    size_t best = input->stored_count;
    int best_rank = 0;
    for (size_t i = 0; i < input->stored_count; i++) {
        const struct alarm *stored = &input->stored[i];
        if (is_taken[i] || !overlaps(input->rule, &stored->episode, found))
            continue;
        bool is_alive = stored->state != ALARM_WITHDRAWN;
        int rank = 1 + is_alive + (is_alive && stored->episode.start == found->start);
        if (rank > best_rank) {
            best_rank = rank;
            best = i;
        }
    }
    return best;
}

/* False where there is nothing to change. */
static bool compare(const struct reconcile_input *input, const struct alarm *stored, const struct episode *found,
                    struct alarm_change *ret)
{
    struct alarm_change change = {
        .what = ALARM_CHANGED, .alarm = *stored, .before = stored->state, .event = ANNOUNCE_NOTHING};
    bool was_over = stored->episode.end != TIME_NONE, is_over = found->end != TIME_NONE;
    change.alarm.episode = *found;
    if (becomes_news(input, stored, found)) {
        change.alarm.is_old_news = false;
        change.alarm.state = ALARM_NORMAL;
        raise_anew(input, &change);
    } else if (stored->state == ALARM_WITHDRAWN || (was_over && !is_over)) {
        raise_anew(input, &change);
    } else if (!was_over && is_over) {
        apply(&change, ALARM_EVENT_RETURNED);
    } else if (is_same(input->rule, &stored->episode, found)) {
        return false;
    } else if (has_grown(input->rule, &stored->episode, found)) {
        apply(&change, ALARM_EVENT_UPDATED);
    }
    finish(&change, input->now);
    *ret = change;
    return true;
}

static bool vanish(const struct reconcile_input *input, const struct alarm *stored, struct alarm_change *ret)
{
    struct alarm_change change = {
        .what = ALARM_CHANGED, .alarm = *stored, .before = stored->state, .event = ANNOUNCE_NOTHING};
    struct episode *episode = &change.alarm.episode;
    bool is_over = episode->end != TIME_NONE;
    if (stored->state == ALARM_WITHDRAWN || (is_over && measures_waiting(input->rule)))
        return false;
    if (measures_waiting(input->rule)) {
        episode->end = input->now > episode->start ? input->now : episode->start;
        snprintf(episode->detail, sizeof episode->detail, "%s",
                 input->rule->kind == RULE_SILENCE       ? "heard again"
                 : input->rule->kind == RULE_VISIT_DUE   ? why_not_due(input, stored)
                 : input->rule->kind == RULE_UNDELIVERED ? "a notice got through"
                                                         : "no longer waiting");
        apply(&change, ALARM_EVENT_RETURNED);
    } else {
        if (!is_over)
            episode->end = episode->last_time;
        apply(&change, ALARM_EVENT_WITHDRAWN);
    }
    finish(&change, input->now);
    *ret = change;
    return true;
}

/* By a visit before it was due, or because what runs out lasts longer by what is known now. */
static const char *why_not_due(const struct reconcile_input *input, const struct alarm *stored)
{
    const struct episode *e = &stored->episode;
    int64_t counted_from = e->last_time - (int64_t)e->last;
    return input->last_visit == counted_from ? "memory and battery last longer than was reckoned" : "visited";
}

static struct alarm_change learn(const struct reconcile_input *input, const struct episode *found)
{
    struct alarm_change change = {
        .what = ALARM_NEW,
        .alarm = {.station = input->station,
                  .rule = input->rule->id,
                  .episode = *found,
                  .state = ALARM_NORMAL,
                  .learnt = input->now,
                  .shelved_until = TIME_NONE,
                  .asked = TIME_NONE,
                  .told = TIME_NONE,
                  .escalated = TIME_NONE,
                  .is_old_news = is_stale(input, found)},
        .before = ALARM_NORMAL,
        .event = ANNOUNCE_NOTHING,
    };
    raise_anew(input, &change);
    finish(&change, input->now);
    return change;
}

/* Raised, and where it is over already, returned in the same breath: one message tells both. While the rule is
 * shelved here, none does. */
static void raise_anew(const struct reconcile_input *input, struct alarm_change *change)
{
    apply(change, change->what == ALARM_NEW ? ALARM_EVENT_RAISED : ALARM_EVENT_RECURRED);
    if (is_shelved(input)) {
        change->alarm.shelved_until = input->shelved_until;
        change->alarm.shelf_reason = input->shelf_reason;
        apply(change, ALARM_EVENT_SHELVED);
    }
    enum notice_event told = change->event;
    if (change->alarm.episode.end != TIME_NONE)
        apply(change, ALARM_EVENT_RETURNED);
    change->event = told;
}

static void apply(struct alarm_change *change, enum alarm_event event)
{
    struct step step = lifecycle_step(change->alarm.state, event);
    change->alarm.state = step.next;
    change->event = step.announce;
}

static void finish(struct alarm_change *change, int64_t now)
{
    struct alarm *alarm = &change->alarm;
    if (alarm->is_old_news) {
        change->event = ANNOUNCE_NOTHING;
        if (alarm->state == ALARM_RETURNED_UNACKNOWLEDGED)
            alarm->state = ALARM_NORMAL; /* nobody was asked, so nobody owes an answer */
    }
    change->announce = change->event != ANNOUNCE_NOTHING;
    lifecycle_settle(alarm, change->event, now);
}

static bool is_shelved(const struct reconcile_input *input)
{
    return input->shelved_until != TIME_NONE && input->shelved_until > input->now;
}

/* An alarm that a person has answered or shelved unasked is not raised again; it goes on as old news. */
static bool becomes_news(const struct reconcile_input *input, const struct alarm *stored, const struct episode *found)
{
    return stored->is_old_news && stored->state != ALARM_ACKNOWLEDGED && stored->state != ALARM_SHELVED &&
           !is_stale(input, found) && last_moment(found) > last_moment(&stored->episode);
}

static bool is_stale(const struct reconcile_input *input, const struct episode *episode)
{
    return input->now - last_moment(episode) > input->news_age;
}

static bool has_grown(const struct rule *rule, const struct episode *before, const struct episode *after)
{
    double step = rule->deadband > 0 ? rule->deadband : STEP_OF_LIMIT * fabs(rule->limit);
    /* A flat line that gets flatter is no news; a gap is as it is. */
    if (measures_waiting(rule) || rule->kind == RULE_FLAT || rule_measure(rule->kind) == MEASURE_PAUSE)
        return false;
    if (rule->kind == RULE_OUTSIDE && !(rule->deadband > 0)) /* 10 % of the limit that it went past */
        step = STEP_OF_LIMIT * fabs(after->worst > rule->high ? rule->high : rule->low);
    if (!(step > 0) || !isfinite(step))
        return false;
    return floor(rules_excess(rule, after->worst) / step) > floor(rules_excess(rule, before->worst) / step);
}

static bool is_same(const struct rule *rule, const struct episode *a, const struct episode *b)
{
    if (a->start != b->start || a->raised != b->raised || a->end != b->end || strcmp(a->detail, b->detail) != 0)
        return false;
    if (measures_waiting(rule) && a->end == TIME_NONE) /* grows with the clock alone */
        return fabs(b->worst - a->worst) < fmax(STEP_OF_LIMIT * (double)rule->window, (double)HOUR_MS);
    return is_same_value(a->worst, b->worst) && a->worst_time == b->worst_time && is_same_value(a->last, b->last) &&
           a->last_time == b->last_time;
}

static bool is_same_value(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

static bool touches(const struct episode *episode, struct span window)
{
    return episode->start <= window.to && end_or_forever(episode) >= window.from;
}

static bool overlaps(const struct rule *rule, const struct episode *stored, const struct episode *found)
{
    int64_t stored_end = measures_waiting(rule) ? end_or_forever(stored) : last_moment(stored);
    int64_t found_end = end_or_forever(found);
    return stored->start <= found_end && stored_end >= found->start;
}

static int64_t last_moment(const struct episode *episode)
{
    return episode->end != TIME_NONE ? episode->end : episode->last_time;
}

static int64_t end_or_forever(const struct episode *episode)
{
    return episode->end != TIME_NONE ? episode->end : TIME_FOREVER;
}

/* Kinds that measure how long something has been missing: they grow with the clock, and were true when told.
 */
static bool measures_waiting(const struct rule *rule)
{
    return rule_measure(rule->kind) == MEASURE_WAITING;
}

/* Stays at the ends of time. */
static int64_t add_time(int64_t time, int64_t duration)
{
    int64_t sum;
    if (time == TIME_NONE || time == TIME_FOREVER)
        return time;
    return __builtin_add_overflow(time, duration, &sum) ? (duration > 0 ? TIME_FOREVER : TIME_NONE) : sum;
}
