/* SPDX-License-Identifier: MIT */
#include "service/subject.h"

#include "alarms/tide.h"
#include "base/timestamp.h"
#include "service/supplies.h"

#include <math.h>
#include <string.h>

#define LONGEST_LOOK (65536 * DAY_MS) /* behind the time that a change is counted from, for its first value */

static bool find_base(struct pipeline *p, const struct subject *subject, struct span span, struct span *window,
                      struct rule_view *view, struct error *error);
static bool view_visits(struct pipeline *p, const struct subject *subject, struct span window, struct rule_view *view,
                        struct error *error);
static bool view_supplies(struct pipeline *p, const struct subject *subject, struct rule_view *view,
                          struct error *error);
static bool load_rows(struct pipeline *p, const struct subject *subject, struct span window, struct row_cache *cache,
                      struct error *error);
static bool view_rows(struct pipeline *p, const struct subject *subject, struct span window, struct row_cache *cache,
                      struct record *rows, struct rule_view *view, struct error *error);
static const uint8_t *stages_of(struct arena *arena, const struct record *loaded, struct span window);
static int64_t add_time(int64_t time, int64_t duration);

bool subject_find(struct pipeline *p, const char *id, bool is_barometer, uint32_t place, struct subject *ret,
                  struct error *error)
{
    struct place_fact fact;
    if (!store_place_find(p->store, id, p->arena, &fact, error))
        return false;
    *ret = (struct subject){.id = id, .place = place, .is_barometer = is_barometer, .data_until = fact.last_time};
    ret->utc_offset = is_barometer ? p->config->barometers[config_find_barometer(p->config, id)].utc_offset
                                   : p->config->stations[config_find_station(p->config, id)].utc_offset;
    return true;
}

/* A barometer has times, and few quantities: for those it is watched where a rule names it, for its battery always. */
bool subject_suits(const struct rule *rule, bool is_barometer)
{
    if (rule->kind == RULE_UNREADABLE_DROP || rule->kind == RULE_UNDELIVERED)
        return false;
    if (!is_barometer || rule->kind == RULE_SILENCE || rule->kind == RULE_GAP)
        return true;
    bool is_in_air = rule->quantity == QUANTITY_AIR_PRESSURE || rule->quantity == QUANTITY_AIR_TEMPERATURE;
    return rule->quantity == QUANTITY_BATTERY || (is_in_air && rule->stations.count > 0);
}

bool subject_view(struct pipeline *p, const struct subject *subject, const struct rule *rule, struct span changed,
                  int64_t now, struct span *window, struct row_cache *cache, struct record *rows, struct rule_view *ret,
                  struct error *error)
{
    *ret = (struct rule_view){.rule = rule, .base = NAN, .utc_offset = subject->utc_offset, .now = now};
    return find_base(p, subject, changed, window, ret, error) && view_visits(p, subject, *window, ret, error) &&
           view_rows(p, subject, *window, cache, rows, ret, error);
}

/* What a change is counted from: the window is drawn out to whole stretches between visits; or, from a given time, the
 * value then is looked up, and a change before or at it acts on all that follows. */
static bool find_base(struct pipeline *p, const struct subject *subject, struct span span, struct span *window,
                      struct rule_view *view, struct error *error)
{
    const struct rule *rule = view->rule;
    if (rule->kind != RULE_CHANGE)
        return true;
    if (rule->since == TIME_NONE) {
        int64_t before, after;
        if (!store_note_before(p->store, subject->place, VISIT_NOTES, window->from + 1, &before, error) ||
            !store_note_after(p->store, subject->place, VISIT_NOTES, window->to, &after, error))
            return false;
        window->from = before == TIME_NONE ? window->from : before;
        window->to = after == TIME_NONE ? TIME_FOREVER : after;
        return true;
    }
    int64_t base_time = TIME_NONE;
    for (int64_t stretch = DAY_MS;
         base_time == TIME_NONE && rule->since + stretch / 2 < window->to && stretch <= LONGEST_LOOK; stretch *= 2) {
        struct record rows;
        struct span from_base = {rule->since, rule->since + stretch};
        if (!store_record_load(p->store, subject->place, from_base, p->arena, &rows, error))
            return false;
        base_time = rules_base(rule, &rows, &view->base);
    }
    if (base_time == TIME_NONE || span.from <= base_time)
        window->to = TIME_FOREVER;
    return true;
}

static bool view_visits(struct pipeline *p, const struct subject *subject, struct span window, struct rule_view *view,
                        struct error *error)
{
    struct note *notes;
    size_t n;
    view->visit_before = view->visit_after = TIME_NONE;
    if (!rules_kind_info(view->rule->kind)->looks_at_visits)
        return true;
    if (!store_notes_load(p->store, subject->place, VISIT_NOTES, window, p->arena, &notes, &n, error) ||
        !store_note_before(p->store, subject->place, VISIT_NOTES, window.from, &view->visit_before, error) ||
        (window.to != TIME_FOREVER &&
         !store_note_after(p->store, subject->place, VISIT_NOTES, window.to, &view->visit_after, error)))
        return false;
    int64_t *visits = arena_array(p->arena, n, sizeof *visits);
    for (size_t k = 0; k < n; k++)
        visits[k] = notes[k].time;
    view->visits = visits;
    view->visit_count = n;
    return view->rule->kind != RULE_VISIT_DUE || view_supplies(p, subject, view, error);
}

static bool view_supplies(struct pipeline *p, const struct subject *subject, struct rule_view *view,
                          struct error *error)
{
    size_t station = config_find_station(p->config, subject->id);
    if (station == p->config->station_count || !supplies_are_known(&p->config->stations[station]))
        return true;
    struct supply *supplies = arena_array(p->arena, view->visit_count + 1, sizeof *supplies);
    for (size_t k = 0; k <= view->visit_count; k++) {
        int64_t visit = k > 0 ? view->visits[k - 1] : view->visit_before;
        int64_t next = k < view->visit_count ? view->visits[k] : view->visit_after;
        bool ok = next == TIME_NONE ? supplies_now(p, station, &supplies[k], error)
                                    : supplies_between(p, station, visit, next, &supplies[k], error);
        if (!ok)
            return false;
    }
    view->supplies = supplies;
    return true;
}

/* Rows of a barometer are its readings, as they came. */
static bool load_rows(struct pipeline *p, const struct subject *subject, struct span window, struct row_cache *cache,
                      struct error *error)
{
    bool is_loaded = cache->record.time || cache->checks;
    if (is_loaded && window.from >= cache->span.from && window.to <= cache->span.to)
        return true;
    struct span wide = window, known = is_loaded ? cache->span : cache->wish;
    if (known.from < known.to) {
        wide.from = known.from < wide.from ? known.from : wide.from;
        wide.to = known.to > wide.to ? known.to : wide.to;
    }
    cache->span = wide;
    if (!subject->is_barometer)
        return store_record_load(p->store, subject->place, wide, p->arena, &cache->record, error) &&
               store_checks_load(p->store, subject->place, wide, p->arena, &cache->checks, &cache->check_count, error);
    struct readings readings;
    if (!store_readings_load(p->store, subject->place, wide, p->arena, &readings, error) ||
        !store_checks_load(p->store, subject->place, wide, p->arena, &cache->checks, &cache->check_count, error))
        return false;
    uint32_t columns = readings_columns(&readings);
    record_init(&cache->record, p->arena, readings.n, columns);
    for (enum quantity q = 0; readings.n > 0 && q < QUANTITY_COUNT; q++)
        if (columns & 1u << q)
            memcpy(cache->record.value[q], readings.value[q], readings.n * sizeof *readings.value[q]);
    if (readings.n > 0)
        memcpy(cache->record.time, readings.time, readings.n * sizeof *readings.time);
    return true;
}

static bool view_rows(struct pipeline *p, const struct subject *subject, struct span window, struct row_cache *cache,
                      struct record *rows, struct rule_view *view, struct error *error)
{
    if (view->rule->kind == RULE_VISIT_DUE) { /* no row matters; what follows is the next visit */
        view->before = TIME_NONE;
        view->after = view->visit_after;
        return true;
    }
    struct span wide = tide_is_asked(view->rule)
                           ? (struct span){add_time(window.from, -TIDE_BEHIND), add_time(window.to, TIDE_AHEAD_OF_ALL)}
                           : window;
    if (!load_rows(p, subject, wide, cache, error))
        return false;
    *rows = record_between(&cache->record, window.from, window.to);
    view->record = rows;
    if (tide_is_asked(view->rule))
        view->stages = stages_of(p->arena, &cache->record, window);
    size_t first = 0;
    while (first < cache->check_count && cache->checks[first].time < window.from)
        first++;
    size_t last = first;
    while (last < cache->check_count && cache->checks[last].time < window.to)
        last++;
    view->checks = cache->checks ? cache->checks + first : NULL;
    view->check_count = last - first;
    int64_t low = rows->n > 0 ? rows->time[0] : window.from,
            high = rows->n > 0 ? rows->time[rows->n - 1] + 1 : window.from;
    return store_reading_before(p->store, subject->place, low, &view->before, error) &&
           store_reading_after(p->store, subject->place, high, &view->after, error);
}

/* Of the rows of the window, by the levels around it too: so they are the same through whatever window. */
static const uint8_t *stages_of(struct arena *arena, const struct record *loaded, struct span window)
{
    struct record around =
        record_between(loaded, add_time(window.from, -TIDE_BEHIND), add_time(window.to, TIDE_AHEAD_OF_ALL));
    return tide_stages(arena, &around) + record_at_or_after(&around, window.from);
}

/* Stays at the ends of time. */
static int64_t add_time(int64_t time, int64_t duration)
{
    int64_t sum;
    if (time == TIME_NONE || time == TIME_FOREVER)
        return time;
    return __builtin_add_overflow(time, duration, &sum) ? (duration > 0 ? TIME_FOREVER : TIME_NONE) : sum;
}
