/* SPDX-License-Identifier: MIT */
/* From changed values to alarms and notices, all in the transaction that changed the values. */
#include "alarms/reconcile.h"
#include "alarms/rules.h"
#include "base/timestamp.h"
#include "service/pipeline.h"

#include <ctype.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* The place that rules look at. */
struct subject {
    const char *id, *name;
    uint32_t place;
    bool is_barometer;
    int64_t utc_offset;
    int64_t data_until; /* last reading; TIME_NONE */
};

/* Finished values read once and widened only when a rule asks for more. */
struct row_cache {
    struct span span;
    struct record record;
    struct check_result *checks;
    size_t check_count;
};

static bool find_subject(struct pipeline *p, const char *id, bool is_barometer, uint32_t place, struct subject *ret,
                         struct error *error);
static bool judge(struct pipeline *p, const struct rule *rule, const struct subject *subject, struct span span,
                  struct row_cache *cache, int64_t now, struct error *error);
static bool load_rows(struct pipeline *p, const struct subject *subject, struct span window, struct row_cache *cache,
                      struct error *error);
static bool view_rows(struct pipeline *p, const struct subject *subject, struct span window, struct row_cache *cache,
                      struct record *rows, struct rule_view *view, struct error *error);
static bool store_changes(struct pipeline *p, const struct rule *rule, const struct subject *subject,
                          struct alarm_change *changes, size_t n, struct error *error);
static bool put_notices(struct pipeline *p, const struct rule *rule, const struct subject *subject,
                        const struct alarm_change *change, struct error *error);
static const char *notice_uid(struct pipeline *p, const struct alarm *alarm, const char *recipient);
static void fill_values(const struct rule *rule, struct notice *notice);
static bool judge_drops(struct pipeline *p, const struct rule *rule, int64_t now, struct error *error);
static bool judge_silence(struct pipeline *p, const struct rule *rule, const char *id, bool is_barometer, uint32_t place,
                          int64_t now, struct error *error);
static void look_again_at(struct pipeline *p, int64_t time);

bool announce_span(struct pipeline *p, const char *id, uint32_t place, bool is_barometer, struct span span, int64_t now,
                   struct error *error)
{
    struct subject subject;
    struct row_cache cache = {0};
    if (!find_subject(p, id, is_barometer, place, &subject, error))
        return false;
    for (size_t r = 0; r < p->config->rule_count; r++) {
        const struct rule *rule = &p->config->rules[r];
        bool fits = rule->kind == RULE_SILENCE || (!is_barometer && rule->kind != RULE_UNREADABLE_DROP);
        if (fits && rule_watches(rule, id) && !judge(p, rule, &subject, span, &cache, now, error))
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
        if (rule->kind != RULE_SILENCE)
            continue;
        for (size_t i = 0; ok && i < p->config->station_count; i++)
            ok = judge_silence(p, rule, p->config->stations[i].id, false, p->station_places[i], now, error);
        for (size_t i = 0; ok && i < p->config->barometer_count; i++)
            ok = judge_silence(p, rule, p->config->barometers[i].id, true, p->barometer_places[i], now, error);
    }
    if (ok && store_commit(p->store, error))
        return true;
    store_rollback(p->store);
    p->next_alarm_look = TIME_NONE;
    return false;
}

static bool find_subject(struct pipeline *p, const char *id, bool is_barometer, uint32_t place, struct subject *ret,
                         struct error *error)
{
    struct place_fact fact;
    if (!store_place_find(p->store, id, p->arena, &fact, error))
        return false;
    *ret = (struct subject){.id = id, .name = id, .place = place, .is_barometer = is_barometer,
                            .data_until = fact.last_time};
    if (is_barometer) {
        const struct barometer *b = &p->config->barometers[config_find_barometer(p->config, id)];
        ret->name = b->name;
        ret->utc_offset = b->utc_offset;
    } else {
        const struct station *s = &p->config->stations[config_find_station(p->config, id)];
        ret->name = s->name;
        ret->utc_offset = s->utc_offset;
    }
    return true;
}

static bool judge(struct pipeline *p, const struct rule *rule, const struct subject *subject, struct span span,
                  struct row_cache *cache, int64_t now, struct error *error)
{
    struct span window = {span.from - rules_lead_in(rule), span.to + rules_lead_out(rule)};
    struct alarm *stored;
    size_t stored_count, found_count;
    struct episode *found;
    struct rule_view view;
    do {
        struct record rows;
        view = (struct rule_view){.rule = rule, .now = now};
        if (!store_alarms_touching(p->store, subject->id, rule->id, window, p->arena, &stored, &stored_count, error) ||
            !view_rows(p, subject, window, cache, &rows, &view, error))
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
                                    .news_age = p->config->news_age};
    struct alarm_change *changes;
    size_t n = reconcile(p->arena, &input, &changes);
    return store_changes(p, rule, subject, changes, n, error);
}

/* Rows of a barometer are its readings: rules that look at it (silence) look at times only. */
static bool load_rows(struct pipeline *p, const struct subject *subject, struct span window, struct row_cache *cache,
                      struct error *error)
{
    bool is_loaded = cache->record.time || cache->checks;
    if (is_loaded && window.from >= cache->span.from && window.to <= cache->span.to)
        return true;
    struct span wide = window;
    if (is_loaded) {
        wide.from = cache->span.from < wide.from ? cache->span.from : wide.from;
        wide.to = cache->span.to > wide.to ? cache->span.to : wide.to;
    }
    cache->span = wide;
    if (!subject->is_barometer)
        return store_record_load(p->store, subject->place, wide, p->arena, &cache->record, error) &&
               store_checks_load(p->store, subject->place, wide, p->arena, &cache->checks, &cache->check_count, error);
    struct readings readings;
    if (!store_readings_load(p->store, subject->place, wide, p->arena, &readings, error))
        return false;
    record_init(&cache->record, p->arena, readings.n, 0);
    if (readings.n > 0)
        memcpy(cache->record.time, readings.time, readings.n * sizeof *readings.time);
    return true;
}

static bool view_rows(struct pipeline *p, const struct subject *subject, struct span window, struct row_cache *cache,
                      struct record *rows, struct rule_view *view, struct error *error)
{
    if (!load_rows(p, subject, window, cache, error))
        return false;
    *rows = record_between(&cache->record, window.from, window.to);
    view->record = rows;
    size_t first = 0;
    while (first < cache->check_count && cache->checks[first].time < window.from)
        first++;
    size_t last = first;
    while (last < cache->check_count && cache->checks[last].time < window.to)
        last++;
    view->checks = cache->checks ? cache->checks + first : NULL;
    view->check_count = last - first;
    int64_t low = rows->n > 0 ? rows->time[0] : window.from, high = rows->n > 0 ? rows->time[rows->n - 1] + 1 : window.from;
    return store_reading_before(p->store, subject->place, low, &view->before, error) &&
           store_reading_after(p->store, subject->place, high, &view->after, error);
}

static bool store_changes(struct pipeline *p, const struct rule *rule, const struct subject *subject,
                          struct alarm_change *changes, size_t n, struct error *error)
{
    for (size_t k = 0; k < n; k++) {
        struct alarm_change *change = &changes[k];
        const char *what = change->announce              ? notice_event_word(change->event)
                           : change->what == ALARM_NEW   ? "recorded as old news"
                                                         : NULL;
        if (!store_alarm_put(p->store, &change->alarm, "rillward", what, error))
            return false;
        if (change->announce && !put_notices(p, rule, subject, change, error))
            return false;
    }
    /* The stations' alarms stand in the network's own files, which time alone can make untrue. */
    bool is_shown = n > 0 && subject->place != 0 && !subject->is_barometer;
    return !is_shown || store_manifest_due(p->store, 0, error);
}

static bool put_notices(struct pipeline *p, const struct rule *rule, const struct subject *subject,
                        const struct alarm_change *change, struct error *error)
{
    for (size_t k = 0; k < rule->tell.count; k++) {
        struct notice notice = {
            .uid = notice_uid(p, &change->alarm, rule->tell.words[k]),
            .recipient = rule->tell.words[k],
            .event = change->event,
            .created = change->alarm.changed,
            .alarm = change->alarm,
            .priority = rule->priority,
            .station_name = subject->name,
            .rule_title = rule->title,
            .advice = rule->advice,
            .rule_kind = rule_kind_word(rule->kind),
            .utc_offset = subject->utc_offset,
            .data_until = subject->data_until,
        };
        fill_values(rule, &notice);
        if (!store_notice_add(p->store, &notice, error))
            return false;
    }
    return true;
}

/* The same over all attempts, and never the same for another notice: also not after the database was lost and made anew. */
static const char *notice_uid(struct pipeline *p, const struct alarm *alarm, const char *recipient)
{
    char *uid = arena_printf(p->arena, "%s-%" PRId64 "-%" PRId64 "-%s-%" PRIx64, p->config->network_id, alarm->id,
                             alarm->sequence, recipient, (uint64_t)alarm->changed);
    for (char *c = uid; *c; c++)
        if (!isalnum((unsigned char)*c) && *c != '-')
            *c = '-';
    return uid;
}

/* Values as people read them: the quantity's written unit; days for silence, hours for a drop that waits. */
static void fill_values(const struct rule *rule, struct notice *notice)
{
    const struct episode *e = &notice->alarm.episode;
    notice->unit = notice->quantity = "";
    if (rule->quantity < QUANTITY_COUNT) {
        const struct quantity_info *info = quantity_info(rule->quantity);
        notice->unit = info->unit;
        notice->quantity = info->key;
        notice->decimals = info->decimals > 2 ? 2 : info->decimals;
        notice->limit = rule->limit * info->scale;
        notice->worst = e->worst * info->scale;
        notice->last = e->last * info->scale;
        return;
    }
    bool in_days = rule->kind == RULE_SILENCE;
    double unit = (double)(in_days ? DAY_MS : HOUR_MS);
    notice->unit = in_days ? "d" : "h";
    notice->decimals = 1;
    notice->limit = (double)rule->window / unit;
    notice->worst = e->worst / unit;
    notice->last = e->last / unit;
}

/* One alarm a drop, under its path. */
static bool judge_drops(struct pipeline *p, const struct rule *rule, int64_t now, struct error *error)
{
    struct path_fact *paths;
    struct alarm *open;
    size_t n, open_count;
    if (!store_paths_unfinished(p->store, p->arena, &paths, &n, error) ||
        !store_alarms_of_rule(p->store, rule->id, p->arena, &open, &open_count, error))
        return false;
    struct drop_fact *drops = arena_array(p->arena, n + 1, sizeof *drops);
    for (size_t k = 0; k < n; k++) {
        drops[k] = (struct drop_fact){paths[k].path, paths[k].state, paths[k].since, paths[k].message};
        if (paths[k].state == DROP_WAITING)
            look_again_at(p, paths[k].since + rule->window + 1);
    }
    struct drop_episode *found;
    size_t found_count = rules_drop_episodes(p->arena, rule, drops, n, now, &found);
    bool *is_matched = arena_array(p->arena, open_count + 1, sizeof *is_matched);
    for (size_t k = 0; k < found_count + open_count; k++) {
        /* First every drop in trouble, then every alarm whose drop is in trouble no more. */
        bool is_found = k < found_count;
        if (!is_found && is_matched[k - found_count])
            continue;
        const char *path = is_found ? drops[found[k].drop].path : open[k - found_count].station;
        struct alarm stored[1];
        size_t stored_count = 0;
        for (size_t m = 0; m < open_count; m++)
            if (strcmp(open[m].station, path) == 0 && stored_count == 0) {
                stored[stored_count++] = open[m];
                is_matched[m] = true;
            }
        struct subject subject = {.id = path, .name = path, .data_until = TIME_NONE};
        struct reconcile_input input = {.station = path,
                                        .rule = rule,
                                        .stored = stored,
                                        .stored_count = stored_count,
                                        .found = is_found ? &found[k].episode : NULL,
                                        .found_count = is_found,
                                        .window = {TIME_NONE, TIME_FOREVER},
                                        .now = now,
                                        .news_age = p->config->news_age};
        struct alarm_change *changes;
        size_t count = reconcile(p->arena, &input, &changes);
        if (!store_changes(p, rule, &subject, changes, count, error))
            return false;
    }
    return true;
}

static bool judge_silence(struct pipeline *p, const struct rule *rule, const char *id, bool is_barometer, uint32_t place,
                          int64_t now, struct error *error)
{
    struct subject subject;
    struct row_cache cache = {0};
    if (!rule_watches(rule, id))
        return true;
    if (!find_subject(p, id, is_barometer, place, &subject, error))
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
