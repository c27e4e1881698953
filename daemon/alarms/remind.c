/* SPDX-License-Identifier: MIT */
#include "alarms/remind.h"

#include "base/timestamp.h"

#include <stdbool.h>

static bool is_due(int64_t since, int64_t pause, int64_t now, int64_t *next);

size_t remind_plan(struct arena *arena, const struct alarm *alarms, const struct rule *const *rules, size_t n,
                   int64_t now, struct reminder **ret, int64_t *ret_next)
{
    struct reminder *list = arena_array(arena, 2 * n, sizeof *list);
    size_t count = 0;
    *ret_next = TIME_FOREVER;
    for (size_t i = 0; i < n; i++) {
        const struct alarm *alarm = &alarms[i];
        const struct rule *rule = rules[i];
        if (!rule || alarm->state != ALARM_UNACKNOWLEDGED || alarm->is_old_news || alarm->asked == TIME_NONE)
            continue;
        bool is_above_told = alarm->escalated != TIME_NONE;
        if (!is_above_told && is_due(alarm->asked, rule->escalate_after, now, ret_next))
            list[count++] = (struct reminder){i, NOTICE_ESCALATED};
        int64_t told = alarm->told == TIME_NONE || alarm->told < alarm->asked ? alarm->asked : alarm->told;
        if (is_due(told, rule->repeat, now, ret_next)) {
            list[count++] = (struct reminder){i, NOTICE_REMINDED};
            is_due(now, rule->repeat, now, ret_next); /* when the one after this will be */
        }
    }
    *ret = list;
    return count;
}

/* A pause of 0 never ends. Keeps the earliest time that is still to come. */
static bool is_due(int64_t since, int64_t pause, int64_t now, int64_t *next)
{
    if (pause <= 0)
        return false;
    int64_t due = since + pause;
    if (due <= now)
        return true;
    *next = due < *next ? due : *next;
    return false;
}
