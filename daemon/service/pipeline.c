/* SPDX-License-Identifier: MIT */
#include "service/network_views.h"
#include "service/pipeline.h"

#include "archive/original.h"
#include "base/log.h"
#include "base/timestamp.h"
#include "derive/derive.h"
#include "derive/pair.h"
#include "derive/water.h"
#include "derive/zero.h"
#include "quality/quality.h"
#include "service/attempt.h"
#include "service/review.h"
#include "service/supplies.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Longest stretch derived at once: bounds memory, and lets fresh data in between. */
#define LONGEST_STRETCH (62 * DAY_MS)

static bool derive_station(struct pipeline *p, size_t station, uint32_t place, struct span span, int64_t now,
                           struct error *error);
static bool leave_out(struct pipeline *p, uint32_t place, struct span span, struct span aside, struct error *error);
static bool derive_values(struct pipeline *p, size_t station, struct span span, struct span *ret_changed,
                          struct error *error);
static struct span whole_weeks(struct span span);
static bool derive_chain(struct pipeline *p, size_t station, struct span span, struct derive_input *ret_input,
                         struct derived *ret, struct error *error);
static bool derive_neighbours(struct pipeline *p, size_t station, const struct record *record,
                              struct neighbour_records *ret, struct error *error);
static bool has_trends(const struct record *record);
static bool mark_months(struct pipeline *p, size_t station, uint32_t place, struct span span, struct error *error);
static struct span whole_days(const struct station *station, struct span span);
static bool load_input(struct pipeline *p, size_t station, uint32_t place, struct span span, struct derive_input *ret,
                       struct error *error);
static bool add_stretch(struct pipeline *p, uint32_t place, struct span around, struct readings *readings,
                        struct error *error);
static bool load_references(struct pipeline *p, uint32_t place, struct span rows, struct readings *readings,
                            struct error *error);
static bool load_moves(struct pipeline *p, uint32_t place, struct span rows, struct readings *readings,
                       struct error *error);
static bool load_around(struct pipeline *p, uint32_t place, uint32_t kinds, int looks, struct span inside,
                        int64_t reach, struct readings *readings, struct error *error);
static bool load_notes(struct pipeline *p, uint32_t place, struct span rows, struct derive_input *ret,
                       struct error *error);
static bool load_sources(struct pipeline *p, const struct station *station, struct derive_input *ret,
                         struct error *error);
static bool load_instruments(struct pipeline *p, uint32_t place, struct derive_input *ret, struct error *error);
static bool add_elsewhere(struct pipeline *p, uint32_t place, const char *serial, struct derive_input *ret,
                          struct error *error);
static bool covers_all(const struct readings *air, const struct readings *water, int64_t largest_gap);
static bool save(struct pipeline *p, size_t station, uint32_t place, struct span span, const struct derived *derived,
                 struct error *error);
static bool mark_pages(struct pipeline *p, size_t station, uint32_t place, struct span span,
                       const struct record *record, struct error *error);
static bool refresh_digest(struct pipeline *p, const char *id, uint32_t place, uint64_t digest, struct error *error);
static bool refresh_pages(struct pipeline *p, struct error *error);

bool pipeline_open(struct pipeline *ret, const struct config *config, struct store *store, struct error *error)
{
    *ret = (struct pipeline){.config = config,
                             .store = store,
                             .arena = arena_new(),
                             .station_places = x_array(config->station_count, sizeof *ret->station_places),
                             .barometer_places = x_array(config->barometer_count, sizeof *ret->barometer_places),
                             .originals = original_keeper_new(config->archive),
                             .next_alarm_look = TIME_NONE};
    int64_t again[UNFINISHED_KIND_COUNT]; /* what was left alone with other settings */
    bool ok = store_begin(store, __func__, error) && store_unfinished_retry(store, config->digest, again, error);
    for (size_t i = 0; ok && i < config->station_count; i++)
        ok = store_place_number(store, config->stations[i].id, &ret->station_places[i], error) &&
             refresh_digest(ret, config->stations[i].id, ret->station_places[i],
                            config_station_digest(config, &config->stations[i]), error);
    uint64_t digest = config_barometer_digest(config);
    for (size_t i = 0; ok && i < config->barometer_count; i++)
        ok = store_place_number(store, config->barometers[i].id, &ret->barometer_places[i], error) &&
             refresh_digest(ret, config->barometers[i].id, ret->barometer_places[i], digest, error);
    if (ok && refresh_pages(ret, error) && store_commit(store, error))
        return true;
    store_rollback(store);
    pipeline_close(ret);
    return false;
}

bool pipeline_open_to_read(struct pipeline *ret, const struct config *config, struct store *store, struct error *error)
{
    *ret = (struct pipeline){.config = config,
                             .store = store,
                             .arena = arena_new(),
                             .station_places = x_array(config->station_count, sizeof *ret->station_places),
                             .barometer_places = x_array(config->barometer_count, sizeof *ret->barometer_places),
                             .next_alarm_look = TIME_NONE};
    bool ok = true;
    struct place_fact fact;
    for (size_t i = 0; ok && i < config->station_count; i++) {
        ok = store_place_find(store, config->stations[i].id, ret->arena, &fact, error);
        ret->station_places[i] = ok ? fact.number : 0;
    }
    for (size_t i = 0; ok && i < config->barometer_count; i++) {
        ok = store_place_find(store, config->barometers[i].id, ret->arena, &fact, error);
        ret->barometer_places[i] = ok ? fact.number : 0;
    }
    if (!ok)
        pipeline_close(ret);
    return ok;
}

bool pipeline_derive_span(struct pipeline *p, size_t station, struct span span, struct derive_input *ret_input,
                          struct derived *ret, struct error *error)
{
    struct neighbour_records neighbours;
    if (!derive_chain(p, station, span, ret_input, ret, error) ||
        !derive_neighbours(p, station, &ret->record, &neighbours, error))
        return false;
    quality_after(p->config, ret_input->station, ret->interval, &neighbours, &ret->record);
    derive_to_datum(p->arena, ret_input->station, ret);
    return true;
}

static bool derive_chain(struct pipeline *p, size_t station, struct span span, struct derive_input *ret_input,
                         struct derived *ret, struct error *error)
{
    struct record measured;
    if (!load_input(p, station, p->station_places[station], span, ret_input, error))
        return false;
    derive_begin(p->arena, ret_input, &measured);
    quality_before(p->config, ret_input->station, &measured);
    derive_finish(p->arena, ret_input, &measured, ret);
    return true;
}

/* From their facts, not from their stored records: the answer does not depend on which station was derived first. */
static bool derive_neighbours(struct pipeline *p, size_t station, const struct record *record,
                              struct neighbour_records *ret, struct error *error)
{
    struct neighbour_record *list = arena_array(p->arena, p->config->neighbourhood_count + 1, sizeof *list);
    *ret = (struct neighbour_records){.list = list};
    for (size_t k = 0; record->n > 0 && k < p->config->neighbourhood_count; k++) {
        const struct neighbourhood *pair = &p->config->neighbourhoods[k];
        struct span span = {record->time[0] - pair->reach, record->time[record->n - 1] + pair->reach + 1};
        struct derive_input input;
        struct derived derived;
        if (pair->station != station || p->station_places[pair->neighbour] == 0)
            continue;
        if (!derive_chain(p, pair->neighbour, span, &input, &derived, error))
            return within(error, "neighbour '%s'", p->config->stations[pair->neighbour].id);
        list[ret->count++] = (struct neighbour_record){p->config->stations[pair->neighbour].id, derived.record};
    }
    return true;
}

void pipeline_close(struct pipeline *pipeline)
{
    supplies_done(pipeline);
    arena_free(pipeline->arena);
    original_keeper_free(pipeline->originals);
    network_views_free(pipeline->views);
    free(pipeline->station_places);
    free(pipeline->barometer_places);
    *pipeline = (struct pipeline){0};
}

bool pipeline_derive(struct pipeline *p, int64_t now, bool *ret_worked, struct error *error)
{
    uint32_t place;
    struct span span;
    *ret_worked = false;
    arena_reset(p->arena);
    if (!store_dirty_next(p->store, &place, &span, error))
        return false;
    if (place == 0)
        return true;
    *ret_worked = true;
    size_t station = pipeline_station_of(p, place), barometer = pipeline_barometer_of(p, place);
    bool ok = store_begin(p->store, __func__, error) && store_dirty_remove(p->store, place, span, error);
    if (ok && barometer < p->config->barometer_count)
        ok = barometers_derive(p, barometer, span, error) &&
             announce_span(p, p->config->barometers[barometer].id, place, true, whole_weeks(span), now, error);
    else if (ok && station < p->config->station_count)
        ok = derive_station(p, station, place, span, now, error);
    /* else: a place that is configured no more keeps its record as it is */
    ok = ok && store_commit(p->store, error);
    attempt_end(p->attempts);
    if (ok) {
        if (station < p->config->station_count)
            log_debug("committed '%s' and its alarms", p->config->stations[station].id);
        return true;
    }
    store_rollback(p->store);
    return within(error, "deriving station %zu", station);
}

/* Values of all stretches first: rules look beyond the stretch they are asked for. */
bool pipeline_derive_again(struct pipeline *p, uint32_t place, int64_t now, struct error *error)
{
    size_t station = pipeline_station_of(p, place), barometer = pipeline_barometer_of(p, place);
    bool is_barometer = station == p->config->station_count;
    const char *id = is_barometer ? p->config->barometers[barometer].id : p->config->stations[station].id;
    struct place_fact fact;
    if (!store_place_find(p->store, id, p->arena, &fact, error))
        return false;
    if (fact.first_time == TIME_NONE)
        return true;
    /* What its neighbours recorded may not stand there again yet: comparison and rules wait for its turn. */
    if (is_barometer)
        return store_dirty_add(p->store, place, (struct span){fact.first_time, fact.last_time + 1}, error);
    for (int pass = 0; pass < 2; pass++) {
        for (int64_t from = fact.first_time; from <= fact.last_time; from += LONGEST_STRETCH) {
            struct span ignored,
                span = {from, from + LONGEST_STRETCH <= fact.last_time ? from + LONGEST_STRETCH : fact.last_time + 1};
            arena_reset(p->arena);
            if (pass == 0 ? !derive_values(p, station, span, &ignored, error)
                          : !announce_span(p, id, place, false, span, now, error))
                return within(error, "deriving '%s'", id);
        }
    }
    return true;
}

size_t pipeline_station_of(const struct pipeline *p, uint32_t place)
{
    size_t i = 0;
    while (i < p->config->station_count && p->station_places[i] != place)
        i++;
    return i;
}

size_t pipeline_barometer_of(const struct pipeline *p, uint32_t place)
{
    size_t i = 0;
    while (i < p->config->barometer_count && p->barometer_places[i] != place)
        i++;
    return i;
}

/* A barometer's checks stand at the beginning of a week. */
static struct span whole_weeks(struct span span)
{
    span.from = span.from > PAIR_WEEK ? pair_week(span.from) : span.from;
    return span;
}

/* By the station's standard time. */
static struct span whole_days(const struct station *station, struct span span)
{
    int64_t offset = station->utc_offset;
    return (struct span){timestamp_floor(span.from + offset, DAY_MS) - offset,
                         timestamp_floor(span.to - 1 + offset, DAY_MS) + DAY_MS - offset};
}

/* Values, their checks and what waits, then the rules over them: one transaction, the caller's. */
static bool derive_station(struct pipeline *p, size_t station, uint32_t place, struct span span, int64_t now,
                           struct error *error)
{
    struct place_fact fact;
    if (!store_place_find(p->store, p->config->stations[station].id, p->arena, &fact, error))
        return false;
    if (fact.first_time == TIME_NONE)
        return true;
    span.from = span.from < fact.first_time ? fact.first_time : span.from;
    span.to = span.to > fact.last_time + 1 ? fact.last_time + 1 : span.to;
    if (span.from >= span.to)
        return true;
    struct unfinished before;
    if (!store_unfinished_find(p->store, UNFINISHED_SPAN, place, span, &before, error))
        return false;
    if (before.is_left_alone)
        return leave_out(p, place, span, before.span, error);
    int64_t stretch = LONGEST_STRETCH >> (3 * (before.attempts < 3 ? before.attempts : 3));
    if (span.to - span.from > stretch) { /* the freshest part now, the rest in a later turn */
        struct span rest = {span.from, span.to - stretch};
        span.from = rest.to;
        if (!store_dirty_add(p->store, place, rest, error))
            return false;
    }
    attempt_begin_span(p->attempts, place, span);
    struct span changed;
    if (!derive_values(p, station, span, &changed, error) ||
        (before.attempts > 0 && !store_unfinished_done(p->store, UNFINISHED_SPAN, place, span, error)))
        return false;
    log_debug("derived '%s'", p->config->stations[station].id);
    return announce_span(p, p->config->stations[station].id, place, false, changed, now, error);
}

/* What ended the program each time waits visibly, and what lies around it goes on. */
static bool leave_out(struct pipeline *p, uint32_t place, struct span span, struct span aside, struct error *error)
{
    struct span before = {span.from, aside.from}, after = {aside.to, span.to};
    struct waiting_span waiting = {
        .place = place,
        .span = {aside.from > span.from ? aside.from : span.from, aside.to < span.to ? aside.to : span.to},
        .reason = "set aside: the program ended each time that it was derived; give it more memory, or mend the files, "
                  "then 'rillward retry'"};
    return store_waiting_replace(p->store, place, waiting.span, &waiting, 1, error) &&
           store_manifest_due(p->store, place, error) && store_dirty_add(p->store, place, before, error) &&
           store_dirty_add(p->store, place, after, error);
}

/* *ret_changed: the span, and the weeks behind it whose trends it changed. */
static bool derive_values(struct pipeline *p, size_t station, struct span span, struct span *ret_changed,
                          struct error *error)
{
    struct derive_input input;
    struct derived derived;
    struct span trends;
    *ret_changed = span;
    if (!pipeline_derive_span(p, station, span, &input, &derived, error) ||
        !save(p, station, p->station_places[station], span, &derived, error))
        return false;
    if (!has_trends(&derived.record))
        return true;
    if (!trends_derive(p, station, span, &trends, error))
        return false;
    if (trends.from >= trends.to)
        return true;
    ret_changed->from = trends.from < span.from ? trends.from : span.from;
    ret_changed->to = trends.to > span.to ? trends.to : span.to;
    return mark_months(p, station, p->station_places[station], trends, error);
}

static bool has_trends(const struct record *record)
{
    return record->value[QUANTITY_OXYGEN] || record->value[QUANTITY_SECOND_TEMPERATURE] ||
           record->value[QUANTITY_WATER_PRESSURE];
}

/* Records whose checks are not what they were. */
static bool mark_months(struct pipeline *p, size_t station, uint32_t place, struct span span, struct error *error)
{
    int64_t offset = p->config->stations[station].utc_offset;
    for (int64_t month = timestamp_month_start(span.from, offset); month < span.to;
         month = timestamp_next_month(month, offset)) {
        struct civil first = timestamp_to_civil(month + offset);
        if (!store_page_due(p->store, place, first.year * 12 + first.month - 1, error))
            return false;
    }
    return true;
}

static bool load_input(struct pipeline *p, size_t station, uint32_t place, struct span span, struct derive_input *ret,
                       struct error *error)
{
    const struct station *s = &p->config->stations[station];
    *ret = (struct derive_input){.config = p->config, .station = s};
    struct span rows = {span.from - quality_lead_in(p->config, s), span.to + quality_lead_out()};
    const struct span days = whole_days(s, span); /* a day is rated by all of its samples */
    rows.from = days.from < rows.from ? days.from : rows.from;
    rows.to = days.to > rows.to ? days.to : rows.to;
    return store_readings_load(p->store, place, rows, p->arena, &ret->readings, error) &&
           load_references(p, place, rows, &ret->readings, error) &&
           load_moves(p, place, rows, &ret->readings, error) && load_notes(p, place, rows, ret, error) &&
           load_sources(p, s, ret, error) && load_instruments(p, place, ret, error);
}

/* The hand readings outside the rows tie the level inside them, and checks before and after correct its sensors: the
 * readings around them come along. Some hand readings tie nothing (no data, in air), so a few are taken on each side.
 */
static bool load_references(struct pipeline *p, uint32_t place, struct span rows, struct readings *readings,
                            struct error *error)
{
    enum { LOOKS = 3, LEVEL_LOOKS = 3 + READING_NEIGHBOURS };
    struct span inside = {rows.from + HOUR_MS, rows.to - HOUR_MS};
    return load_around(p, place, LEVEL_NOTES, LEVEL_LOOKS, inside, HOUR_MS, readings, error) &&
           load_around(p, place, CHECK_NOTES, LOOKS, inside, VISIT_LENGTH + HOUR_MS, readings, error);
}

/* The zero error of the pressure sensor comes from the samples in air at both ends of each stay that is touched. */
static bool load_moves(struct pipeline *p, uint32_t place, struct span rows, struct readings *readings,
                       struct error *error)
{
    int64_t first = rows.from, last = rows.to, reach = ZERO_REACH + HOUR_MS, at;
    if (readings->n > 0) {
        first = readings->time[0] < first ? readings->time[0] : first;
        last = readings->time[readings->n - 1] > last ? readings->time[readings->n - 1] : last;
    }
    if (!store_note_before(p->store, place, MOVE_NOTES, first, &at, error))
        return false;
    at = at == TIME_NONE ? first : at;
    for (bool is_beyond = false; !is_beyond; at++) {
        if (!store_note_after(p->store, place, MOVE_NOTES, at, &at, error))
            return false;
        if (at == TIME_NONE)
            return true;
        if (!add_stretch(p, place, (struct span){at - reach, at + reach}, readings, error))
            return false;
        is_beyond = at > last;
    }
    return true;
}

/* Readings within `reach` of the nearest `looks` notes of these kinds on each side of the span. */
static bool load_around(struct pipeline *p, uint32_t place, uint32_t kinds, int looks, struct span inside,
                        int64_t reach, struct readings *readings, struct error *error)
{
    int64_t before = inside.from, after = inside.to;
    for (int k = 0; k < looks && before != TIME_NONE; k++) {
        if (!store_note_before(p->store, place, kinds, before, &before, error))
            return false;
        if (before != TIME_NONE &&
            !add_stretch(p, place, (struct span){before - reach, before + reach}, readings, error))
            return false;
    }
    for (int k = 0; k < looks && after != TIME_NONE; k++, after += after != TIME_NONE) {
        if (!store_note_after(p->store, place, kinds, after, &after, error))
            return false;
        if (after != TIME_NONE && !add_stretch(p, place, (struct span){after - reach, after + reach}, readings, error))
            return false;
    }
    return true;
}

static bool add_stretch(struct pipeline *p, uint32_t place, struct span around, struct readings *readings,
                        struct error *error)
{
    struct readings stretch, joined;
    struct merge_result ignored;
    if (!store_readings_load(p->store, place, around, p->arena, &stretch, error))
        return false;
    if (stretch.n == 0)
        return true;
    readings_merge(readings, &stretch, p->arena, &joined, &ignored);
    *readings = joined;
    return true;
}

static bool load_notes(struct pipeline *p, uint32_t place, struct span rows, struct derive_input *ret,
                       struct error *error)
{
    const struct readings *r = &ret->readings;
    struct span span = rows;
    if (r->n > 0) {
        span.from = r->time[0] < span.from ? r->time[0] : span.from;
        span.to = r->time[r->n - 1] >= span.to ? r->time[r->n - 1] + 1 : span.to;
    }
    struct span wide = {span.from - 2 * HOUR_MS, span.to + 2 * HOUR_MS};
    /* These act from one note to the next; a few are taken, since some say nothing (a clock check that is a zone slip).
     */
    static const struct {
        uint32_t kinds;
        int looks;
    } acting[] = {{MOVE_NOTES, 1}, {1u << NOTE_IN_WATER, 1}, {CLOCK_NOTES, 3}, {CHECK_NOTES, 3}, {INSTRUMENT_NOTES, 1}};
    for (size_t k = 0; k < COUNT_OF(acting); k++) {
        int64_t before = span.from, after = span.to;
        for (int look = 0; look < acting[k].looks; look++) {
            if (before != TIME_NONE && !store_note_before(p->store, place, acting[k].kinds, before, &before, error))
                return false;
            if (after != TIME_NONE && !store_note_after(p->store, place, acting[k].kinds, after, &after, error))
                return false;
            if (before != TIME_NONE && before - VISIT_LENGTH < wide.from)
                wide.from = before - VISIT_LENGTH;
            if (after != TIME_NONE && after + VISIT_LENGTH >= wide.to)
                wide.to = after + VISIT_LENGTH + 1;
            after += after != TIME_NONE;
        }
    }
    uint32_t all = (1u << NOTE_KIND_COUNT) - 1;
    struct note *near, *spanning;
    size_t near_count, spanning_count;
    if (!store_notes_load(p->store, place, all & ~SPAN_NOTES, wide, p->arena, &near, &near_count, error) ||
        !store_notes_load(p->store, place, SPAN_NOTES, (struct span){0, wide.to}, p->arena, &spanning, &spanning_count,
                          error))
        return false;
    struct note *notes = arena_array(p->arena, near_count + spanning_count + 1, sizeof *notes);
    size_t i = 0, j = 0, n = 0;
    while (i < near_count || j < spanning_count)
        notes[n++] =
            j == spanning_count || (i < near_count && near[i].time <= spanning[j].time) ? near[i++] : spanning[j++];
    ret->notes = notes;
    ret->note_count = n;
    return true;
}

/* Barometers in order of preference, until one covers every row. */
static bool load_sources(struct pipeline *p, const struct station *station, struct derive_input *ret,
                         struct error *error)
{
    size_t *candidates = arena_array(p->arena, p->config->barometer_count + 1, sizeof *candidates);
    size_t count = air_candidates(p->config, station, candidates);
    struct air_source *sources = arena_array(p->arena, count + 1, sizeof *sources);
    ret->sources = sources;
    const struct readings *rows = &ret->readings;
    int64_t reach = derive_air_reach(p->config);
    for (size_t k = 0; k < count; k++) {
        struct air_source *source = &sources[ret->source_count++];
        source->number = p->barometer_places[candidates[k]];
        source->barometer = &p->config->barometers[candidates[k]];
        if (rows->n == 0)
            continue;
        struct span span = {rows->time[0] - reach, rows->time[rows->n - 1] + reach + 1};
        if (!store_readings_load(p->store, source->number, span, p->arena, &source->readings, error))
            return false;
        if (covers_all(&source->readings, rows, p->config->largest_air_gap))
            break;
    }
    return true;
}

/* The serial numbers that the files of the readings name, and where the notes have these instruments. */
static bool load_instruments(struct pipeline *p, uint32_t place, struct derive_input *ret, struct error *error)
{
    const struct readings *r = &ret->readings;
    struct drop_serial *list = NULL;
    size_t n = 0, capacity = 0;
    bool ok = true;
    for (size_t i = 0; ok && i < r->n; i++) {
        size_t known = n;
        while (known > 0 && list[known - 1].drop != r->drop[i])
            known--;
        if (known > 0)
            continue;
        struct drop_fact_row drop;
        ok = store_drop_load(p->store, r->drop[i], p->arena, &drop, error);
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = (struct drop_serial){r->drop[i], ok ? drop.serial : "", ok ? drop.path : ""};
    }
    struct drop_serial *named = arena_array(p->arena, n + 1, sizeof *named);
    for (size_t k = 0; ok && k < n; k++) {
        if (!*list[k].serial)
            continue;
        bool is_known = false;
        for (size_t j = 0; j < ret->serial_count; j++)
            is_known |= instrument_is_same(named[j].serial, list[k].serial);
        named[ret->serial_count++] = list[k];
        ok = is_known || add_elsewhere(p, place, list[k].serial, ret, error);
    }
    ret->serials = named;
    free(list);
    return ok;
}

static bool add_elsewhere(struct pipeline *p, uint32_t place, const char *serial, struct derive_input *ret,
                          struct error *error)
{
    struct instrument_fact *facts;
    size_t n;
    if (!store_instruments_noted(p->store, serial, place, p->arena, &facts, &n, error))
        return false;
    struct instrument_elsewhere *all = arena_array(p->arena, ret->elsewhere_count + n + 1, sizeof *all);
    if (ret->elsewhere_count > 0)
        memcpy(all, ret->elsewhere, ret->elsewhere_count * sizeof *all);
    for (size_t k = 0; k < n; k++)
        all[ret->elsewhere_count++] =
            (struct instrument_elsewhere){serial, facts[k].key, facts[k].span.from, facts[k].span.to};
    ret->elsewhere = all;
    return true;
}

static bool covers_all(const struct readings *air, const struct readings *water, int64_t largest_gap)
{
    size_t i = 0;
    const double *pressure = air->value[QUANTITY_AIR_PRESSURE];
    if (!pressure)
        return false;
    for (size_t k = 0; k < air->n; k++)
        if (isnan(pressure[k]))
            return false; /* an empty cell may leave a pause: let the next barometer be at hand */
    for (size_t k = 0; k < water->n; k++) {
        while (i < air->n && air->time[i] < water->time[k])
            i++;
        if (i == air->n)
            return false;
        if (air->time[i] != water->time[k] && (i == 0 || air->time[i] - air->time[i - 1] > largest_gap))
            return false;
    }
    return true;
}

static bool save(struct pipeline *p, size_t station, uint32_t place, struct span span, const struct derived *derived,
                 struct error *error)
{
    struct record inside = record_between(&derived->record, span.from, span.to);
    size_t checks = 0, waits = 0;
    struct check_result *check = arena_array(p->arena, derived->check_count + 1, sizeof *check);
    for (size_t k = 0; k < derived->check_count; k++)
        if (derived->checks[k].time >= span.from - HOUR_MS && derived->checks[k].time < span.to + HOUR_MS)
            check[checks++] = derived->checks[k];
    struct waiting_span *waiting = arena_array(p->arena, derived->waiting_count + 1, sizeof *waiting);
    for (size_t k = 0; k < derived->waiting_count; k++) {
        struct span w = derived->waiting[k].span;
        w.from = w.from < span.from ? span.from : w.from;
        w.to = w.to > span.to ? span.to : w.to;
        if (w.from < w.to)
            waiting[waits++] = (struct waiting_span){.place = place, .span = w, .reason = derived->waiting[k].reason};
    }
    const struct finding *found = derived->findings.list;
    size_t found_count = derived->findings.count;
    /* A check made just before the logger went in, or after it came out, belongs to the rows beside it. */
    struct span around = {span.from - HOUR_MS, span.to + HOUR_MS};
    const struct span days = whole_days(&p->config->stations[station], span);
    return store_record_save(p->store, place, span, &inside, error) && review_keep(p, place, span, error) &&
           store_checks_replace(p->store, place, around, check, checks, error) &&
           store_findings_replace(p->store, place, FINDINGS_OF_A_MOMENT, around, found, found_count, error) &&
           store_findings_replace(p->store, place, FINDINGS_OF_A_STRETCH & ~FINDINGS_OF_DAYS, span, found, found_count,
                                  error) &&
           store_findings_replace(p->store, place, FINDINGS_OF_DAYS, days, found, found_count, error) &&
           store_waiting_replace(p->store, place, span, waiting, waits, error) &&
           store_manifest_due(p->store, place, error) && /* its page shows what waits and how checks came out */
           mark_pages(p, station, place, span, &inside, error);
}

static bool mark_pages(struct pipeline *p, size_t station, uint32_t place, struct span span,
                       const struct record *record, struct error *error)
{
    int64_t offset = p->config->stations[station].utc_offset;
    for (int64_t month = timestamp_month_start(span.from, offset); month < span.to;) {
        int64_t next = timestamp_next_month(month, offset);
        if (record_at_or_after(record, month) < record_at_or_after(record, next)) {
            struct civil first = timestamp_to_civil(month + offset);
            if (!store_page_due(p->store, place, first.year * 12 + first.month - 1, error))
                return false;
        }
        month = next;
    }
    return true;
}

static bool refresh_digest(struct pipeline *p, const char *id, uint32_t place, uint64_t digest, struct error *error)
{
    struct place_fact fact;
    if (!store_place_find(p->store, id, p->arena, &fact, error))
        return false;
    if (fact.digest == digest)
        return true;
    struct span all = {fact.first_time, fact.last_time + 1};
    return (fact.first_time == TIME_NONE || store_dirty_add(p->store, place, all, error)) &&
           store_place_set_digest(p->store, place, digest, error);
}

/* Names and rules that only the pages show. Places without files have no page yet. */
static bool refresh_pages(struct pipeline *p, struct error *error)
{
    bool has_changed;
    struct place_fact fact;
    if (!store_shown_put(p->store, config_pages_digest(p->config), &has_changed, error))
        return false;
    bool ok = true;
    for (size_t i = 0; ok && has_changed && i < p->config->station_count; i++)
        ok = store_place_find(p->store, p->config->stations[i].id, p->arena, &fact, error) &&
             (fact.first_time == TIME_NONE || store_manifest_due(p->store, fact.number, error));
    return ok && (!has_changed || store_manifest_due(p->store, 0, error));
}
