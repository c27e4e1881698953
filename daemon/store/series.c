/* SPDX-License-Identifier: MIT */
/* Readings and records in chunks of one place and UTC day, so that a write costs what it touches (chunk.h). */
#include "base/text.h"
#include "base/timestamp.h"
#include "store/chunk.h"
#include "store/database.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* Finished values stand in two tables of one shape. */
struct record_table {
    const char *load, *next, *drop, *put;
};
#define RECORD_TABLE(name)                                                                                             \
    {                                                                                                                  \
        "SELECT key, bytes FROM " name " WHERE key BETWEEN ?1 AND ?2 ORDER BY key",                                    \
            "SELECT min(key) FROM " name " WHERE key BETWEEN ?1 AND ?2", "DELETE FROM " name " WHERE key = ?1",        \
            "INSERT INTO " name " VALUES(?1, ?2) ON CONFLICT(key) DO UPDATE SET bytes = excluded.bytes"                \
    }
static const struct record_table finished = RECORD_TABLE("record_chunk"), reviewed = RECORD_TABLE("reviewed_chunk");

enum { KEY_DAY_BITS = 20 };

struct chunk { /* of finished values */
    int64_t day;
    size_t start, length; /* in the text of all */
};

static int64_t key_of(uint32_t place, int64_t day);
static int64_t day_of(int64_t time);
static bool take_records(const struct chunk *chunks, size_t count, const char *bytes, struct arena *arena,
                         struct record *ret);
static void join_readings(struct arena *arena, const struct readings *parts, size_t count, struct readings *ret);
static void join_records(struct arena *arena, const struct record *parts, size_t count, struct record *ret);
static bool load_rows(struct store *store, const struct record_table *table, uint32_t place, struct span span,
                      struct arena *arena, struct record *ret, struct error *error);
static bool save_rows(struct store *store, const struct record_table *table, uint32_t place, struct span span,
                      const struct record *record, struct error *error);
static bool save_record_day(struct store *store, const struct record_table *table, uint32_t place, int64_t day,
                            struct span span, const struct record *record, struct error *error);

bool store_readings_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                         struct readings *ret, struct error *error)
{
    *ret = (struct readings){0};
    if (span.from >= span.to)
        return true;
    int64_t first = key_of(place, day_of(span.from)), last = key_of(place, day_of(span.to - 1));
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error, "SELECT key, bytes FROM reading_chunk WHERE key BETWEEN ?1 AND ?2 ORDER BY key",
                       "ii", first, last);
    struct readings *parts = NULL;
    size_t count = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        int64_t day = sqlite3_column_int64(row, 0) & ((1 << KEY_DAY_BITS) - 1);
        parts = x_grow(parts, count, &capacity, sizeof *parts);
        if (!chunk_take_readings(sqlite3_column_blob(row, 1), (size_t)sqlite3_column_bytes(row, 1), day, arena,
                                 &parts[count++])) {
            fail(error, ERROR_STORAGE, "a chunk of readings is damaged: rebuild the database from the originals");
            got = -1;
        }
    }
    if (got == 0) {
        join_readings(arena, parts, count, ret);
        *ret = readings_between(ret, span.from, span.to);
    }
    free(parts);
    return got == 0;
}

bool store_readings_save(struct store *store, uint32_t place, const struct readings *readings, struct error *error)
{
    if (readings->n == 0)
        return true;
    struct text bytes;
    text_init(&bytes, 1u << 30);
    bool ok = true;
    for (size_t i = 0; ok && i < readings->n;) {
        int64_t day = day_of(readings->time[i]);
        struct readings part = readings_between(readings, day * DAY_MS, (day + 1) * DAY_MS);
        assert(part.n > 0 && "readings before 1970 or after 4800 are refused at the door");
        text_clear(&bytes);
        arena_reset(store->scratch);
        chunk_put_readings(&bytes, day, &part, store->scratch);
        ok = database_run(
            store, error,
            "INSERT INTO reading_chunk VALUES(?1, ?2) ON CONFLICT(key) DO UPDATE SET bytes = excluded.bytes", "ib",
            key_of(place, day), bytes.bytes, bytes.length);
        i += part.n;
    }
    text_done(&bytes);
    return ok && database_run(store, error,
                              "UPDATE place SET first_time = min(coalesce(first_time, ?2), ?2),"
                              " last_time = max(coalesce(last_time, ?3), ?3) WHERE number = ?1",
                              "iii", (int64_t)place, readings->time[0], readings->time[readings->n - 1]);
}

bool store_reading_before(struct store *store, uint32_t place, int64_t time, int64_t *ret, struct error *error)
{
    *ret = TIME_NONE;
    int64_t day = day_of(time);
    for (int step = 0; step < 2; step++) { /* the day itself may hold only later rows: then one chunk further back */
        int64_t key = -1;
        if (!database_one(store, &key, error, "SELECT max(key) FROM reading_chunk WHERE key BETWEEN ?1 AND ?2", "ii",
                          key_of(place, 0), key_of(place, day)))
            return false;
        if (key < 0)
            return true;
        day = key & ((1 << KEY_DAY_BITS) - 1);
        struct readings chunk;
        arena_reset(store->scratch);
        if (!store_readings_load(store, place, (struct span){day * DAY_MS, (day + 1) * DAY_MS}, store->scratch, &chunk,
                                 error))
            return false;
        size_t i = readings_at_or_after(&chunk, time);
        if (i > 0) {
            *ret = chunk.time[i - 1];
            return true;
        }
        if (day == 0)
            return true;
        day--;
    }
    return true;
}

bool store_reading_after(struct store *store, uint32_t place, int64_t time, int64_t *ret, struct error *error)
{
    *ret = TIME_NONE;
    int64_t day = day_of(time);
    for (int step = 0; step < 2; step++) {
        int64_t key = -1;
        if (!database_one(store, &key, error, "SELECT min(key) FROM reading_chunk WHERE key BETWEEN ?1 AND ?2", "ii",
                          key_of(place, day), key_of(place, (1 << KEY_DAY_BITS) - 1)))
            return false;
        if (key < 0)
            return true;
        day = key & ((1 << KEY_DAY_BITS) - 1);
        struct readings chunk;
        arena_reset(store->scratch);
        if (!store_readings_load(store, place, (struct span){day * DAY_MS, (day + 1) * DAY_MS}, store->scratch, &chunk,
                                 error))
            return false;
        size_t i = readings_at_or_after(&chunk, time);
        if (i < chunk.n) {
            *ret = chunk.time[i];
            return true;
        }
        day++;
    }
    return true;
}

bool store_record_size(struct store *store, uint32_t place, struct span span, int64_t *ret, struct error *error)
{
    *ret = 0;
    return span.from >= span.to ||
           database_one(store, ret, error,
                        "SELECT coalesce(sum(length(bytes)), 0) FROM record_chunk WHERE key BETWEEN ?1 AND ?2", "ii",
                        key_of(place, day_of(span.from)), key_of(place, day_of(span.to - 1)));
}

bool store_record_load(struct store *store, uint32_t place, struct span span, struct arena *arena, struct record *ret,
                       struct error *error)
{
    return load_rows(store, &finished, place, span, arena, ret, error);
}

bool store_reviewed_rows_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                              struct record *ret, struct error *error)
{
    return load_rows(store, &reviewed, place, span, arena, ret, error);
}

bool store_record_save(struct store *store, uint32_t place, struct span span, const struct record *record,
                       struct error *error)
{
    return save_rows(store, &finished, place, span, record, error);
}

bool store_reviewed_rows_save(struct store *store, uint32_t place, struct span span, const struct record *record,
                              struct error *error)
{
    return save_rows(store, &reviewed, place, span, record, error);
}

static bool load_rows(struct store *store, const struct record_table *table, uint32_t place, struct span span,
                      struct arena *arena, struct record *ret, struct error *error)
{
    *ret = (struct record){0};
    if (span.from >= span.to)
        return true;
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error, table->load, "ii", key_of(place, day_of(span.from)),
                                       key_of(place, day_of(span.to - 1)));
    struct chunk *chunks = NULL;
    struct text bytes; /* of all chunks: what the database shows is gone with the next row */
    text_init(&bytes, SIZE_MAX / 2);
    size_t count = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        chunks = x_grow(chunks, count, &capacity, sizeof *chunks);
        chunks[count++] = (struct chunk){.day = sqlite3_column_int64(row, 0) & ((1 << KEY_DAY_BITS) - 1),
                                         .start = bytes.length,
                                         .length = (size_t)sqlite3_column_bytes(row, 1)};
        text_add(&bytes, sqlite3_column_blob(row, 1), chunks[count - 1].length);
    }
    bool ok = got == 0;
    if (ok && take_records(chunks, count, bytes.bytes, arena, ret))
        *ret = record_between(ret, span.from, span.to);
    else if (ok)
        ok = fail(error, ERROR_STORAGE, "a chunk of finished values is damaged: rebuild it from the readings");
    text_done(&bytes);
    free(chunks);
    return ok;
}

/* All days into one record. */
static bool take_records(const struct chunk *chunks, size_t count, const char *bytes, struct arena *arena,
                         struct record *ret)
{
    size_t n = 0, first = 0;
    uint32_t columns = 0, rows, more;
    for (size_t k = 0; k < count; k++) {
        if (!chunk_head_of_record(bytes + chunks[k].start, chunks[k].length, &rows, &more))
            return false;
        n += rows;
        columns |= more;
    }
    record_room(ret, arena, n, columns);
    for (size_t k = 0; k < count; k++) {
        const char *at = bytes + chunks[k].start;
        if (!chunk_head_of_record(at, chunks[k].length, &rows, &more) ||
            !chunk_take_record(at, chunks[k].length, chunks[k].day, arena, ret, first))
            return false;
        first += rows;
    }
    return true;
}

static bool save_rows(struct store *store, const struct record_table *table, uint32_t place, struct span span,
                      const struct record *record, struct error *error)
{
    for (int64_t day = day_of(span.from); day <= day_of(span.to - 1); day++) {
        struct record part = record_between(record, day * DAY_MS, (day + 1) * DAY_MS);
        if (!save_record_day(store, table, place, day, span, &part, error))
            return false;
        /* Jump over days without rows: a span may reach over years of silence. */
        if (part.n == 0) {
            int64_t next = INT64_MAX;
            size_t i = record_at_or_after(record, (day + 1) * DAY_MS);
            if (i < record->n)
                next = day_of(record->time[i]);
            int64_t key = INT64_MAX;
            if (!database_one(store, &key, error, table->next, "ii", key_of(place, day + 1),
                              key_of(place, (1 << KEY_DAY_BITS) - 1)))
                return false;
            int64_t stored = key == INT64_MAX ? INT64_MAX : key & ((1 << KEY_DAY_BITS) - 1);
            int64_t target = next < stored ? next : stored;
            if (target == INT64_MAX)
                break;
            day = target - 1;
        }
    }
    return true;
}

/* A day that only partly lies in the span keeps its other rows. */
static bool save_record_day(struct store *store, const struct record_table *table, uint32_t place, int64_t day,
                            struct span span, const struct record *record, struct error *error)
{
    struct record whole = *record;
    struct span of_day = {day * DAY_MS, (day + 1) * DAY_MS};
    bool is_partial = span.from > of_day.from || span.to < of_day.to;
    arena_reset(store->scratch);
    if (is_partial) {
        struct record stored, parts[3];
        if (!load_rows(store, table, place, of_day, store->scratch, &stored, error))
            return false;
        parts[0] = record_between(&stored, of_day.from, span.from);
        parts[1] = *record;
        parts[2] = record_between(&stored, span.to, of_day.to);
        join_records(store->scratch, parts, 3, &whole);
    }
    if (whole.n == 0)
        return database_run(store, error, table->drop, "i", key_of(place, day));
    struct text bytes;
    text_init(&bytes, 1u << 30);
    chunk_put_record(&bytes, day, &whole, store->scratch);
    bool ok = database_run(store, error, table->put, "ib", key_of(place, day), bytes.bytes, bytes.length);
    text_done(&bytes);
    return ok;
}

static int64_t key_of(uint32_t place, int64_t day)
{
    assert(day >= 0 && day < 1 << KEY_DAY_BITS);
    return (int64_t)place << KEY_DAY_BITS | day;
}

/* Days before 1970 or after the year 4800 have no chunk: intake refuses such times, margins are held inside. */
static int64_t day_of(int64_t time)
{
    if (time < 0)
        return 0;
    int64_t day = time / DAY_MS;
    return day < 1 << KEY_DAY_BITS ? day : (1 << KEY_DAY_BITS) - 1;
}

static void join_readings(struct arena *arena, const struct readings *parts, size_t count, struct readings *ret)
{
    size_t n = 0;
    uint32_t columns = 0;
    for (size_t k = 0; k < count; k++) {
        n += parts[k].n;
        columns |= readings_columns(&parts[k]);
    }
    if (count == 1) {
        *ret = parts[0];
        return;
    }
    readings_init(ret, arena, n, columns);
    ret->unread = arena_array(arena, n, sizeof *ret->unread);
    size_t at = 0;
    for (size_t k = 0; k < count; k++) {
        const struct readings *part = &parts[k];
        if (part->n == 0)
            continue;
        memcpy(ret->time + at, part->time, part->n * sizeof *ret->time);
        memcpy(ret->drop + at, part->drop, part->n * sizeof *ret->drop);
        memcpy(ret->line + at, part->line, part->n * sizeof *ret->line);
        if (part->unread)
            memcpy(ret->unread + at, part->unread, part->n * sizeof *ret->unread);
        for (unsigned q = 0; q < QUANTITY_COUNT; q++)
            if (part->value[q])
                memcpy(ret->value[q] + at, part->value[q], part->n * sizeof(double));
        at += part->n;
    }
}

static void join_records(struct arena *arena, const struct record *parts, size_t count, struct record *ret)
{
    size_t n = 0;
    uint32_t columns = 0;
    for (size_t k = 0; k < count; k++) {
        n += parts[k].n;
        columns |= parts[k].n > 0 ? record_columns(&parts[k]) : 0;
    }
    record_room(ret, arena, n, columns);
    size_t at = 0;
    for (size_t k = 0; k < count; k++) {
        const struct record *part = &parts[k];
        if (part->n == 0)
            continue;
        memcpy(ret->time + at, part->time, part->n * sizeof *ret->time);
        memcpy(ret->raw_time + at, part->raw_time, part->n * sizeof *ret->raw_time);
        memcpy(ret->barometer + at, part->barometer, part->n * sizeof *ret->barometer);
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
            if (!part->value[q]) { /* it exists on other days only */
                record_leave_out(ret, q, at, part->n);
                continue;
            }
            memcpy(ret->value[q] + at, part->value[q], part->n * sizeof(double));
            memcpy(ret->flag[q] + at, part->flag[q], part->n);
            memcpy(ret->tests[q] + at, part->tests[q], part->n * sizeof(uint32_t));
            if (part->uncertainty[q]) {
                record_add_uncertainty(ret, arena, q);
                memcpy(ret->uncertainty[q] + at, part->uncertainty[q], part->n * sizeof(double));
            }
        }
        at += part->n;
    }
}
