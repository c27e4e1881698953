/* SPDX-License-Identifier: MIT */
/* Who must be reminded of an alarm that nobody answered, and whom it is passed on to. Pure.
 *
 * Only of alarms that are active and unacknowledged, and never of old news: what is over, shelved or acknowledged is
 * quiet. A reminder is due rule.repeat after people were last told; those further up are told once, rule.escalate_after
 * after an answer was first waited for. After a time asleep one reminder is due, not all that were missed. */
#ifndef RILLWARD_ALARMS_REMIND_H
#define RILLWARD_ALARMS_REMIND_H

#include "base/memory.h"
#include "config/config.h"
#include "model/facts.h"

#include <stddef.h>

struct reminder {
    size_t alarm;            /* index into the alarms */
    enum notice_event event; /* NOTICE_REMINDED or NOTICE_ESCALATED */
};

/* `rules[i]` is the rule of `alarms[i]`, NULL where it is configured no more. In the order of the alarms; in the arena.
 * `ret_next`: when the next one will be due if nothing changes; TIME_FOREVER. */
size_t remind_plan(struct arena *arena, const struct alarm *alarms, const struct rule *const *rules, size_t n,
                   int64_t now, struct reminder **ret, int64_t *ret_next);

#endif
