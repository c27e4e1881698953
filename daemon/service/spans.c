/* SPDX-License-Identifier: MIT */
/* Which spans a new fact makes dirty. Everything that changes a value ends here, and nothing else derives. */
#include "service/pipeline.h"

#include "base/timestamp.h"
#include "derive/correct.h"
#include "derive/derive.h"
#include "derive/reference.h"
#include "derive/water.h"
#include "derive/zero.h"
#include "quality/quality.h"

/* Notes that act on the rows from one to the next. */
struct tie {
    uint32_t kinds;
    int looks;     /* how many notes on each side are touched */
    int64_t reach; /* samples so near to one shape it */
    int64_t visit; /* notes so near to each other act together */
};

static bool clamp_to_data(struct pipeline *p, size_t station, struct span *span, bool *ret_is_empty,
                          struct error *error);
static bool widen(struct pipeline *p, size_t station, struct span *span, struct error *error);
static bool widen_to(struct pipeline *p, uint32_t place, struct tie tie, struct span *span, struct error *error);
static bool mark_strangers(struct pipeline *p, uint32_t place, const struct note *note, int64_t to,
                           struct error *error);
static bool add(struct pipeline *p, size_t station, struct span span, struct error *error);
static bool add_one(struct pipeline *p, size_t station, struct span span, struct error *error);

/* Later samples look back at these, the one before looks ahead at them, and where they stand around a hand reading
 * they move the level on both sides of it. */
bool spans_dirty_by_readings(struct pipeline *p, size_t station, struct span changed, struct error *error)
{
    struct span span = {changed.from - quality_lead_out(),
                        changed.to + quality_lead_in(p->config, &p->config->stations[station])};
    struct span tied = changed;
    if (!widen(p, station, &tied, error))
        return false;
    span.from = tied.from < span.from ? tied.from : span.from;
    span.to = tied.to > span.to ? tied.to : span.to;
    return add(p, station, span, error);
}

bool spans_dirty_by_barometer(struct pipeline *p, size_t barometer, struct span changed, struct error *error)
{
    size_t *candidates = arena_array(p->arena, p->config->barometer_count + 1, sizeof *candidates);
    for (size_t station = 0; station < p->config->station_count; station++) {
        size_t count = air_candidates(p->config, &p->config->stations[station], candidates);
        bool uses = false;
        for (size_t k = 0; k < count; k++)
            uses |= candidates[k] == barometer;
        if (uses && !spans_dirty_by_readings(p, station, changed, error))
            return false;
    }
    return true;
}

bool spans_dirty_by_air(struct pipeline *p, size_t barometer, struct span changed, struct error *error)
{
    int64_t reach = derive_air_reach(p->config);
    if (!spans_dirty_by_barometer(p, barometer, (struct span){changed.from - reach, changed.to + reach}, error))
        return false;
    for (size_t other = 0; other < p->config->barometer_count; other++) { /* those that are compared with it */
        size_t beside[2], n = barometers_beside(p->config, other, COUNT_OF(beside), beside);
        for (size_t k = 0; k < n; k++)
            if (beside[k] == barometer && !store_dirty_add(p->store, p->barometer_places[other], changed, error))
                return false;
    }
    /* The barometer itself is looked at too: its own silence is somebody's business. */
    return store_dirty_add(p->store, p->barometer_places[barometer], changed, error);
}

bool spans_dirty_by_note(struct pipeline *p, size_t station, const struct note *note, struct error *error)
{
    uint32_t place = p->station_places[station], bit = 1u << note->kind;
    struct span span = {note->time - HOUR_MS, note->time + HOUR_MS}; /* checks look at the samples around them */
    if (note->kind == NOTE_STRIKE || note->kind == NOTE_RESTORE || note->kind == NOTE_REVIEWED) {
        span.to = note->until > note->time ? note->until : span.to;
    } else if (bit &
               (MOVE_NOTES | CLOCK_NOTES | INSTRUMENT_NOTES)) { /* these act from one note of their kind to the next */
        uint32_t kinds = bit & MOVE_NOTES ? MOVE_NOTES : bit;
        int64_t before, after;
        if (!store_note_before(p->store, place, kinds, note->time, &before, error) ||
            !store_note_after(p->store, place, kinds, note->time + 1, &after, error))
            return false;
        span.from = before == TIME_NONE ? 0 : before - HOUR_MS;
        span.to = after == TIME_NONE ? TIME_FOREVER : after + HOUR_MS;
    }
    if (bit & INSTRUMENT_NOTES && !mark_strangers(p, place, note, span.to, error))
        return false;
    if (bit & (LEVEL_NOTES | MOVE_NOTES | CLOCK_NOTES | CHECK_NOTES | INSTRUMENT_NOTES) &&
        !widen(p, station, &span, error))
        return false;
    return add(p, station, span, error);
}

/* Files of this instrument at other stations are no longer, or now, of one that is noted elsewhere. */
static bool mark_strangers(struct pipeline *p, uint32_t place, const struct note *note, int64_t to, struct error *error)
{
    uint32_t *places;
    size_t n;
    if (!store_places_of_serial(p->store, note->text, p->arena, &places, &n, error))
        return false;
    for (size_t k = 0; k < n; k++) {
        size_t station = pipeline_station_of(p, places[k]);
        if (places[k] != place && station < p->config->station_count &&
            !add(p, station, (struct span){note->time, to}, error))
            return false;
    }
    return true;
}

/* Hand readings tie the level, and checks correct the sensors, from one visit to the next: where a span touches one, it
 * reaches from the one before to the one after; a hand reading also decides whether its neighbours can be right. */
static bool widen(struct pipeline *p, size_t station, struct span *span, struct error *error)
{
    uint32_t place = p->station_places[station];
    const struct tie ties[] = {{LEVEL_NOTES, 1 + READING_NEIGHBOURS, REFERENCE_REACH, 0},
                               {CHECK_NOTES, 1, REFERENCE_REACH, VISIT_LENGTH},
                               {MOVE_NOTES, 1, ZERO_REACH, 0}};
    bool corrects_zero = p->config->stations[station].zero_correction != ZERO_NONE;
    struct span wide = *span;
    for (size_t k = 0; k < COUNT_OF(ties) - !corrects_zero; k++) {
        struct span tied = *span;
        if (!widen_to(p, place, ties[k], &tied, error))
            return false;
        wide.from = tied.from < wide.from ? tied.from : wide.from;
        wide.to = tied.to > wide.to ? tied.to : wide.to;
    }
    *span = wide;
    return true;
}

static bool widen_to(struct pipeline *p, uint32_t place, struct tie tie, struct span *span, struct error *error)
{
    uint32_t kinds = tie.kinds;
    int64_t visit = tie.visit;
    int64_t low = span->from - tie.reach, high = span->to == TIME_FOREVER ? span->to : span->to + tie.reach;
    int64_t first, before, last, after;
    if (!store_note_after(p->store, place, kinds, low, &first, error))
        return false;
    if (first == TIME_NONE || first >= high)
        return true;
    if (!store_note_before(p->store, place, kinds, high, &last, error))
        return false;
    before = first;
    after = last;
    for (int k = 0; k < tie.looks; k++)
        if ((before != TIME_NONE && !store_note_before(p->store, place, kinds, before - visit, &before, error)) ||
            (after != TIME_NONE && !store_note_after(p->store, place, kinds, after + visit + 1, &after, error)))
            return false;
    int64_t from = before == TIME_NONE ? 0 : before - tie.reach;
    int64_t to = after == TIME_NONE ? TIME_FOREVER : after + tie.reach + visit;
    span->from = from < span->from ? from : span->from;
    span->to = to > span->to ? to : span->to;
    return true;
}

/* The station itself, and those that are held against it. */
static bool add(struct pipeline *p, size_t station, struct span span, struct error *error)
{
    if (!add_one(p, station, span, error))
        return false;
    for (size_t k = 0; k < p->config->neighbourhood_count; k++) {
        const struct neighbourhood *pair = &p->config->neighbourhoods[k];
        struct span near = {span.from - pair->reach, span.to == TIME_FOREVER ? span.to : span.to + pair->reach};
        if (pair->neighbour == station && !add_one(p, pair->station, near, error))
            return false;
    }
    return true;
}

static bool add_one(struct pipeline *p, size_t station, struct span span, struct error *error)
{
    bool is_empty;
    if (!clamp_to_data(p, station, &span, &is_empty, error))
        return false;
    return is_empty || store_dirty_add(p->store, p->station_places[station], span, error);
}

static bool clamp_to_data(struct pipeline *p, size_t station, struct span *span, bool *ret_is_empty,
                          struct error *error)
{
    struct place_fact fact;
    if (!store_place_find(p->store, p->config->stations[station].id, p->arena, &fact, error))
        return false;
    *ret_is_empty = fact.first_time == TIME_NONE;
    if (*ret_is_empty)
        return true;
    span->from = span->from < fact.first_time ? fact.first_time : span->from;
    span->to = span->to > fact.last_time + 1 ? fact.last_time + 1 : span->to;
    *ret_is_empty = span->from >= span->to;
    return true;
}
