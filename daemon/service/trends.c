/* SPDX-License-Identifier: MIT */
/* What a station's finished values say of its sensors: from the store, because a trend needs weeks that the
 * span in hand does not have. */
#include "service/pipeline.h"

#include "base/timestamp.h"
#include "derive/air.h"
#include "derive/clock_watch.h"
#include "derive/pair.h"
#include "derive/trend.h"

#include <string.h>

#define SERVICE_NOTES (1u << NOTE_CHECK_CLEANED | 1u << NOTE_STANDARD | 1u << NOTE_IN_WATER)

static bool has_mark(struct span marks);
static bool load(struct pipeline *p, size_t station, struct trend_input *ret, struct record *record,
                 struct error *error);
static bool watch_clock(struct pipeline *p, size_t station, const struct record *record, struct span marks,
                        struct findings *findings, struct error *error);
static size_t watched_barometers(struct pipeline *p, size_t station, struct watched_barometer **ret);
static bool tell(struct pipeline *p, uint32_t place, struct span marks, const struct findings *findings,
                 struct span *changed, struct error *error);
static bool is_same_clock(const struct finding *a, const struct finding *b);
static void include(struct span *changed, int64_t time);
static struct span changed_between(const struct check_result *before, size_t before_count,
                                   const struct check_result *after, size_t after_count);

bool trends_derive(struct pipeline *p, size_t station, struct span span, struct span *ret_changed, struct error *error)
{
    uint32_t place = p->station_places[station];
    struct place_fact fact;
    struct record record;
    struct trend_input input;
    struct check_result *checks, *before;
    size_t count, before_count;
    struct findings findings = {0};
    *ret_changed = (struct span){0, 0};
    if (!store_place_find(p->store, p->config->stations[station].id, p->arena, &fact, error))
        return false;
    /* Every week that looks back at the span, up to the first whole one behind the data. */
    input.marks = (struct span){span.from, span.to + TREND_REACH + TREND_WEEK};
    if (input.marks.to > fact.last_time + 1)
        input.marks.to = fact.last_time + 1;
    if (!has_mark(input.marks))
        return true; /* as on six days of seven; nothing stands there either */
    if (!load(p, station, &input, &record, error) || !watch_clock(p, station, &record, input.marks, &findings, error))
        return false;
    trends_find(p->arena, &input, &checks, &count, &findings);
    if (!store_trends_load(p->store, place, input.marks, p->arena, &before, &before_count, error))
        return false;
    *ret_changed = changed_between(before, before_count, checks, count);
    return store_trends_replace(p->store, place, input.marks, checks, count, error) &&
           tell(p, place, input.marks, &findings, ret_changed, error);
}

static bool has_mark(struct span marks)
{
    return pair_week(marks.to - 1) >= marks.from && marks.from < marks.to;
}

static bool load(struct pipeline *p, size_t station, struct trend_input *ret, struct record *record,
                 struct error *error)
{
    uint32_t place = p->station_places[station];
    struct span reach = {ret->marks.from - TREND_REACH - TREND_WEEK, ret->marks.to};
    struct note *notes;
    size_t n;
    if (!store_record_load(p->store, place, reach, p->arena, record, error) ||
        !store_notes_load(p->store, place, SERVICE_NOTES, reach, p->arena, &notes, &n, error))
        return false;
    int64_t *visits = arena_array(p->arena, n + 1, sizeof *visits);
    for (size_t k = 0; k < n; k++)
        visits[k] = notes[k].time;
    ret->record = record;
    ret->utc_offset = p->config->stations[station].utc_offset;
    ret->visits = visits;
    ret->visit_count = n;
    return true;
}

static bool watch_clock(struct pipeline *p, size_t station, const struct record *record, struct span marks,
                        struct findings *findings, struct error *error)
{
    struct clock_watch_input input = {.record = record, .marks = marks};
    struct span reach = {marks.from - CLOCK_WATCH_MOVES - 2 * DAY_MS, marks.to};
    struct note *notes;
    struct watched_barometer *barometers;
    if (!store_notes_load(p->store, p->station_places[station], CLOCK_WATCH_NOTES, reach, p->arena, &notes,
                          &input.note_count, error))
        return false;
    input.notes = notes;
    input.barometer_count = watched_barometers(p, station, &barometers);
    input.barometers = barometers;
    clock_watch_find(p->arena, &input, findings);
    return true;
}

static size_t watched_barometers(struct pipeline *p, size_t station, struct watched_barometer **ret)
{
    const struct station *s = &p->config->stations[station];
    size_t *candidates = arena_array(p->arena, p->config->barometer_count + 1, sizeof *candidates);
    size_t count = air_candidates(p->config, s, candidates);
    *ret = arena_array(p->arena, count + 1, sizeof **ret);
    for (size_t k = 0; k < count; k++) {
        const struct barometer *b = &p->config->barometers[candidates[k]];
        (*ret)[k] = (struct watched_barometer){p->barometer_places[candidates[k]], b->id,
                                               distance_between(s->latitude, s->longitude, b->latitude, b->longitude)};
    }
    return count;
}

/* What is said of clocks has no check beside it: pages hear of it here. */
static bool tell(struct pipeline *p, uint32_t place, struct span marks, const struct findings *findings,
                 struct span *changed, struct error *error)
{
    struct finding *before;
    size_t count;
    if (!store_findings_load(p->store, place, marks, p->arena, &before, &count, error))
        return false;
    for (size_t k = 0; k < findings->count; k++) {
        bool stood = false;
        for (size_t i = 0; i < count; i++)
            stood |= is_same_clock(&before[i], &findings->list[k]);
        if (!stood && FINDINGS_OF_CLOCKS >> findings->list[k].kind & 1)
            include(changed, findings->list[k].span.from);
    }
    for (size_t i = 0; i < count; i++) {
        bool stands = false;
        for (size_t k = 0; k < findings->count; k++)
            stands |= is_same_clock(&before[i], &findings->list[k]);
        if (!stands && FINDINGS_OF_CLOCKS >> before[i].kind & 1)
            include(changed, before[i].span.from);
    }
    return store_findings_replace(p->store, place, FINDINGS_OF_TRENDS, marks, findings->list, findings->count, error);
}

static bool is_same_clock(const struct finding *a, const struct finding *b)
{
    return a->kind == b->kind && a->span.from == b->span.from && strcmp(a->text, b->text) == 0;
}

static void include(struct span *changed, int64_t time)
{
    bool is_empty = changed->from >= changed->to;
    changed->from = is_empty || time < changed->from ? time : changed->from;
    changed->to = is_empty || time + 1 > changed->to ? time + 1 : changed->to;
}

/* From the first to behind the last that is not as it was; empty where all are. */
static struct span changed_between(const struct check_result *a, size_t a_count, const struct check_result *b,
                                   size_t b_count)
{
    size_t i = 0, j = 0;
    struct span changed = {TIME_FOREVER, 0};
    while (i < a_count || j < b_count) {
        bool is_pair = i < a_count && j < b_count && a[i].time == b[j].time && a[i].kind == b[j].kind;
        bool takes_a = is_pair || j == b_count ||
                       (i < a_count && (a[i].time < b[j].time || (a[i].time == b[j].time && a[i].kind < b[j].kind)));
        int64_t time = takes_a ? a[i].time : b[j].time;
        bool is_same = is_pair && a[i].difference == b[j].difference && a[i].sensor == b[j].sensor;
        i += takes_a;
        j += is_pair || !takes_a;
        if (is_same)
            continue;
        changed.from = time < changed.from ? time : changed.from;
        changed.to = time + 1 > changed.to ? time + 1 : changed.to;
    }
    return changed.from < changed.to ? changed : (struct span){0, 0};
}
