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

struct cursor { /* reads a chunk with bounds */
    const unsigned char *at, *end;
    bool is_broken;
};

static int64_t key_of(uint32_t place, int64_t day);
static int64_t day_of(int64_t time);
static const void *take(struct cursor *cursor, size_t bytes);
static uint32_t take_u32(struct cursor *cursor);
static void take_runs(struct cursor *cursor, size_t n, uint32_t *ret);
static void put(struct text *text, const void *bytes, size_t length);
static void put_u32(struct text *text, uint32_t value);
static void put_runs(struct text *text, const uint32_t *values, size_t n);
static void put_header(struct text *text, uint8_t version, size_t n, uint32_t columns);
static bool take_header(struct cursor *cursor, uint8_t version, uint32_t *ret_n, uint32_t *ret_columns);
static void encode_readings(struct text *text, int64_t day, const struct readings *readings);
static bool decode_readings(const void *bytes, size_t length, int64_t day, struct arena *arena, struct readings *ret);
static void encode_record(struct store *store, struct text *text, int64_t day, const struct record *record);
static bool decode_record(const void *bytes, size_t length, int64_t day, struct arena *arena, struct record *ret);
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
static bool is_beyond(double value, double unit);
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
            if (is_beyond(*value, unit))
                record->flag[q][i] = FLAG_MISSING;
            *value = from_steps(to_steps(*value, unit), unit);
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
    struct record *parts = NULL;
    size_t count = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        int64_t day = sqlite3_column_int64(row, 0) & ((1 << KEY_DAY_BITS) - 1);
        parts = x_grow(parts, count, &capacity, sizeof *parts);
        if (!decode_record(sqlite3_column_blob(row, 1), (size_t)sqlite3_column_bytes(row, 1), day, arena,
                           &parts[count++])) {
            fail(error, ERROR_STORAGE, "a chunk of finished values is damaged: rebuild it from the readings");
            got = -1;
        }
    }
    if (got == 0) {
        join_records(arena, parts, count, ret);
        *ret = record_between(ret, span.from, span.to);
    }
    free(parts);
    return got == 0;
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
    for (size_t i = 0; i < n; i++)
        put_u32(text, (uint32_t)(readings->time[i] - day * DAY_MS));
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
    for (size_t i = 0; i < n; i++)
        put_u32(text, (uint32_t)(record->time[i] - day * DAY_MS));
    for (size_t i = 0; i < n; i++)
        put_u32(text, (uint32_t)(int32_t)(record->raw_time[i] - record->time[i]));
    put_runs(text, record->barometer, n);
    uint32_t *wide = arena_array(store->scratch, n, sizeof *wide);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!record->value[q])
            continue;
        double unit = published_unit(q);
        for (size_t i = 0; i < n; i++)
            put_u32(text, (uint32_t)to_steps(record->value[q][i], unit));
        for (size_t i = 0; i < n; i++)
            wide[i] = is_beyond(record->value[q][i], unit) ? FLAG_MISSING : record->flag[q][i];
        put_runs(text, wide, n);
        put_runs(text, record->tests[q], n);
        put_u32(text, record->uncertainty[q] != NULL);
        for (size_t i = 0; record->uncertainty[q] && i < n; i++) {
            float narrow = (float)record->uncertainty[q][i];
            put(text, &narrow, sizeof narrow);
        }
    }
}

static bool decode_record(const void *bytes, size_t length, int64_t day, struct arena *arena, struct record *ret)
{
    if (length < HEADER_SIZE)
        return false;
    struct cursor cursor = {.at = bytes, .end = (const unsigned char *)bytes + length};
    uint32_t n, columns;
    if (!take_header(&cursor, RECORD_VERSION, &n, &columns) || n > length)
        return false;
    record_init(ret, arena, n, columns);
    for (size_t i = 0; i < n; i++)
        ret->time[i] = day * DAY_MS + (int32_t)take_u32(&cursor);
    for (size_t i = 0; i < n; i++)
        ret->raw_time[i] = ret->time[i] + (int32_t)take_u32(&cursor);
    take_runs(&cursor, n, ret->barometer);
    uint32_t *wide = arena_array(arena, n, sizeof *wide);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!ret->value[q])
            continue;
        double unit = published_unit(q);
        for (size_t i = 0; i < n; i++)
            ret->value[q][i] = from_steps((int32_t)take_u32(&cursor), unit);
        take_runs(&cursor, n, wide);
        for (size_t i = 0; i < n; i++)
            ret->flag[q][i] = (uint8_t)wide[i];
        take_runs(&cursor, n, ret->tests[q]);
        if (take_u32(&cursor) == 0)
            continue;
        record_add_uncertainty(ret, arena, q);
        const unsigned char *narrow = take(&cursor, n * sizeof(float));
        for (size_t i = 0; narrow && i < n; i++) {
            float value;
            memcpy(&value, narrow + i * sizeof value, sizeof value);
            ret->uncertainty[q][i] = (double)value;
        }
    }
    return !cursor.is_broken && cursor.at == cursor.end;
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
    double steps = nearbyint(value / unit);
    return fabs(steps) < INT32_MAX ? (int32_t)steps : INT32_MIN;
}

static bool is_beyond(double value, double unit)
{
    return !isnan(value) && to_steps(value, unit) == INT32_MIN;
}

static double from_steps(int32_t steps, double unit)
{
    return steps == INT32_MIN ? NAN : steps * unit;
}
