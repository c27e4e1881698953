/* SPDX-License-Identifier: MIT */
/* What rules found, held against the alarms that are stored: only the difference is told. Pure; applied
 * twice, the second time finds nothing to do, so a restart, a re-read and a late correction are all safe.
 *
 * The whole of it, for one rule at one station and a change in [from, to):
 *
 *   struct span window = {from - rules_lead_in(rule), to + rules_lead_out(rule)};
 *   do {
 *       stored = alarms of rule and station, any state, that touch the window:
 *                start <= window.to, and no end or end >= window.from
 *       view   = rows and checks with window.from <= time < window.to, and the samples before and after
 *       found_count = rules_evaluate(arena, &view, &found);
 *   } while (reconcile_widen(rule, stored, stored_count, found, found_count, view.after, &window));
 *   change_count = reconcile(arena, &input, &changes);
 *
 * Silence is also looked at as the clock goes on, with no change at all: the same with from = to = now.
 *
 * Matching: a found episode and a stored alarm are the same where their times overlap or touch (an open
 * stored episode reaches to its last sample; silence and unreadable_drop: without end). A found episode takes
 * at most one alarm: the one with the same start, else the earliest left that is not withdrawn, else the
 * earliest left.
 *
 * Announced: new, ended, back again, withdrawn, and grown. Grown means that the worst value crossed another
 * whole step past the limit, a step being the rule's deadband or, without one, 10 % of the limit; steps count
 * from the limit, so slow growth adds up and is told at each step. silence and unreadable_drop never tell
 * that they grew, and store it only by tenths of the window (an hour at least), so that a station long silent
 * costs no writing.
 *
 * Old news: an episode whose last moment (end, or last sample while open) lies more than news_age back when
 * we first learn of it is stored and never announced; once ended its state is ALARM_NORMAL at once. It
 * becomes news when later data carry its last moment into the last news_age. An alarm that was announced
 * stays news: its end is told however late. An episode that began and ended before we learnt of it, but
 * lately, is announced once, as raised, with its end set: the message itself says that it is over; its state
 * is ALARM_RETURNED_UNACKNOWLEDGED.
 *
 * Shelved: what begins anew while the rule is put aside at the station begins on the shelf and is not announced;
 * when the shelf's time is over, the caller brings back what is still so (lifecycle: UNSHELVED).
 *
 * Vanished episodes are withdrawn (an open one ends at its last sample, so that it cannot swallow a later
 * one), but silence and unreadable_drop were true when told: they return, with end = now and "heard again",
 * "visited", "no longer waiting", or that what runs out lasts longer by what is known now. */
#ifndef RILLWARD_ALARMS_RECONCILE_H
#define RILLWARD_ALARMS_RECONCILE_H

#include "alarms/rules.h"

#include <stdbool.h>

struct reconcile_input {
    const char *station; /* or barometer; the path for an unreadable drop */
    const struct rule *rule;
    const struct alarm *stored; /* any state, ascending start; those beyond the window are left alone */
    size_t stored_count;
    const struct episode *found; /* ascending start */
    size_t found_count;
    struct span window; /* that was evaluated; unreadable_drop: {TIME_NONE, TIME_FOREVER} */
    int64_t now;
    int64_t last_visit; /* visit_due: the newest that is known */
    int64_t news_age;
    int64_t shelved_until;    /* the rule is put aside at this station until then; TIME_NONE or past: it is not */
    const char *shelf_reason; /* NULL is "" */
};

enum alarm_change_kind { ALARM_NEW, ALARM_CHANGED };

struct alarm_change {
    enum alarm_change_kind what;
    struct alarm alarm; /* as it is to be stored; id 0 for ALARM_NEW. Texts belong to the input */
    enum alarm_state before; /* its state so far; ALARM_NORMAL for ALARM_NEW */
    bool announce;
    enum notice_event event; /* NOTICE_EVENT_COUNT where nothing is announced */
};

/* The changes in order of found episodes, then of vanished ones; in the arena. sequence rises by one with
 * each announced change; changed = now in each; learnt is set once. */
size_t reconcile(struct arena *arena, const struct reconcile_input *input, struct alarm_change **ret);

/* Grow the window until it holds whole episodes: back to the lead-in of a stored one that touches it, on to
 * the end of such a one, and on while the last found one is open though data follow (`after` is not
 * TIME_NONE). False once it fits; true: load and evaluate again. Ends, because a window that reaches all data
 * fits. */
bool reconcile_widen(const struct rule *rule, const struct alarm *stored, size_t stored_count,
                     const struct episode *found, size_t found_count, int64_t after, struct span *window);

#endif
