/* SPDX-License-Identifier: MIT */
/* Rules: data in, episodes out. Pure; the same data give the same episodes whatever window they are looked at
 * through.
 *
 * What counts: never a value that is missing, or flagged fail or missing; suspect ones where
 * rule.counts_suspect says so.
 *
 * The condition: below value < limit, above value > limit. rise and fall: value(t) - min, max - value(t),
 * over [t - window, t), is > limit; with nothing in that window no change is seen: 0. The window must be
 * longer than the sampling interval. A difference of a billionth from the limit is rounding, no difference.
 *
 * outside: value < low or > high. change: |value - base| > limit, where base is the first counted value at or after the
 * last visit (rows before the first known visit are passed over), or at or after a given time. flat: highest less
 * lowest value over [t - window, t] is <= limit, and samples reach back over that window without a longer pause.
 *
 * Beside it (rule.conditions), all at the same sample: other quantities must be below, above or between limits, and it
 * must be the month and time of day by the place's standard time, and the stage of the tide. A sample without a usable
 * value of such a quantity does not count, and one at which it is not all so ends an episode as a value that came back
 * does. Nor does a sample count whose stage is not known (the last hours of the data above all: alarms/tide.h): nothing
 * begins and nothing ends there; later data tell, and then it is judged.
 *
 * Start: an episode begins where every counted sample has met the condition for at least on_delay by data
 * time, and rule.samples of them at least. start = first such sample, raised = the sample that served both. The
 * deadband plays no part yet.
 *
 * End: it holds until a value is back past the limit by the deadband (below >= limit + deadband, others
 * <= limit - deadband) and the condition is not met again for at least off_delay; end = the sample that came
 * back. Until that is confirmed the episode is open: end = TIME_NONE, last = last counted value, back or not.
 *
 * Pauses: one between counted samples longer than a day (or than the longest delay of the rule, if that is
 * more) breaks a delay that is being served: it begins anew behind the pause. The bound does not depend on
 * the sampling interval, so that slow loggers are watched too and the width of a view cannot change the
 * answer. An episode that has begun holds over any pause: missing data are no proof of a return.
 *
 * worst and last: below, above, outside the value; rise, fall, flat the size of the change (positive); change with its
 * sign; drift sensor - reference; silence, gap, visit_due (since the visit), unreadable_drop ms. */
#ifndef RILLWARD_ALARMS_RULES_H
#define RILLWARD_ALARMS_RULES_H

#include "base/memory.h"
#include "config/config.h"
#include "model/facts.h"
#include "model/record.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* What a rule looks at. */
struct rule_view {
    const struct rule *rule;
    const struct record *record;       /* rows of the window, lead-in included, ascending; NULL: no rows (drift) */
    const struct check_result *checks; /* of the window, ascending time; any quantity */
    size_t check_count;
    int64_t before;        /* time of the last sample before the first row, TIME_NONE without one */
    int64_t after;         /* time of the first sample behind the last row, TIME_NONE where the data end */
    const int64_t *visits; /* of the window, ascending: level read or logger put in; for kinds that use visits */
    size_t visit_count;
    int64_t visit_before, visit_after; /* as before and after */
    const struct supply *supplies;     /* [0] after visit_before, [k + 1] after visits[k]; NULL: nothing is known */
    const uint8_t *stages;             /* of the tide, one a row, see tide.h; NULL: not known (no rule asks for it) */
    double base; /* RULE_CHANGE since a time: first counted value at or after it; NaN: it is in the rows, or unknown */
    int64_t utc_offset; /* of the place's standard time, ms ahead of UTC */
    int64_t now;
};

/* What a kind does; what can be said of it stands in rule_vocabulary(). */
struct rule_kind_info {
    size_t (*evaluate)(struct arena *arena, const struct rule_view *view, struct episode **ret);
    bool looks_at_visits; /* rule_view.visits */
};
const struct rule_kind_info *rules_kind_info(enum rule_kind kind);

/* All episodes in the view, ascending start, apart from each other; in the arena.
 *
 * drift: raised by a check that disagrees by more than limit (first readings and checks without data judge
 * nothing); ends at the next one within limit - deadband.
 * silence: start = raised = last sample + window, end = next sample; looks at times only, and the gaps to
 * `before` and `after` count too. While open, last_time = now. A place that was never heard from has no last
 * sample and so no episode.
 * gap: from the last sample before it to the first behind it, never open.
 * visit_due: as silence, of visits; or from `ahead` before the logger runs out of memory or battery (supply.h), if that
 * is sooner, but not before the visit itself.
 * unreadable_drop, undelivered: none here, see rules_drop_episodes(). */
size_t rules_evaluate(struct arena *arena, const struct rule_view *view, struct episode **ret);

/* visit_due: from when on a visit is due, after one at `last`. */
int64_t visit_due(const struct rule *rule, int64_t last, const struct supply *supply);

/* The rows to look at for a change in [from, to): [from - lead_in, to + lead_out), if no episode, stored or
 * found, lies across these edges; reconcile_widen() grows the window where one does. For a change since the last visit
 * the edges must also lie at visits, or where the data end: its base acts until the next one. */
int64_t rules_lead_in(const struct rule *rule);
int64_t rules_lead_out(const struct rule *rule);

/* How far a value lies past the rule's limit, in the bad direction (> 0: past it), inside unit. Of worst or
 * last of an episode; silence and unreadable_drop: past the window, ms. */
double rules_excess(const struct rule *rule, double value);

/* RULE_CHANGE since a time: the first counted value at or after it, and its time; TIME_NONE where the rows have none.
 */
int64_t rules_base(const struct rule *rule, const struct record *record, double *ret);

/* What is known of a drop that is not taken; or, of a recipient to whom notices do not get through: "recipient desk" for
 * the path, waiting while they are tried, set aside where one was given up. */
struct drop_fact {
    const char *path;
    enum drop_state state;
    int64_t since;       /* when it came into this state */
    const char *message; /* what is wrong and the cure; NULL or "" none */
};
struct drop_episode {
    size_t drop; /* index into the facts */
    struct episode episode;
};
/* Set aside: at once. Waiting: once longer than window. In the order of the drops; all open. Arena. */
size_t rules_drop_episodes(struct arena *arena, const struct rule *rule, const struct drop_fact *drops, size_t n,
                           int64_t now, struct drop_episode **ret);

#endif
