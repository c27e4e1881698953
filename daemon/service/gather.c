/* SPDX-License-Identifier: MIT */
#include "service/gather.h"

#include "alarms/gather.h"
#include "base/timestamp.h"

#include <inttypes.h>
#include <string.h>

static bool gather_for(const struct teller *t, const struct fresh_notice *notices, size_t n, bool may_wait, int64_t now,
                       struct error *error);
static bool load_input(const struct teller *t, const struct fresh_notice *notices, size_t n, bool may_wait,
                       struct listener_fact *listener, struct gather_input *ret, struct error *error);
static bool apply(const struct teller *t, const struct fresh_notice *notices, const struct gather_input *input,
                  const struct gather_plan *plan, struct listener_fact *listener, struct error *error);
static bool changes_anything(const struct gather_input *input, const struct gather_plan *plan);
static bool tell_together(const struct teller *t, const struct fresh_notice *notices, const struct gather_input *input,
                          const struct gather_plan *plan, enum gather_fate fate, size_t group, struct error *error);
static bool belongs(const struct gather_plan *plan, size_t item, enum gather_fate fate, size_t group);
static const char *summary_reason(const struct teller *t, const struct gather_input *input,
                                  const struct gather_plan *plan);

bool gather_notices(const struct teller *t, const struct gather_room *room, bool may_wait, int64_t now,
                    struct error *error)
{
    struct fresh_notice *list;
    size_t n, next;
    if (!store_notices_fresh(t->store, now, t->arena, &list, &n, error))
        return false;
    for (size_t first = 0; first < n; first = next) {
        next = first + 1;
        while (next < n && strcmp(list[next].recipient, list[first].recipient) == 0)
            next++;
        if (room->has_room(room->context, list[first].recipient) &&
            !gather_for(t, list + first, next - first, may_wait, now, error))
            return false;
    }
    return true;
}

static bool gather_for(const struct teller *t, const struct fresh_notice *notices, size_t n, bool may_wait, int64_t now,
                       struct error *error)
{
    struct gather_input input = {.now = now};
    struct listener_fact listener;
    if (!load_input(t, notices, n, may_wait, &listener, &input, error))
        return false;
    struct gather_plan plan = gather_plan(t->arena, &input);
    if (!changes_anything(&input, &plan))
        return true;
    if (!store_begin(t->store, __func__, error))
        return false;
    if (apply(t, notices, &input, &plan, &listener, error) && store_commit(t->store, error))
        return true;
    store_rollback(t->store);
    return false;
}

static bool load_input(const struct teller *t, const struct fresh_notice *notices, size_t n, bool may_wait,
                       struct listener_fact *listener, struct gather_input *ret, struct error *error)
{
    static const struct hours always = {.zone = NULL};
    const char *recipient = notices[0].recipient;
    size_t r = config_find_recipient(t->config, recipient);
    struct gather_item *items = arena_array(t->arena, n, sizeof *items);
    struct span lately = {ret->now - FLOOD_WINDOW + 1, TIME_FOREVER};
    ret->items = items;
    ret->n = n;
    ret->hours = r < t->config->recipient_count ? &t->config->recipients[r].hours : &always;
    ret->gather = t->config->gather;
    for (size_t k = 0; k < n; k++) {
        items[k] = (struct gather_item){.alarm = notices[k].alarm,
                                        .rule = notices[k].rule,
                                        .event = notices[k].event,
                                        .priority = notices[k].priority,
                                        .last_of_rule = TIME_NONE};
        bool looks = may_wait && ret->gather > 0;
        if (looks && k > 0 && strcmp(notices[k].rule, notices[k - 1].rule) == 0) {
            items[k].last_of_rule = items[k - 1].last_of_rule;
            continue;
        }
        if (looks && !store_raised_last(t->store, recipient, notices[k].rule, ret->now - ret->gather + 1,
                                        &items[k].last_of_rule, error))
            return false;
    }
    if (!store_listener_find(t->store, recipient, listener, error) ||
        !store_raised_count(t->store, recipient, lately, &ret->raised_lately, error))
        return false;
    ret->flood_since = listener->flood_since;
    ret->summary_at = listener->summary_at;
    return true;
}

static bool changes_anything(const struct gather_input *input, const struct gather_plan *plan)
{
    bool changes = plan->flood_since != input->flood_since || plan->summary_at != input->summary_at;
    for (size_t k = 0; k < input->n; k++)
        changes |= plan->fates[k] != GATHER_SEND;
    return changes;
}

static bool apply(const struct teller *t, const struct fresh_notice *notices, const struct gather_input *input,
                  const struct gather_plan *plan, struct listener_fact *listener, struct error *error)
{
    bool has_summary = false;
    for (size_t k = 0; k < input->n; k++) {
        bool is_alone = plan->fates[k] == GATHER_BY_LATER && plan->fates[plan->with[k]] == GATHER_SEND;
        has_summary |= plan->fates[k] == GATHER_SUMMARY;
        if (plan->fates[k] == GATHER_HOLD && !store_notice_hold(t->store, notices[k].id, plan->until[k], error))
            return false;
        if (is_alone && !store_notice_gather(t->store, notices[k].id, notices[plan->with[k]].id, error))
            return false;
    }
    for (size_t g = 0; g < plan->group_count; g++)
        if (!tell_together(t, notices, input, plan, GATHER_GROUP, g, error))
            return false;
    if (has_summary && !tell_together(t, notices, input, plan, GATHER_SUMMARY, 0, error))
        return false;
    if (plan->flood_since == input->flood_since && plan->summary_at == input->summary_at)
        return true;
    listener->flood_since = plan->flood_since;
    listener->summary_at = plan->summary_at;
    return store_listener_put(t->store, notices[0].recipient, listener, error);
}

/* One notice that stands for all of them: a copy of the first, so that it is complete by itself, too. */
static bool tell_together(const struct teller *t, const struct fresh_notice *notices, const struct gather_input *input,
                          const struct gather_plan *plan, enum gather_fate fate, size_t group, struct error *error)
{
    struct notice notice;
    size_t first = 0;
    while (first < input->n && !belongs(plan, first, fate, group))
        first++;
    if (first == input->n)
        return true; /* its members went into the summary */
    if (!store_notice_find(t->store, notices[first].id, t->arena, &notice, error))
        return false;
    bool is_summary = fate == GATHER_SUMMARY;
    notice.event = is_summary ? NOTICE_SUMMARY : NOTICE_GROUP;
    notice.uid = tell_uid(t, notice_event_word(notice.event), notice.id, notice.recipient, input->now);
    notice.created = input->now;
    notice.alarm.id = 0;
    notice.alarm.sequence = 0;
    notice.alarm.station = notice.station_name = "";
    if (is_summary) {
        notice.alarm.rule = notice.rule_title = notice.advice = "";
        notice.rule_kind = notice.unit = notice.quantity = "";
        notice.body = summary_reason(t, input, plan);
    }
    for (size_t k = first; k < input->n; k++)
        if (belongs(plan, k, fate, group) && notices[k].priority > notice.priority)
            notice.priority = notices[k].priority;
    int64_t id;
    if (!store_notice_add(t->store, &notice, error) || !store_notice_id(t->store, notice.uid, &id, error))
        return false;
    for (size_t k = 0; k < input->n; k++)
        if (belongs(plan, k, fate, group) && !store_notice_gather(t->store, notices[k].id, id, error))
            return false;
    return true;
}

/* An earlier word goes where the last word of its alarm goes. */
static bool belongs(const struct gather_plan *plan, size_t item, enum gather_fate fate, size_t group)
{
    while (plan->fates[item] == GATHER_BY_LATER)
        item = plan->with[item];
    return plan->fates[item] == fate && (fate == GATHER_SUMMARY || plan->with[item] == group);
}

static const char *summary_reason(const struct teller *t, const struct gather_input *input,
                                  const struct gather_plan *plan)
{
    if (!plan->is_flood)
        return "These waited until they could be sent, and come in one message.";
    return arena_printf(t->arena,
                        "%" PRId64
                        " new alarms within 10 min are more than a person can take in. While that lasts, this "
                        "summary takes the place of single messages.",
                        input->raised_lately);
}
