/* SPDX-License-Identifier: MIT */
/* What a station's finished values say of its sensors: from the store, because a trend needs weeks that the
 * span in hand does not have. */
#include "service/pipeline.h"

#include "base/timestamp.h"
#include "derive/trend.h"

#include <string.h>

#define SERVICE_NOTES (1u << NOTE_CHECK_CLEANED | 1u << NOTE_STANDARD | 1u << NOTE_IN_WATER)

static bool load(struct pipeline *p, size_t station, struct trend_input *ret, struct record *record,
                 struct error *error);
static struct span changed_between(const struct check_result *before, size_t before_count,
                                   const struct check_result *after, size_t after_count);

bool trends_derive(struct pipeline *p, size_t station, struct span span, struct span *ret_changed,
                   struct error *error)
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
    if (input.marks.from >= input.marks.to)
        return true;
    if (!load(p, station, &input, &record, error))
        return false;
    trends_find(p->arena, &input, &checks, &count, &findings);
    if (!store_trends_load(p->store, place, input.marks, p->arena, &before, &before_count, error))
        return false;
    *ret_changed = changed_between(before, before_count, checks, count);
    return store_trends_replace(p->store, place, input.marks, checks, count, error) &&
           store_findings_replace(p->store, place, FINDINGS_OF_TRENDS, input.marks, findings.list,
                                  findings.count, error);
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

/* From the first to behind the last that is not as it was; empty where all are. */
static struct span changed_between(const struct check_result *a, size_t a_count, const struct check_result *b,
                                   size_t b_count)
{
    size_t i = 0, j = 0;
    struct span changed = {TIME_FOREVER, 0};
    while (i < a_count || j < b_count) {
        bool is_pair = i < a_count && j < b_count && a[i].time == b[j].time && a[i].kind == b[j].kind;
        bool takes_a =
            is_pair || j == b_count ||
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
