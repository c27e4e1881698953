/* SPDX-License-Identifier: MIT */
#include "service/supplies.h"

#include "alarms/supply.h"
#include "base/timestamp.h"
#include "service/subject.h"

#include <stdlib.h>

#define PUT_IN_NOTES (1u << NOTE_IN_WATER | INSTRUMENT_NOTES)
#define BATTERY_NOTES (1u << NOTE_BATTERY | INSTRUMENT_NOTES)

/* What the notes say, and what came of it. */
struct supply_memo {
    bool is_known;
    int64_t visit, memory_since, battery_since;
    struct supply supply;
};

static bool find_notes(struct pipeline *p, size_t station, int64_t visit, struct supply_memo *ret, struct error *error);
static bool reckon(struct pipeline *p, size_t station, const struct supply_memo *notes, int64_t next,
                   struct arena *arena, struct supply *ret, struct error *error);
static bool load_rows(struct pipeline *p, size_t station, int64_t next, struct arena *arena, struct record *ret,
                      struct error *error);

static const struct supply nothing = {TIME_FOREVER, TIME_FOREVER};

bool supplies_are_known(const struct station *station)
{
    return station->memory_samples > 0 || station->battery_lasts > 0 || station->battery_limit > 0;
}

bool supplies_between(struct pipeline *p, size_t station, int64_t visit, int64_t next, struct supply *ret,
                      struct error *error)
{
    struct supply_memo notes;
    *ret = nothing;
    if (visit == TIME_NONE || !supplies_are_known(&p->config->stations[station]))
        return true;
    if (!find_notes(p, station, visit, &notes, error))
        return false;
    CLEANUP(cleanup_arena) struct arena *arena = arena_new(); /* a year of visits must not keep all their rows */
    return reckon(p, station, &notes, next, arena, ret, error);
}

bool supplies_now(struct pipeline *p, size_t station, struct supply *ret, struct error *error)
{
    int64_t visit;
    struct supply_memo notes;
    *ret = nothing;
    if (!supplies_are_known(&p->config->stations[station]))
        return true;
    if (!store_note_before(p->store, p->station_places[station], VISIT_NOTES, TIME_FOREVER, &visit, error))
        return false;
    if (visit == TIME_NONE)
        return true;
    if (!find_notes(p, station, visit, &notes, error))
        return false;
    if (!p->supplies)
        p->supplies = x_array(p->config->station_count, sizeof *p->supplies);
    struct supply_memo *memo = &p->supplies[station];
    bool is_same = memo->is_known && memo->visit == notes.visit && memo->memory_since == notes.memory_since &&
                   memo->battery_since == notes.battery_since;
    if (!is_same) {
        CLEANUP(cleanup_arena) struct arena *arena = arena_new();
        if (!reckon(p, station, &notes, TIME_NONE, arena, &notes.supply, error))
            return false;
        notes.is_known = true;
        *memo = notes;
    }
    *ret = memo->supply;
    return true;
}

void supplies_forget(struct pipeline *p, const char *id)
{
    size_t station = config_find_station(p->config, id);
    if (p->supplies && station < p->config->station_count)
        p->supplies[station].is_known = false;
}

void supplies_done(struct pipeline *p)
{
    free(p->supplies);
    p->supplies = NULL;
}

static bool find_notes(struct pipeline *p, size_t station, int64_t visit, struct supply_memo *ret, struct error *error)
{
    uint32_t place = p->station_places[station];
    *ret = (struct supply_memo){.visit = visit};
    if (!store_note_before(p->store, place, PUT_IN_NOTES, visit + 1, &ret->memory_since, error) ||
        !store_note_before(p->store, place, BATTERY_NOTES, visit + 1, &ret->battery_since, error))
        return false;
    if (ret->memory_since == TIME_NONE)
        ret->memory_since = visit;
    return ret->battery_since != TIME_NONE || store_reading_after(p->store, place, 0, &ret->battery_since, error);
}

static bool reckon(struct pipeline *p, size_t station, const struct supply_memo *notes, int64_t next,
                   struct arena *arena, struct supply *ret, struct error *error)
{
    const struct station *s = &p->config->stations[station];
    struct record record = {.n = 0};
    bool wants_rows = s->battery_limit > 0 || (s->memory_samples > 0 && s->interval == 0);
    if (wants_rows && !load_rows(p, station, next, arena, &record, error))
        return false;
    int64_t interval = s->interval > 0 ? s->interval : supply_interval(arena, &record);
    const struct supply_stock stock = {.memory_since = notes->memory_since,
                                       .memory_lasts = s->memory_samples * interval,
                                       .battery_since = notes->battery_since,
                                       .battery_lasts = s->battery_lasts,
                                       .battery_limit = s->battery_limit,
                                       .record = &record};
    *ret = supply_reckon(&stock);
    return true;
}

/* The last days before the next visit: a day tells the interval. */
static bool load_rows(struct pipeline *p, size_t station, int64_t next, struct arena *arena, struct record *ret,
                      struct error *error)
{
    uint32_t place = p->station_places[station];
    int64_t last, back = p->config->stations[station].battery_limit > 0 ? SUPPLY_LOOKS_BACK : DAY_MS;
    if (!store_reading_before(p->store, place, next == TIME_NONE ? TIME_FOREVER : next, &last, error))
        return false;
    return last == TIME_NONE ||
           store_record_load(p->store, place, (struct span){last - back, last + 1}, arena, ret, error);
}
