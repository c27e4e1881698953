/* SPDX-License-Identifier: MIT */
/* Readings and records in chunks of one place and UTC day, so that a write costs what it touches.
 *
 * A chunk is little-endian: u8 version, u8 0, u16 0, u32 rows, u32 columns (bit = quantity), then the columns.
 * Readings: i32 ms since the day's start; runs of u32 drop; u32 line; runs of u32 unread; a double column each.
 * Record:   i32 ms since the day's start; i32 (raw time - time) ; runs of u32 barometer; then for each quantity
 *           i32 value in units of its last published decimal (INT32_MIN: missing), runs of u8 flag, runs of u32 tests,
 *           u8 "has uncertainty" and f32 column if so.
 * Runs are (u32 length, u32 value) pairs until all rows are covered: masks hardly change within a day. */
#include "base/text.h"
#include "base/timestamp.h"
#include "store/database.h"

#include <assert.h>
#include <endian.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#if __BYTE_ORDER != __LITTLE_ENDIAN
#error "chunks are read and written in place on little-endian machines"
#endif

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

enum { READINGS_VERSION = 1, RECORD_VERSION = 1, HEADER_SIZE = 12, KEY_DAY_BITS = 20 };

struct chunk { /* of finished values */
    int64_t day;
    const unsigned char *bytes;
    size_t length, first; /* row of the record */
};

struct cursor { /* reads a chunk with bounds */
    const unsigned char *at, *end;
    bool is_broken;
};

static int64_t key_of(uint32_t place, int64_t day);
static int64_t day_of(int64_t time);
static const void *take(struct cursor *cursor, size_t bytes);
static uint32_t take_u32(struct cursor *cursor);
static void take_runs(struct cursor *cursor, size_t n, uint32_t *ret);
static void take_short_runs(struct cursor *cursor, size_t n, uint8_t *ret);
static void put(struct text *text, const void *bytes, size_t length);
static void put_u32(struct text *text, uint32_t value);
static void put_runs(struct text *text, const uint32_t *values, size_t n);
static void put_header(struct text *text, uint8_t version, size_t n, uint32_t columns);
static bool take_header(struct cursor *cursor, uint8_t version, uint32_t *ret_n, uint32_t *ret_columns);
static void encode_readings(struct text *text, int64_t day, const struct readings *readings);
static bool decode_readings(const void *bytes, size_t length, int64_t day, struct arena *arena, struct readings *ret);
static void encode_record(struct store *store, struct text *text, int64_t day, const struct record *record);
static void put_differences(struct text *text, const int64_t *values, size_t n, const int64_t *before, int64_t origin);
static void put_steps(struct text *text, const double *values, size_t n, double unit, const uint8_t *flags,
                      uint32_t *ret_flags);
static void put_narrow(struct text *text, const double *values, size_t n);
static bool decode_records(struct chunk *chunks, size_t count, const struct text *bytes, struct arena *arena,
                           struct record *ret);
static bool read_head(const struct chunk *chunk, uint32_t *ret_n, uint32_t *ret_columns);
static bool decode_record(const struct chunk *chunk, struct arena *arena, struct record *ret, size_t first);
static void take_sums(struct cursor *cursor, size_t n, const int64_t *before, int64_t origin, int64_t *ret);
static void take_values(struct cursor *cursor, size_t n, double unit, double *ret);
static void take_wide(struct cursor *cursor, size_t n, double *ret);
static void join_readings(struct arena *arena, const struct readings *parts, size_t count, struct readings *ret);
static void join_records(struct arena *arena, const struct record *parts, size_t count, struct record *ret);
static bool load_rows(struct store *store, const struct record_table *table, uint32_t place, struct span span,
                      struct arena *arena, struct record *ret, struct error *error);
static bool save_rows(struct store *store, const struct record_table *table, uint32_t place, struct span span,
                      const struct record *record, struct error *error);
static bool save_record_day(struct store *store, const struct record_table *table, uint32_t place, int64_t day,
                            struct span span, const struct record *record, struct error *error);
static double published_unit(enum quantity quantity);
static int32_t to_steps(double value, double unit);
static double from_steps(int32_t steps, double unit);

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
        if (!decode_readings(sqlite3_column_blob(row, 1), (size_t)sqlite3_column_bytes(row, 1), day, arena,
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
        encode_readings(&bytes, day, &part);
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

void record_round(struct record *record)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!record->value[q])
            continue;
        double unit = published_unit(q);
        for (size_t i = 0; i < record->n; i++) {
            double *value = &record->value[q][i];
            int32_t steps = to_steps(*value, unit);
            if (steps == INT32_MIN && !isnan(*value))
                record->flag[q][i] = FLAG_MISSING;
            *value = from_steps(steps, unit);
        }
    }
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
                                         .length = (size_t)sqlite3_column_bytes(row, 1)};
        text_add(&bytes, sqlite3_column_blob(row, 1), chunks[count - 1].length);
    }
    bool ok = got == 0;
    if (ok && decode_records(chunks, count, &bytes, arena, ret))
        *ret = record_between(ret, span.from, span.to);
    else if (ok)
        ok = fail(error, ERROR_STORAGE, "a chunk of finished values is damaged: rebuild it from the readings");
    text_done(&bytes);
    free(chunks);
    return ok;
}

/* All days into one record. */
static bool decode_records(struct chunk *chunks, size_t count, const struct text *bytes, struct arena *arena,
                           struct record *ret)
{
    size_t n = 0, at = 0;
    uint32_t columns = 0;
    for (size_t k = 0; k < count; at += chunks[k++].length) {
        uint32_t rows, more;
        chunks[k].bytes = (const unsigned char *)bytes->bytes + at;
        if (!read_head(&chunks[k], &rows, &more))
            return false;
        chunks[k].first = n;
        n += rows;
        columns |= more;
    }
    record_init(ret, arena, n, columns);
    for (size_t k = 0; k < count; k++)
        if (!decode_record(&chunks[k], arena, ret, chunks[k].first))
            return false;
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
    encode_record(store, &bytes, day, &whole);
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

static const void *take(struct cursor *cursor, size_t bytes)
{
    if (cursor->is_broken || (size_t)(cursor->end - cursor->at) < bytes) {
        cursor->is_broken = true;
        return NULL;
    }
    const void *at = cursor->at;
    cursor->at += bytes;
    return at;
}

static uint32_t take_u32(struct cursor *cursor)
{
    uint32_t value = 0;
    const void *bytes = take(cursor, sizeof value);
    if (bytes)
        memcpy(&value, bytes, sizeof value);
    return value;
}

static void take_runs(struct cursor *cursor, size_t n, uint32_t *ret)
{
    for (size_t i = 0; i < n && !cursor->is_broken;) {
        uint32_t length = take_u32(cursor), value = take_u32(cursor);
        if (length == 0 || length > n - i) {
            cursor->is_broken = true;
            return;
        }
        for (uint32_t k = 0; k < length; k++)
            ret[i++] = value;
    }
}

static void put(struct text *text, const void *bytes, size_t length)
{
    text_add(text, bytes, length);
}

static void put_u32(struct text *text, uint32_t value)
{
    put(text, &value, sizeof value);
}

static void take_short_runs(struct cursor *cursor, size_t n, uint8_t *ret)
{
    for (size_t i = 0; i < n && !cursor->is_broken;) {
        uint32_t length = take_u32(cursor), value = take_u32(cursor);
        if (length == 0 || length > n - i) {
            cursor->is_broken = true;
            return;
        }
        memset(ret + i, (int)(value & 0xFF), length);
        i += length;
    }
}

static void put_runs(struct text *text, const uint32_t *values, size_t n)
{
    for (size_t i = 0; i < n;) {
        size_t j = i + 1;
        while (j < n && values[j] == values[i])
            j++;
        put_u32(text, (uint32_t)(j - i));
        put_u32(text, values[i]);
        i = j;
    }
}

static void put_header(struct text *text, uint8_t version, size_t n, uint32_t columns)
{
    put_u32(text, version);
    put_u32(text, (uint32_t)n);
    put_u32(text, columns);
}

static bool take_header(struct cursor *cursor, uint8_t version, uint32_t *ret_n, uint32_t *ret_columns)
{
    bool known = take_u32(cursor) == version;
    *ret_n = take_u32(cursor);
    *ret_columns = take_u32(cursor);
    return known && !cursor->is_broken && *ret_n <= (uint32_t)DAY_MS && *ret_columns < 1u << QUANTITY_COUNT;
}

static void encode_readings(struct text *text, int64_t day, const struct readings *readings)
{
    size_t n = readings->n;
    put_header(text, READINGS_VERSION, n, readings_columns(readings));
    put_differences(text, readings->time, n, NULL, day * DAY_MS);
    put_runs(text, readings->drop, n);
    put(text, readings->line, n * sizeof *readings->line);
    if (readings->unread) {
        put_runs(text, readings->unread, n);
    } else {
        put_u32(text, (uint32_t)n);
        put_u32(text, 0);
    }
    for (unsigned q = 0; q < QUANTITY_COUNT; q++)
        if (readings->value[q])
            put(text, readings->value[q], n * sizeof(double));
}

static bool decode_readings(const void *bytes, size_t length, int64_t day, struct arena *arena, struct readings *ret)
{
    if (length < HEADER_SIZE)
        return false;
    struct cursor cursor = {.at = bytes, .end = (const unsigned char *)bytes + length};
    uint32_t n, columns;
    if (!take_header(&cursor, READINGS_VERSION, &n, &columns) || n > length)
        return false;
    readings_init(ret, arena, n, columns);
    ret->unread = arena_array(arena, n, sizeof *ret->unread);
    for (size_t i = 0; i < n; i++)
        ret->time[i] = day * DAY_MS + (int32_t)take_u32(&cursor);
    take_runs(&cursor, n, ret->drop);
    const void *lines = take(&cursor, n * sizeof *ret->line);
    if (lines)
        memcpy(ret->line, lines, n * sizeof *ret->line);
    take_runs(&cursor, n, ret->unread);
    for (unsigned q = 0; q < QUANTITY_COUNT; q++) {
        const void *values = ret->value[q] ? take(&cursor, n * sizeof(double)) : NULL;
        if (values)
            memcpy(ret->value[q], values, n * sizeof(double));
    }
    return !cursor.is_broken && cursor.at == cursor.end;
}

static void encode_record(struct store *store, struct text *text, int64_t day, const struct record *record)
{
    size_t n = record->n;
    put_header(text, RECORD_VERSION, n, record_columns(record));
    put_differences(text, record->time, n, NULL, day * DAY_MS);
    put_differences(text, record->raw_time, n, record->time, 0);
    put_runs(text, record->barometer, n);
    uint32_t *wide = arena_array(store->scratch, n, sizeof *wide);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!record->value[q])
            continue;
        put_steps(text, record->value[q], n, published_unit(q), record->flag[q], wide);
        put_runs(text, wide, n);
        put_runs(text, record->tests[q], n);
        put_u32(text, record->uncertainty[q] != NULL);
        if (record->uncertainty[q])
            put_narrow(text, record->uncertainty[q], n);
    }
}

/* i32 each: minus the value of `before` in the same row where there is one, and minus `origin`. */
static void put_differences(struct text *text, const int64_t *values, size_t n, const int64_t *before, int64_t origin)
{
    char *room = text_room(text, n * sizeof(int32_t));
    for (size_t i = 0; room && i < n; i++) {
        int32_t difference = (int32_t)(values[i] - (before ? before[i] : origin));
        memcpy(room + i * sizeof difference, &difference, sizeof difference);
    }
}

/* And the flags that go with them: a value that no step stands for is missing. */
static void put_steps(struct text *text, const double *values, size_t n, double unit, const uint8_t *flags,
                      uint32_t *ret_flags)
{
    char *room = text_room(text, n * sizeof(int32_t));
    for (size_t i = 0; room && i < n; i++) {
        int32_t steps = to_steps(values[i], unit);
        memcpy(room + i * sizeof steps, &steps, sizeof steps);
        ret_flags[i] = steps == INT32_MIN && !isnan(values[i]) ? FLAG_MISSING : flags[i];
    }
}

static void put_narrow(struct text *text, const double *values, size_t n)
{
    char *room = text_room(text, n * sizeof(float));
    for (size_t i = 0; room && i < n; i++) {
        float narrow = (float)values[i];
        memcpy(room + i * sizeof narrow, &narrow, sizeof narrow);
    }
}

/* Rows and columns of a chunk; false where it is no chunk. */
static bool read_head(const struct chunk *chunk, uint32_t *ret_n, uint32_t *ret_columns)
{
    struct cursor cursor = {.at = chunk->bytes, .end = chunk->bytes + chunk->length};
    return take_header(&cursor, RECORD_VERSION, ret_n, ret_columns) && *ret_n <= chunk->length;
}

/* Into the rows from `first` on, which there are. A column that other days alone have is missing here, not
 * unevaluated. */
static bool decode_record(const struct chunk *chunk, struct arena *arena, struct record *ret, size_t first)
{
    struct cursor cursor = {.at = chunk->bytes, .end = chunk->bytes + chunk->length};
    uint32_t n, columns;
    if (!take_header(&cursor, RECORD_VERSION, &n, &columns))
        return false;
    take_sums(&cursor, n, NULL, chunk->day * DAY_MS, ret->time + first);
    take_sums(&cursor, n, ret->time + first, 0, ret->raw_time + first);
    take_runs(&cursor, n, ret->barometer + first);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!(columns >> q & 1)) {
            if (ret->value[q])
                memset(ret->flag[q] + first, FLAG_MISSING, n);
            continue;
        }
        take_values(&cursor, n, published_unit(q), ret->value[q] + first);
        take_short_runs(&cursor, n, ret->flag[q] + first);
        take_runs(&cursor, n, ret->tests[q] + first);
        if (take_u32(&cursor) == 0)
            continue;
        record_add_uncertainty(ret, arena, q);
        take_wide(&cursor, n, ret->uncertainty[q] + first);
    }
    return !cursor.is_broken && cursor.at == cursor.end;
}

/* The opposite of put_differences(). */
static void take_sums(struct cursor *cursor, size_t n, const int64_t *before, int64_t origin, int64_t *ret)
{
    const unsigned char *from = take(cursor, n * sizeof(int32_t));
    for (size_t i = 0; from && i < n; i++) {
        int32_t difference;
        memcpy(&difference, from + i * sizeof difference, sizeof difference);
        ret[i] = (before ? before[i] : origin) + difference;
    }
}

static void take_values(struct cursor *cursor, size_t n, double unit, double *ret)
{
    const unsigned char *from = take(cursor, n * sizeof(int32_t));
    for (size_t i = 0; from && i < n; i++) {
        int32_t steps;
        memcpy(&steps, from + i * sizeof steps, sizeof steps);
        ret[i] = from_steps(steps, unit);
    }
}

static void take_wide(struct cursor *cursor, size_t n, double *ret)
{
    const unsigned char *from = take(cursor, n * sizeof(float));
    for (size_t i = 0; from && i < n; i++) {
        float narrow;
        memcpy(&narrow, from + i * sizeof narrow, sizeof narrow);
        ret[i] = (double)narrow;
    }
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
    record_init(ret, arena, n, columns);
    size_t at = 0;
    for (size_t k = 0; k < count; k++) {
        const struct record *part = &parts[k];
        if (part->n == 0)
            continue;
        memcpy(ret->time + at, part->time, part->n * sizeof *ret->time);
        memcpy(ret->raw_time + at, part->raw_time, part->n * sizeof *ret->raw_time);
        memcpy(ret->barometer + at, part->barometer, part->n * sizeof *ret->barometer);
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
            if (!part->value[q]) {
                /* the column exists on other days only: here it is missing, not unevaluated */
                if (ret->value[q])
                    memset(ret->flag[q] + at, FLAG_MISSING, part->n);
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

/* Inside value of one step of the last published decimal. */
static double published_unit(enum quantity quantity)
{
    static const double tenth[] = {1, 1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6};
    const struct quantity_info *info = quantity_info(quantity);
    return tenth[info->decimals] / info->scale;
}

/* INT32_MIN for what is missing, and for what is beyond all nature, as 1e30 for "no value". */
static int32_t to_steps(double value, double unit)
{
    const double shift = 0x1.8p52; /* a sum with it has no room for fractions: rounded to nearest, ties to even */
    double steps = value / unit;
    return fabs(steps) < INT32_MAX - 1 ? (int32_t)(steps + shift - shift) : INT32_MIN;
}

static double from_steps(int32_t steps, double unit)
{
    return steps == INT32_MIN ? NAN : steps * unit;
}
