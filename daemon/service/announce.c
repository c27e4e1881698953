/* SPDX-License-Identifier: MIT */
/* From changed values to alarms and notices, all in the transaction that changed the values. */
#include "alarms/reconcile.h"
#include "alarms/rules.h"
#include "base/timestamp.h"
#include "config/parts.h"
#include "service/answer.h"
#include "service/digest.h"
#include "service/out_of_service.h"
#include "service/pipeline.h"
#include "service/remind.h"
#include "service/subject.h"
#include "service/supplies.h"
#include "service/tell.h"
#include "service/withdraw.h"

#include <stdlib.h>
#include <string.h>

static bool judge(struct pipeline *p, const struct rule *rule, const struct subject *subject, struct span span,
                  struct row_cache *cache, int64_t now, struct error *error);
static struct span window_around(const struct rule *rule, struct span span);
static int64_t last_visit(const struct rule_view *view);
static bool add_shelf(struct pipeline *p, struct reconcile_input *input, struct error *error);
static bool store_changes(struct pipeline *p, const struct rule *rule, const struct subject *subject,
                          struct alarm_change *changes, size_t n, const struct record *rows, struct error *error);
static bool explain_withdrawal(struct pipeline *p, const struct rule *rule, const struct subject *subject,
                               const struct alarm *alarm, const struct record *rows, const char **ret_what,
                               struct error *error);
static bool mark_pictures(struct pipeline *p, const struct rule *rule, const struct subject *subject,
                          const struct alarm_change *changes, size_t n, struct error *error);
static const char *step_word(const struct alarm_change *change);
static bool count_times(struct pipeline *p, struct alarm *alarm, struct error *error);
static bool end_shelves(struct pipeline *p, int64_t now, struct error *error);
static bool judge_drops(struct pipeline *p, const struct rule *rule, int64_t now, struct error *error);
static bool judge_recipients(struct pipeline *p, const struct rule *rule, int64_t now, struct error *error);
static int compare_facts(const void *a, const void *b);
static bool judge_facts(struct pipeline *p, const struct rule *rule, const struct drop_fact *facts, size_t n,
                        int64_t now, struct error *error);
static bool judge_drop(struct pipeline *p, const struct rule *rule, const char *path, const struct alarm *stored,
                       size_t stored_count, const struct episode *found, int64_t now, struct error *error);
static size_t first_of_place(const struct alarm *alarms, size_t n, const char *place);
static bool judge_visits(struct pipeline *p, const struct rule *rule, size_t station, int64_t now, struct error *error);
static bool judge_silence(struct pipeline *p, const struct rule *rule, const char *id, bool is_barometer,
                          uint32_t place, int64_t now, struct error *error);
static void look_again_at(struct pipeline *p, int64_t time);

bool announce_span(struct pipeline *p, const char *id, uint32_t place, bool is_barometer, struct span span, int64_t now,
                   struct error *error)
{
    struct subject subject;
    struct row_cache cache = {.wish = span};
    supplies_forget(p, id);
    if (!subject_find(p, id, is_barometer, place, &subject, error))
        return false;
    for (size_t r = 0; r < p->config->rule_count; r++) {
        const struct rule *rule = &p->config->rules[r];
        if (!subject_suits(rule, is_barometer) || !rule_watches(rule, id) || rule->kind == RULE_VISIT_DUE)
            continue;
        struct span window = window_around(rule, span);
        cache.wish.from = window.from < cache.wish.from ? window.from : cache.wish.from;
        cache.wish.to = window.to > cache.wish.to ? window.to : cache.wish.to;
    }
    for (size_t r = 0; r < p->config->rule_count; r++) {
        const struct rule *rule = &p->config->rules[r];
        if (subject_suits(rule, is_barometer) && rule_watches(rule, id) &&
            !judge(p, rule, &subject, span, &cache, now, error))
            return false;
    }
    p->next_alarm_look = TIME_NONE;
    return true;
}

bool pipeline_advance(struct pipeline *p, int64_t now, struct error *error)
{
    arena_reset(p->arena);
    p->next_alarm_look = TIME_FOREVER;
    bool ok = store_begin(p->store, __func__, error);
    for (size_t r = 0; ok && r < p->config->rule_count; r++) {
        const struct rule *rule = &p->config->rules[r];
        if (rule->kind == RULE_UNREADABLE_DROP)
            ok = judge_drops(p, rule, now, error);
        if (rule->kind == RULE_UNDELIVERED)
            ok = judge_recipients(p, rule, now, error);
        for (size_t i = 0; ok && rule->kind == RULE_VISIT_DUE && i < p->config->station_count; i++)
            ok = judge_visits(p, rule, i, now, error);
        if (rule->kind != RULE_SILENCE)
            continue;
        for (size_t i = 0; ok && i < p->config->station_count; i++)
            ok = judge_silence(p, rule, p->config->stations[i].id, false, p->station_places[i], now, error);
        for (size_t i = 0; ok && i < p->config->barometer_count; i++)
            ok = judge_silence(p, rule, p->config->barometers[i].id, true, p->barometer_places[i], now, error);
    }
    const struct teller teller = {p->config, p->store, p->arena};
    int64_t reminder = TIME_FOREVER, digest = TIME_FOREVER;
    if (ok && end_shelves(p, now, error) && out_of_service_apply(&teller, now, error) &&
        remind_people(&teller, now, &reminder, error) && digest_people(&teller, now, &digest, error) &&
        store_commit(p->store, error)) {
        look_again_at(p, reminder);
        look_again_at(p, digest);
        return true;
    }
    store_rollback(p->store);
    p->next_alarm_look = TIME_NONE;
    return false;
}

/* Shelving is for a time: what is still so then needs an answer again. */
static bool end_shelves(struct pipeline *p, int64_t now, struct error *error)
{
    const struct teller teller = {p->config, p->store, p->arena};
    struct alarm *list;
    size_t n;
    if (!store_alarms_shelved(p->store, p->arena, &list, &n, error))
        return false;
    for (size_t k = 0; k < n; k++) {
        if (list[k].shelved_until > now) {
            look_again_at(p, list[k].shelved_until);
            break;
        }
        if (!answer_end_shelf(&teller, &list[k], "rillward", "the shelf's time is over", now, error))
            return false;
    }
    return true;
}

static bool judge(struct pipeline *p, const struct rule *rule, const struct subject *subject, struct span span,
                  struct row_cache *cache, int64_t now, struct error *error)
{
    struct span window = window_around(rule, span);
    struct alarm *stored;
    size_t stored_count, found_count;
    struct episode *found;
    struct rule_view view;
    struct record rows;
    do {
        if (!subject_view(p, subject, rule, span, now, &window, cache, &rows, &view, error) ||
            !store_alarms_touching(p->store, subject->id, rule->id, window, p->arena, &stored, &stored_count, error))
            return false;
        found_count = rules_evaluate(p->arena, &view, &found);
    } while (reconcile_widen(rule, stored, stored_count, found, found_count, view.after, &window));
    struct reconcile_input input = {.station = subject->id,
                                    .rule = rule,
                                    .stored = stored,
                                    .stored_count = stored_count,
                                    .found = found,
                                    .found_count = found_count,
                                    .window = window,
                                    .now = now,
                                    .last_visit = last_visit(&view),
                                    .news_age = p->config->news_age};
    if (!add_shelf(p, &input, error))
        return false;
    struct alarm_change *changes;
    size_t n = reconcile(p->arena, &input, &changes);
    return store_changes(p, rule, subject, changes, n, view.record, error);
}

/* What a change in `span` may mean for the rule. */
static struct span window_around(const struct rule *rule, struct span span)
{
    return (struct span){span.from - rules_lead_in(rule), span.to + rules_lead_out(rule)};
}

static int64_t last_visit(const struct rule_view *view)
{
    return view->visit_after != TIME_NONE ? view->visit_after
           : view->visit_count > 0        ? view->visits[view->visit_count - 1]
                                          : view->visit_before;
}

static bool add_shelf(struct pipeline *p, struct reconcile_input *input, struct error *error)
{
    struct shelf_fact shelf;
    if (!store_shelf_find(p->store, input->station, input->rule->id, input->now, p->arena, &shelf, error))
        return false;
    input->shelved_until = shelf.until;
    input->shelf_reason = shelf.reason;
    const char *why = out_of_service_why(p->config, input->station);
    if (why) {
        input->shelved_until = TIME_FOREVER;
        input->shelf_reason = arena_printf(p->arena, "out of service: %s", why);
    }
    return true;
}

static bool store_changes(struct pipeline *p, const struct rule *rule, const struct subject *subject,
                          struct alarm_change *changes, size_t n, const struct record *rows, struct error *error)
{
    const struct teller teller = {p->config, p->store, p->arena};
    for (size_t k = 0; k < n; k++) {
        struct alarm_change *change = &changes[k];
        const char *what = step_word(change);
        if (change->what == ALARM_NEW && !change->alarm.is_old_news && !count_times(p, &change->alarm, error))
            return false;
        if (change->alarm.state == ALARM_WITHDRAWN && change->before != ALARM_WITHDRAWN && rows &&
            !explain_withdrawal(p, rule, subject, &change->alarm, rows, &what, error))
            return false;
        if (!tell_change(&teller, &change->alarm, change->event, "rillward", what, error))
            return false;
    }
    return subject->place == 0 || subject->is_barometer || mark_pictures(p, rule, subject, changes, n, error);
}

static bool explain_withdrawal(struct pipeline *p, const struct rule *rule, const struct subject *subject,
                               const struct alarm *alarm, const struct record *rows, const char **ret_what,
                               struct error *error)
{
    const char *reason;
    if (!withdraw_reason(p, subject, rule, alarm, rows, &reason, error))
        return false;
    *ret_what = arena_printf(p->arena, "withdrawn: %s", reason);
    return true;
}

/* The months in which an episode begins and ends; those between were derived anew, and are due by that. */
static bool mark_pictures(struct pipeline *p, const struct rule *rule, const struct subject *subject,
                          const struct alarm_change *changes, size_t n, struct error *error)
{
    bool is_drawn = rule->quantity < QUANTITY_COUNT && rule->kind != RULE_DRIFT;
    for (size_t k = 0; is_drawn && k < n; k++) {
        const struct episode *e = &changes[k].alarm.episode;
        const int64_t times[] = {e->start, e->end == TIME_NONE ? e->last_time : e->end};
        for (size_t t = 0; t < COUNT_OF(times); t++) {
            struct civil day = timestamp_to_civil(times[t] + subject->utc_offset);
            if (!store_page_due(p->store, subject->place, day.year * 12 + day.month - 1, error))
                return false;
        }
    }
    return true;
}

/* What stands in the alarm's steps; NULL: not worth one. */
static const char *step_word(const struct alarm_change *change)
{
    const struct alarm *alarm = &change->alarm;
    if (change->announce)
        return notice_event_word(change->event);
    if (change->what == ALARM_NEW)
        return alarm->is_old_news ? "recorded as old news" : "raised while its rule is shelved here";
    bool ended_now = alarm->episode.end != TIME_NONE && alarm->state != change->before;
    return ended_now ? alarm->state == ALARM_WITHDRAWN ? "withdrawn" : "returned" : NULL;
}

/* One that comes again and again is not ten alarms, it is a limit set too near or a sensor that is loose. */
static bool count_times(struct pipeline *p, struct alarm *alarm, struct error *error)
{
    struct span lately = {alarm->episode.start - p->config->chattering_window, alarm->episode.start};
    if (!store_alarms_count(p->store, alarm->station, alarm->rule, lately, &alarm->times, error))
        return false;
    alarm->times++;
    return true;
}

/* One alarm a drop, under its path. */
static bool judge_drops(struct pipeline *p, const struct rule *rule, int64_t now, struct error *error)
{
    struct path_fact *paths;
    size_t n;
    if (!store_paths_unfinished(p->store, p->arena, &paths, &n, error))
        return false;
    struct drop_fact *drops = arena_array(p->arena, n + 1, sizeof *drops);
    if (!parts_keeps_rest(p->config))
        n = 0; /* what waits may be another part's: the first one tells */
    for (size_t k = 0; k < n; k++)
        drops[k] = (struct drop_fact){paths[k].path, paths[k].state, paths[k].since, paths[k].message};
    return judge_facts(p, rule, drops, n, now, error);
}

/* One alarm a recipient. What the receiver answered stays out of it: alarms stand on pages that everybody can read. */
static bool judge_recipients(struct pipeline *p, const struct rule *rule, int64_t now, struct error *error)
{
    const struct teller teller = {p->config, p->store, p->arena};
    struct drop_fact *facts = arena_array(p->arena, p->config->recipient_count + 1, sizeof *facts);
    size_t n = 0;
    for (size_t k = 0; k < p->config->recipient_count; k++) {
        struct delivery_trouble trouble;
        const char *recipient = p->config->recipients[k].id;
        if (!store_delivery_trouble(p->store, recipient, &trouble, error))
            return false;
        if (trouble.since == TIME_NONE)
            continue;
        facts[n++] = (struct drop_fact){
            .path = tell_place_of(&teller, recipient),
            .state = trouble.is_given_up ? DROP_SET_ASIDE : DROP_WAITING,
            .since = trouble.since,
            .message = trouble.is_given_up ? "a notice was given up; 'rillward status' tells why"
                                           : "a notice does not get through; 'rillward status' tells why",
        };
    }
    p->has_delivery_trouble = n > 0;
    qsort(facts, n, sizeof *facts, compare_facts);
    return judge_facts(p, rule, facts, n, now, error);
}

static int compare_facts(const void *a, const void *b)
{
    return strcmp(((const struct drop_fact *)a)->path, ((const struct drop_fact *)b)->path);
}

static bool judge_facts(struct pipeline *p, const struct rule *rule, const struct drop_fact *facts, size_t n,
                        int64_t now, struct error *error)
{
    struct alarm *open;
    size_t open_count;
    if (!store_alarms_of_rule(p->store, rule->id, p->arena, &open, &open_count, error))
        return false;
    for (size_t k = 0; k < n; k++)
        if (facts[k].state == DROP_WAITING)
            look_again_at(p, facts[k].since + rule->window + 1);
    struct drop_episode *found;
    size_t found_count = rules_drop_episodes(p->arena, rule, facts, n, now, &found);
    bool *is_matched = arena_array(p->arena, open_count + 1, sizeof *is_matched);
    for (size_t k = 0; k < found_count; k++) {
        const char *path = facts[found[k].drop].path;
        size_t first = first_of_place(open, open_count, path), count = 0;
        for (; first + count < open_count && strcmp(open[first + count].station, path) == 0; count++)
            is_matched[first + count] = true;
        if (!judge_drop(p, rule, path, open + first, count, &found[k].episode, now, error))
            return false;
    }
    /* And every alarm whose place is in trouble no more. */
    for (size_t k = 0; k < open_count; k++)
        if (!is_matched[k] && !judge_drop(p, rule, open[k].station, &open[k], 1, NULL, now, error))
            return false;
    return true;
}

/* `found` NULL: nothing is wrong with it. */
static bool judge_drop(struct pipeline *p, const struct rule *rule, const char *path, const struct alarm *stored,
                       size_t stored_count, const struct episode *found, int64_t now, struct error *error)
{
    struct subject subject = {.id = path, .data_until = TIME_NONE};
    struct reconcile_input input = {.station = path,
                                    .rule = rule,
                                    .stored = stored,
                                    .stored_count = stored_count,
                                    .found = found,
                                    .found_count = found != NULL,
                                    .window = {TIME_NONE, TIME_FOREVER},
                                    .now = now,
                                    .news_age = p->config->news_age,
                                    .shelved_until = TIME_NONE};
    struct alarm_change *changes;
    if (found && stored_count == 0 && !add_shelf(p, &input, error)) /* only what begins can begin on a shelf */
        return false;
    size_t count = reconcile(p->arena, &input, &changes);
    return store_changes(p, rule, &subject, changes, count, NULL, error);
}

/* Of alarms in the order of their places; where it would stand if there is none. */
static size_t first_of_place(const struct alarm *alarms, size_t n, const char *place)
{
    size_t low = 0, high = n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (strcmp(alarms[middle].station, place) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static bool judge_visits(struct pipeline *p, const struct rule *rule, size_t station, int64_t now, struct error *error)
{
    const char *id = p->config->stations[station].id;
    uint32_t place = p->station_places[station];
    struct subject subject;
    struct row_cache cache = {0};
    struct alarm *stored;
    size_t stored_count;
    int64_t last;
    struct supply supply;
    if (!rule_watches(rule, id))
        return true;
    if (!store_note_before(p->store, place, VISIT_NOTES, TIME_FOREVER, &last, error))
        return false;
    if (last == TIME_NONE)
        return true;
    struct span since = {last, TIME_FOREVER};
    if (!store_alarms_touching(p->store, id, rule->id, since, p->arena, &stored, &stored_count, error))
        return false;
    if (!supplies_now(p, station, &supply, error))
        return false;
    int64_t due = visit_due(rule, last, &supply);
    if (now <= due)
        look_again_at(p, due + 1);
    if (now <= due && stored_count == 0)
        return true;
    return subject_find(p, id, false, place, &subject, error) &&
           judge(p, rule, &subject, (struct span){last, last + 1}, &cache, now, error);
}

static bool judge_silence(struct pipeline *p, const struct rule *rule, const char *id, bool is_barometer,
                          uint32_t place, int64_t now, struct error *error)
{
    struct subject subject;
    struct row_cache cache = {0};
    if (!rule_watches(rule, id))
        return true;
    if (!subject_find(p, id, is_barometer, place, &subject, error))
        return false;
    if (subject.data_until == TIME_NONE)
        return true;
    if (now - subject.data_until <= rule->window) {
        look_again_at(p, subject.data_until + rule->window + 1);
        return true;
    }
    struct span last = {subject.data_until, subject.data_until + 1};
    return judge(p, rule, &subject, last, &cache, now, error);
}

static void look_again_at(struct pipeline *p, int64_t time)
{
    p->next_alarm_look = time < p->next_alarm_look ? time : p->next_alarm_look;
}
