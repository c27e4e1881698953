/* SPDX-License-Identifier: MIT */
#include "service/network_views.h"

#include "archive/page.h"
#include "base/timestamp.h"
#include "service/batch.h"
#include "service/supplies.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NEWEST_MONTHS = 24 }; /* in network.json and behind each station of the front page */

struct network_views {
    struct network_station *stations; /* by index in the settings */
    void **blocks;                    /* what they point to; NULL: not known */
    bool *has_page;
    size_t count;
};

static struct network_views *new_views(size_t count);
static bool refresh_unknown(struct pipeline *p, struct error *error);
static bool refresh(struct pipeline *p, size_t station, struct arena *arena, struct error *error);
static void *keep(struct network_station *at);
static size_t room_of(const struct network_station *at);
static const char *keep_string(char **at, const char *string);
static void give_alarms(struct pipeline *p, const struct alarm *alarms, size_t n);
static bool view_records(struct pipeline *p, size_t station, struct arena *arena, struct network_station *ret,
                         struct error *error);
static bool last_values(struct pipeline *p, uint32_t place, const struct place_fact *fact, struct arena *arena,
                        struct network_station *ret, struct error *error);

bool network_views_refresh(struct pipeline *p, const struct alarm *alarms, size_t alarm_count,
                           const struct network_station **ret_stations, const bool **ret_has_page, struct error *error)
{
    if (!p->views)
        p->views = new_views(p->config->station_count);
    if (!refresh_unknown(p, error))
        return false;
    give_alarms(p, alarms, alarm_count);
    *ret_stations = p->views->stations;
    *ret_has_page = p->views->has_page;
    return true;
}

void network_views_keep(struct pipeline *p, size_t station, const struct network_station *view)
{
    if (!p->views)
        return;
    struct network_station *at = &p->views->stations[station];
    free(p->views->blocks[station]);
    *at = *view;
    at->alarms = NULL;
    at->alarm_count = 0;
    p->views->blocks[station] = keep(at);
    p->views->has_page[station] = true;
}

void network_views_forget(struct pipeline *p, uint32_t place)
{
    size_t station = pipeline_station_of(p, place);
    if (!p->views || station == p->config->station_count)
        return;
    free(p->views->blocks[station]);
    p->views->blocks[station] = NULL;
}

void network_views_free(struct network_views *views)
{
    if (!views)
        return;
    for (size_t i = 0; i < views->count; i++)
        free(views->blocks[i]);
    free(views->stations);
    free(views->blocks);
    free(views->has_page);
    free(views);
}

static struct network_views *new_views(size_t count)
{
    struct network_views *views = x_alloc(sizeof *views);
    views->count = count;
    views->stations = x_array(count + 1, sizeof *views->stations);
    views->blocks = x_array(count + 1, sizeof *views->blocks);
    views->has_page = x_array(count + 1, sizeof *views->has_page);
    return views;
}

static bool refresh_unknown(struct pipeline *p, struct error *error)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new(); /* of one station: ten thousand would not fit */
    size_t i = 0;
    while (i < p->views->count && p->views->blocks[i])
        i++;
    if (i == p->views->count)
        return true;
    bool ok = store_begin_to_read(p->store, __func__, error);
    for (; ok && i < p->views->count; i++)
        ok = p->views->blocks[i] || refresh(p, i, arena, error);
    store_rollback(p->store);
    return ok;
}

static bool refresh(struct pipeline *p, size_t station, struct arena *arena, struct error *error)
{
    struct network_views *views = p->views;
    char path[ARCHIVE_PATH_SIZE];
    struct file_fact file;
    arena_reset(arena);
    if (!network_view_load(p, station, arena, &views->stations[station], error) ||
        !store_file_find(p->store, page_station_path(p->config->stations[station].id, path), arena, &file,
                         &views->has_page[station], error))
        return false;
    views->blocks[station] = keep(&views->stations[station]);
    return true;
}

/* Lists and words of the view in one block of memory, and the view then points there. */
static void *keep(struct network_station *at)
{
    char *block = x_alloc(room_of(at) + 1);
    struct network_value *values = (struct network_value *)(void *)block;
    struct network_record *records = (struct network_record *)(void *)(values + at->value_count);
    struct network_waiting *waiting = (struct network_waiting *)(void *)(records + at->record_count);
    char *words = (char *)(waiting + at->waiting_count);
    for (size_t k = 0; k < at->value_count; k++)
        values[k] = at->values[k];
    for (size_t k = 0; k < at->record_count; k++) {
        records[k] = at->records[k];
        records[k].path = keep_string(&words, records[k].path);
        records[k].sha256 = keep_string(&words, records[k].sha256);
    }
    for (size_t k = 0; k < at->waiting_count; k++) {
        waiting[k] = at->waiting[k];
        waiting[k].reason = keep_string(&words, waiting[k].reason);
    }
    at->values = values;
    at->records = records;
    at->waiting = waiting;
    return block;
}
_Static_assert(_Alignof(struct network_record) <= _Alignof(struct network_value) &&
                   _Alignof(struct network_waiting) <= _Alignof(struct network_record),
               "each list may begin where the one before ends");

static size_t room_of(const struct network_station *at)
{
    size_t room = at->value_count * sizeof *at->values + at->record_count * sizeof *at->records +
                  at->waiting_count * sizeof *at->waiting;
    for (size_t k = 0; k < at->record_count; k++)
        room += strlen(at->records[k].path) + strlen(at->records[k].sha256) + 2;
    for (size_t k = 0; k < at->waiting_count; k++)
        room += strlen(at->waiting[k].reason) + 1;
    return room;
}

static const char *keep_string(char **at, const char *string)
{
    size_t size = strlen(string) + 1;
    char *ret = memcpy(*at, string, size);
    *at += size;
    return ret;
}

static void give_alarms(struct pipeline *p, const struct alarm *alarms, size_t n)
{
    struct network_station *stations = p->views->stations;
    for (size_t i = 0; i < p->views->count; i++)
        stations[i].alarm_count = 0;
    for (size_t k = 0; k < n; k++) {
        size_t station = config_find_station(p->config, alarms[k].station);
        if (station == p->config->station_count)
            continue;
        if (stations[station].alarm_count++ == 0)
            stations[station].alarms = &alarms[k];
    }
}

/* ---- one station ---- */

bool network_view_load(struct pipeline *p, size_t station, struct arena *arena, struct network_station *ret,
                       struct error *error)
{
    const struct station *s = &p->config->stations[station];
    uint32_t place = p->station_places[station];
    *ret = (struct network_station){.station = s, .first = TIME_NONE, .last = TIME_NONE};
    struct place_fact fact;
    struct waiting_span *waits, *held;
    size_t wait_count, held_count;
    if (!store_place_find(p->store, s->id, arena, &fact, error) ||
        !store_waiting_load(p->store, place, arena, &waits, &wait_count, error) ||
        !store_held_load(p->store, place, arena, &held, &held_count, error) ||
        !view_records(p, station, arena, ret, error) || !last_values(p, place, &fact, arena, ret, error))
        return false;
    struct network_waiting *waiting = arena_array(arena, wait_count + held_count + 1, sizeof *waiting);
    for (size_t k = 0; k < held_count; k++)
        waiting[k] = (struct network_waiting){held[k].span, held[k].reason, true};
    for (size_t k = 0; k < wait_count; k++)
        waiting[held_count + k] = (struct network_waiting){waits[k].span, waits[k].reason, false};
    ret->waiting = waiting;
    ret->waiting_count = held_count + wait_count;
    return supplies_now(p, station, &ret->supply, error);
}

/* The newest months: the work for a change must not grow with the years behind it. */
static bool view_records(struct pipeline *p, size_t station, struct arena *arena, struct network_station *ret,
                         struct error *error)
{
    const char *id = p->config->stations[station].id;
    struct page_fact *pages;
    size_t n;
    if (!store_pages_of_place(p->store, p->station_places[station], arena, &pages, &n, error))
        return false;
    size_t first = n > NEWEST_MONTHS ? n - NEWEST_MONTHS : 0;
    struct network_record *records = arena_array(arena, n - first + 1, sizeof *records);
    ret->records = records;
    for (size_t k = 0; k < n; k++) {
        ret->month_count += pages[k].revision > 0;
        if (k < first || pages[k].revision == 0)
            continue;
        char path[ARCHIVE_PATH_SIZE];
        struct file_fact file;
        bool found;
        int year = pages[k].month / 12, month = pages[k].month % 12 + 1;
        archive_month_path(id, year, month, ".csv", path);
        if (!store_file_find(p->store, path, arena, &file, &found, error))
            return false;
        if (found)
            records[ret->record_count++] =
                (struct network_record){year, month, pages[k].revision, file.path, file.sha256, pages[k].state};
    }
    return true;
}

static bool last_values(struct pipeline *p, uint32_t place, const struct place_fact *fact, struct arena *arena,
                        struct network_station *ret, struct error *error)
{
    if (fact->last_time == TIME_NONE)
        return true;
    struct record record;
    struct span day = {fact->last_time - DAY_MS, fact->last_time + 1};
    if (!store_record_load(p->store, place, day, arena, &record, error))
        return false;
    struct network_value *values = arena_array(arena, QUANTITY_COUNT, sizeof *values);
    ret->first = fact->first_time;
    ret->last = fact->last_time;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        size_t i = record.value[q] ? record.n : 0;
        while (i > 0 && (isnan(record.value[q][i - 1]) || record.flag[q][i - 1] == FLAG_FAIL))
            i--;
        if (i > 0)
            values[ret->value_count++] =
                (struct network_value){q, record.time[i - 1], record.value[q][i - 1], record.flag[q][i - 1]};
    }
    ret->values = values;
    return true;
}
