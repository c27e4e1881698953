/* SPDX-License-Identifier: MIT */
#include "alarms/rules.h"

#include "alarms/evaluate.h"
#include "alarms/tide.h"
#include "alarms/tracker.h"
#include "base/timestamp.h"
#include "config/vocabulary.h"

#include <assert.h>
#include <math.h>

/* What a kind needs and takes, its word and its help stand in config/vocabulary.c. */
static const struct rule_kind_info kinds[] = {
    [RULE_BELOW] = {.evaluate = evaluate_threshold},
    [RULE_ABOVE] = {.evaluate = evaluate_threshold},
    [RULE_RISE] = {.evaluate = evaluate_rise_or_fall},
    [RULE_FALL] = {.evaluate = evaluate_rise_or_fall},
    [RULE_OUTSIDE] = {.evaluate = evaluate_threshold},
    [RULE_CHANGE] = {.evaluate = evaluate_change, .looks_at_visits = true},
    [RULE_FLAT] = {.evaluate = evaluate_flat},
    [RULE_DRIFT] = {.evaluate = evaluate_drift},
    [RULE_SILENCE] = {.evaluate = evaluate_silence},
    [RULE_GAP] = {.evaluate = evaluate_gap},
    [RULE_VISIT_DUE] = {.evaluate = evaluate_visit_due, .looks_at_visits = true},
    [RULE_UNREADABLE_DROP] = {.evaluate = evaluate_nothing},
    [RULE_UNDELIVERED] = {.evaluate = evaluate_nothing},
};
_Static_assert(COUNT_OF(kinds) == RULE_KIND_COUNT, "every kind of rule has a row");

static bool has_setting(const struct rule *rule, enum rule_key key);

const struct rule_kind_info *rules_kind_info(enum rule_kind kind)
{
    assert(kind < RULE_KIND_COUNT);
    return &kinds[kind];
}

size_t rules_evaluate(struct arena *arena, const struct rule_view *view, struct episode **ret)
{
    *ret = NULL;
    return rules_kind_info(view->rule->kind)->evaluate(arena, view, ret);
}

/* A delay that is still being served at the last sample before a change began less than a delay ago (or than as many
 * of the longest pauses as samples are still to be counted), and that sample lies at most the longest pause back.
 * Before that a change of value looks back over its window. */
int64_t rules_lead_in(const struct rule *rule)
{
    if (!has_setting(rule, RULE_ON_DELAY) && !has_setting(rule, RULE_OFF_DELAY))
        return 0;
    int64_t tide = tide_is_asked(rule) ? TIDE_AHEAD_OF_ALL : 0; /* a changed level changes stages before it ... */
    int64_t history = has_setting(rule, RULE_WINDOW) ? rule->window : 0;
    if (rule->kind == RULE_FLAT) /* that samples reach back over the window is seen from one more window */
        history *= 2;
    return history + rule_longest_wait(rule) + rule_longest_pause(rule) + tide;
}

/* A delay that begins anew at the first sample behind a change, one pause later, is served or broken another
 * pause after its length. A silence behind the last changed sample begins a window later. */
int64_t rules_lead_out(const struct rule *rule)
{
    if (rule->kind == RULE_SILENCE || rule->kind == RULE_VISIT_DUE)
        return rule->window;
    int64_t lead_in = rules_lead_in(rule);
    int64_t tide = tide_is_asked(rule) ? TIDE_BEHIND : 0; /* ... and behind it */
    return lead_in ? lead_in + rule_longest_pause(rule) + tide : 0;
}

double rules_excess(const struct rule *rule, double value)
{
    switch (rule->kind) {
    case RULE_BELOW:
    case RULE_FLAT: return rule->limit - value;
    case RULE_OUTSIDE: return fmax(rule->low - value, value - rule->high);
    case RULE_CHANGE:
    case RULE_DRIFT: return fabs(value) - rule->limit;
    case RULE_SILENCE:
    case RULE_GAP:
    case RULE_VISIT_DUE:
    case RULE_UNREADABLE_DROP:
    case RULE_UNDELIVERED: return value - (double)rule->window;
    case RULE_ABOVE:
    case RULE_RISE:
    case RULE_FALL:
    case RULE_KIND_COUNT: break;
    }
    return value - rule->limit;
}

size_t rules_drop_episodes(struct arena *arena, const struct rule *rule, const struct drop_fact *drops, size_t n,
                           int64_t now, struct drop_episode **ret)
{
    struct drop_episode *list = arena_array(arena, n, sizeof *list);
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        const struct drop_fact *drop = &drops[i];
        int64_t age = now - drop->since;
        bool is_set_aside = drop->state == DROP_SET_ASIDE;
        if (!is_set_aside && !(drop->state == DROP_WAITING && age > rule->window))
            continue;
        struct drop_episode *found = &list[count++];
        found->drop = i;
        found->episode = (struct episode){
            .start = drop->since,
            .raised = is_set_aside ? drop->since : drop->since + rule->window,
            .end = TIME_NONE,
            .worst = (double)age,
            .worst_time = now,
            .last = (double)age,
            .last_time = now,
        };
        detail_keep(&found->episode, drop->message ? drop->message : "");
    }
    *ret = list;
    return count;
}

static bool has_setting(const struct rule *rule, enum rule_key key)
{
    const struct rule_vocabulary *vocabulary = rule_vocabulary(rule->kind);
    return (vocabulary->needs | vocabulary->takes) & key;
}
