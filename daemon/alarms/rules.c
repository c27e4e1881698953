/* SPDX-License-Identifier: MIT */
#include "alarms/rules.h"

#include "alarms/evaluate.h"
#include "alarms/tide.h"
#include "alarms/tracker.h"
#include "base/timestamp.h"

#include <assert.h>
#include <math.h>

#define RULE_USES_LIMITS (RULE_USES_QUANTITY | RULE_USES_LIMIT | RULE_USES_DEADBAND)
#define RULE_USES_DELAYS (RULE_USES_ON_DELAY | RULE_USES_OFF_DELAY)
#define RULE_USES_SERIES (RULE_USES_LIMITS | RULE_USES_DELAYS | RULE_USES_COUNTS_SUSPECT)

static const struct rule_kind_info kinds[] = {
    [RULE_BELOW] = {.word = "below",
                    .help = "a quantity is below a limit",
                    .settings = RULE_USES_SERIES,
                    .evaluate = evaluate_threshold},
    [RULE_ABOVE] = {.word = "above",
                    .help = "a quantity is above a limit",
                    .settings = RULE_USES_SERIES,
                    .evaluate = evaluate_threshold},
    [RULE_RISE] = {.word = "rise",
                   .help = "a quantity rose by more than a limit within a time window",
                   .settings = RULE_USES_SERIES | RULE_USES_WINDOW,
                   .evaluate = evaluate_rise_or_fall},
    [RULE_FALL] = {.word = "fall",
                   .help = "a quantity fell by more than a limit within a time window",
                   .settings = RULE_USES_SERIES | RULE_USES_WINDOW,
                   .evaluate = evaluate_rise_or_fall},
    [RULE_OUTSIDE] = {.word = "outside",
                      .help = "a quantity is below or above a band",
                      .settings = RULE_USES_SERIES & ~(unsigned)RULE_USES_LIMIT,
                      .evaluate = evaluate_threshold},
    [RULE_CHANGE] = {.word = "change",
                     .help = "a quantity changed by more than a limit since the last visit, or since a time",
                     .settings = RULE_USES_SERIES | RULE_USES_VISITS,
                     .evaluate = evaluate_change},
    [RULE_FLAT] = {.word = "flat",
                   .help = "a quantity changed by no more than a limit for as long as a time window",
                   .settings = RULE_USES_SERIES | RULE_USES_WINDOW,
                   .evaluate = evaluate_flat},
    [RULE_DRIFT] = {.word = "drift",
                    .help = "a hand reading or check differs from the record by more than a limit",
                    .settings = RULE_USES_LIMITS,
                    .evaluate = evaluate_drift},
    [RULE_SILENCE] = {.word = "silence",
                      .help = "no data of a station or barometer for longer than a time window",
                      .settings = RULE_USES_WINDOW,
                      .evaluate = evaluate_silence},
    [RULE_GAP] = {.word = "gap",
                  .help = "between two samples of a station or barometer lies more than a time window",
                  .settings = RULE_USES_WINDOW,
                  .evaluate = evaluate_gap},
    [RULE_VISIT_DUE] = {.word = "visit_due",
                        .help = "nobody has been at a station for longer than a time window, or its logger runs out "
                                "before",
                        .settings = RULE_USES_WINDOW | RULE_USES_VISITS,
                        .evaluate = evaluate_visit_due},
    [RULE_UNREADABLE_DROP] = {.word = "unreadable_drop",
                              .help = "a drop was set aside, or waits for longer than a time window",
                              .settings = RULE_USES_WINDOW,
                              .evaluate = evaluate_nothing},
    [RULE_UNDELIVERED] = {.word = "undelivered",
                          .help = "a notice was given up, or is tried for longer than a time window",
                          .settings = RULE_USES_WINDOW,
                          .evaluate = evaluate_nothing},
};
_Static_assert(COUNT_OF(kinds) == RULE_KIND_COUNT, "every kind of rule has a row");

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
    unsigned settings = rules_kind_info(rule->kind)->settings;
    if (!(settings & RULE_USES_DELAYS))
        return 0;
    int64_t tide = tide_is_asked(rule) ? TIDE_AHEAD_OF_ALL : 0; /* a changed level changes stages before it ... */
    int64_t history = settings & RULE_USES_WINDOW ? rule->window : 0;
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
