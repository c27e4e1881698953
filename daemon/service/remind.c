/* SPDX-License-Identifier: MIT */
#include "service/remind.h"

#include "alarms/remind.h"
#include "base/timestamp.h"

static bool remind(const struct teller *t, struct alarm *alarm, const struct rule *rule, enum notice_event event,
                   int64_t now, struct error *error);

bool remind_people(const struct teller *t, int64_t now, int64_t *ret_next, struct error *error)
{
    struct alarm *alarms;
    struct reminder *reminders;
    size_t n;
    if (!store_alarms_asked(t->store, t->arena, &alarms, &n, error))
        return false;
    const struct rule **rules = arena_array(t->arena, n, sizeof *rules);
    for (size_t k = 0; k < n; k++) {
        size_t r = config_find_rule(t->config, alarms[k].rule);
        rules[k] = r < t->config->rule_count ? &t->config->rules[r] : NULL;
    }
    size_t count = remind_plan(t->arena, alarms, rules, n, now, &reminders, ret_next);
    for (size_t k = 0; k < count; k++) {
        size_t a = reminders[k].alarm;
        if (!remind(t, &alarms[a], rules[a], reminders[k].event, now, error))
            return false;
    }
    return true;
}

/* A reminder also goes to those further up, once they know. */
static bool remind(const struct teller *t, struct alarm *alarm, const struct rule *rule, enum notice_event event,
                   int64_t now, struct error *error)
{
    bool is_reminder = event == NOTICE_REMINDED,
         is_above_told = alarm->escalated != TIME_NONE && alarm->escalated != now;
    alarm->changed = now;
    if (is_reminder)
        alarm->told = now;
    else
        alarm->escalated = now;
    return store_alarm_put(t->store, alarm, "rillward", notice_event_word(event), error) &&
           (!is_reminder || tell_people(t, alarm, rule, event, NULL, &rule->tell, error)) &&
           ((is_reminder && !is_above_told) || tell_people(t, alarm, rule, event, NULL, &rule->escalate_to, error));
}
