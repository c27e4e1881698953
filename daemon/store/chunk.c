/* SPDX-License-Identifier: MIT */
#include "store/chunk.h"

#include "base/timestamp.h"
#include "store/store.h"

#include <assert.h>
#include <endian.h>
#include <math.h>
#include <string.h>

#if __BYTE_ORDER != __LITTLE_ENDIAN
#error "chunks are read and written in place on little-endian machines"
#endif

enum { FIRST_VERSION = 1, VERSION = 2, MOST_EMPTY_ROWS = 1 << 20 };

struct cursor { /* reads a chunk with bounds */
    const unsigned char *at, *end;
    bool is_broken;
};

/* How a column of decimal numbers became values inside: the units that files are written in and their factors. */
static const double factors[] = {1, 1000, 100, 0.001, 10000, 0.01};
static const double tens[] = {1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6};

struct decimal {
    unsigned decimals, factor;
};

static struct cursor cursor_over(const void *bytes, size_t length);
static void put_header(struct text *to, size_t n, uint32_t columns);
static bool take_header(struct cursor *cursor, uint32_t *ret_version, uint32_t *ret_n, uint32_t *ret_columns);
static void put_u32(struct text *to, uint32_t value);
static void put_times(struct text *to, const int64_t *times, size_t n, int64_t day, uint32_t *scratch);
static void put_ascending(struct text *to, const uint32_t *values, size_t n);
static void put_runs(struct text *to, const uint32_t *values, size_t n);
static void put_integers(struct text *to, const int32_t *values, size_t n);
static unsigned width_of_differences(const int32_t *values, size_t n);
static void put_values(struct text *to, const double *values, size_t n, int32_t *scratch);
static bool find_decimal(const double *values, size_t n, int32_t *ret, struct decimal *ret_decimal);
static bool is_decimal(const double *values, size_t n, struct decimal decimal, int32_t *ret);
static double from_decimal(int32_t k, struct decimal decimal);
static void put_floats(struct text *to, const double *values, size_t n);
static const void *take(struct cursor *cursor, size_t bytes);
static uint32_t take_u32(struct cursor *cursor);
static unsigned take_u8(struct cursor *cursor);
static void take_times(struct cursor *cursor, uint32_t version, size_t n, int64_t day, uint32_t *scratch, int64_t *ret);
static void take_ascending(struct cursor *cursor, uint32_t version, size_t n, uint32_t *ret);
static void take_runs(struct cursor *cursor, size_t n, uint32_t *ret);
static void take_flags(struct cursor *cursor, size_t n, uint8_t *ret);
static size_t take_run(struct cursor *cursor, size_t most, uint32_t *ret_value);
static void take_integers(struct cursor *cursor, uint32_t version, size_t n, int32_t *ret);
static void take_values(struct cursor *cursor, uint32_t version, size_t n, int32_t *scratch, double *ret);
static void take_floats(struct cursor *cursor, size_t n, double *ret);
static double published_unit(enum quantity quantity);
static int32_t to_steps(double value, double unit);
static double from_steps(int32_t steps, double unit);

/* ---- readings ---- */

void chunk_put_readings(struct text *to, int64_t day, const struct readings *readings, struct arena *scratch)
{
    size_t n = readings->n;
    uint32_t *words = arena_array(scratch, n, sizeof *words);
    int32_t *integers = arena_array(scratch, n, sizeof *integers);
    put_header(to, n, readings_columns(readings));
    put_times(to, readings->time, n, day, words);
    put_runs(to, readings->drop, n);
    put_ascending(to, readings->line, n);
    put_runs(to, readings->unread ? readings->unread : memset(words, 0, n * sizeof *words), n);
    for (unsigned q = 0; q < QUANTITY_COUNT; q++)
        if (readings->value[q])
            put_values(to, readings->value[q], n, integers);
}

bool chunk_take_readings(const void *bytes, size_t length, int64_t day, struct arena *arena, struct readings *ret)
{
    struct cursor cursor = cursor_over(bytes, length);
    uint32_t version, n, columns;
    if (!take_header(&cursor, &version, &n, &columns))
        return false;
    readings_init(ret, arena, n, columns);
    ret->unread = arena_array(arena, n, sizeof *ret->unread);
    int32_t *integers = arena_array(arena, n, sizeof *integers);
    take_times(&cursor, version, n, day, ret->unread, ret->time);
    take_runs(&cursor, n, ret->drop);
    take_ascending(&cursor, version, n, ret->line);
    take_runs(&cursor, n, ret->unread);
    for (unsigned q = 0; q < QUANTITY_COUNT; q++)
        if (ret->value[q])
            take_values(&cursor, version, n, integers, ret->value[q]);
    return !cursor.is_broken && cursor.at == cursor.end;
}

/* ---- finished values ---- */

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

void chunk_put_record(struct text *to, int64_t day, const struct record *record, struct arena *scratch)
{
    size_t n = record->n;
    uint32_t *words = arena_array(scratch, n, sizeof *words);
    int32_t *steps = arena_array(scratch, n, sizeof *steps);
    put_header(to, n, record_columns(record));
    put_times(to, record->time, n, day, words);
    for (size_t i = 0; i < n; i++)
        words[i] = (uint32_t)(int32_t)(record->raw_time[i] - record->time[i]);
    put_runs(to, words, n);
    put_runs(to, record->barometer, n);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        const double *values = record->value[q];
        if (!values)
            continue;
        double unit = published_unit(q);
        for (size_t i = 0; i < n; i++) { /* a value that no step stands for is missing */
            steps[i] = to_steps(values[i], unit);
            words[i] = steps[i] == INT32_MIN && !isnan(values[i]) ? FLAG_MISSING : record->flag[q][i];
        }
        put_integers(to, steps, n);
        put_runs(to, words, n);
        put_runs(to, record->tests[q], n);
        put_u32(to, record->uncertainty[q] != NULL);
        if (record->uncertainty[q])
            put_floats(to, record->uncertainty[q], n);
    }
}

bool chunk_head_of_record(const void *bytes, size_t length, uint32_t *ret_rows, uint32_t *ret_columns)
{
    struct cursor cursor = cursor_over(bytes, length);
    uint32_t version;
    return take_header(&cursor, &version, ret_rows, ret_columns);
}

bool chunk_take_record(const void *bytes, size_t length, int64_t day, struct arena *arena, struct record *ret,
                       size_t first)
{
    struct cursor cursor = cursor_over(bytes, length);
    uint32_t version, n, columns;
    if (!take_header(&cursor, &version, &n, &columns))
        return false;
    uint32_t *words = arena_array(arena, n, sizeof *words);
    int32_t *steps = arena_array(arena, n, sizeof *steps);
    take_times(&cursor, version, n, day, words, ret->time + first);
    if (version == FIRST_VERSION)
        take_integers(&cursor, version, n, (int32_t *)words);
    else
        take_runs(&cursor, n, words);
    for (size_t i = 0; i < n; i++)
        ret->raw_time[first + i] = ret->time[first + i] + (int32_t)words[i];
    take_runs(&cursor, n, ret->barometer + first);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!(columns >> q & 1)) {
            record_leave_out(ret, q, first, n);
            continue;
        }
        double unit = published_unit(q);
        take_integers(&cursor, version, n, steps);
        for (size_t i = 0; i < n; i++)
            ret->value[q][first + i] = from_steps(steps[i], unit);
        take_flags(&cursor, n, ret->flag[q] + first);
        take_runs(&cursor, n, ret->tests[q] + first);
        if (take_u32(&cursor) == 0)
            continue;
        record_add_uncertainty(ret, arena, q);
        take_floats(&cursor, n, ret->uncertainty[q] + first);
    }
    return !cursor.is_broken && cursor.at == cursor.end;
}

/* ---- the pieces, out and in ---- */

static void put_header(struct text *to, size_t n, uint32_t columns)
{
    put_u32(to, VERSION);
    put_u32(to, (uint32_t)n);
    put_u32(to, columns);
}

/* The database gives NULL for bytes that are none. */
static struct cursor cursor_over(const void *bytes, size_t length)
{
    const unsigned char *at = bytes;
    return (struct cursor){.at = at, .end = at ? at + length : at};
}

static bool take_header(struct cursor *cursor, uint32_t *ret_version, uint32_t *ret_n, uint32_t *ret_columns)
{
    *ret_version = take_u32(cursor);
    *ret_n = take_u32(cursor);
    *ret_columns = take_u32(cursor);
    /* A quantity takes a byte a row at least: damaged bytes do not ask for more memory than they could fill. */
    size_t most = *ret_columns ? (size_t)(cursor->end - cursor->at) : MOST_EMPTY_ROWS;
    return !cursor->is_broken && *ret_version >= FIRST_VERSION && *ret_version <= VERSION && *ret_n > 0 &&
           *ret_n <= most && *ret_n <= (uint32_t)DAY_MS && *ret_columns < 1u << QUANTITY_COUNT;
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

static void put_u32(struct text *to, uint32_t value)
{
    text_add(to, (const char *)&value, sizeof value);
}

static uint32_t take_u32(struct cursor *cursor)
{
    uint32_t value = 0;
    const void *bytes = take(cursor, sizeof value);
    if (bytes)
        memcpy(&value, bytes, sizeof value);
    return value;
}

static unsigned take_u8(struct cursor *cursor)
{
    const unsigned char *byte = take(cursor, 1);
    return byte ? *byte : 0;
}

static void put_times(struct text *to, const int64_t *times, size_t n, int64_t day, uint32_t *scratch)
{
    for (size_t i = 0; i < n; i++)
        scratch[i] = (uint32_t)(times[i] - day * DAY_MS);
    put_ascending(to, scratch, n);
}

static void take_times(struct cursor *cursor, uint32_t version, size_t n, int64_t day, uint32_t *scratch, int64_t *ret)
{
    take_ascending(cursor, version, n, scratch);
    for (size_t i = 0; i < n; i++)
        ret[i] = day * DAY_MS + (int32_t)scratch[i];
}

/* Differences wrap around, so that any numbers come back, ascending or not. */
static void put_ascending(struct text *to, const uint32_t *values, size_t n)
{
    put_u32(to, values[0]);
    for (size_t i = 1; i < n;) {
        uint32_t step = values[i] - values[i - 1];
        size_t j = i + 1;
        while (j < n && values[j] - values[j - 1] == step)
            j++;
        put_u32(to, (uint32_t)(j - i));
        put_u32(to, step);
        i = j;
    }
}

static void take_ascending(struct cursor *cursor, uint32_t version, size_t n, uint32_t *ret)
{
    if (version == FIRST_VERSION) {
        const void *all = take(cursor, n * sizeof *ret);
        if (all)
            memcpy(ret, all, n * sizeof *ret);
        return;
    }
    ret[0] = take_u32(cursor);
    take_runs(cursor, n - 1, ret + 1);
    for (size_t i = 1; i < n; i++)
        ret[i] += ret[i - 1];
}

static void put_runs(struct text *to, const uint32_t *values, size_t n)
{
    for (size_t i = 0; i < n;) {
        size_t j = i + 1;
        while (j < n && values[j] == values[i])
            j++;
        put_u32(to, (uint32_t)(j - i));
        put_u32(to, values[i]);
        i = j;
    }
}

static void take_runs(struct cursor *cursor, size_t n, uint32_t *ret)
{
    uint32_t value;
    for (size_t i = 0, end; i < n && (end = i + take_run(cursor, n - i, &value)) > i;)
        while (i < end)
            ret[i++] = value;
}

static void take_flags(struct cursor *cursor, size_t n, uint8_t *ret)
{
    uint32_t value;
    for (size_t i = 0, length; i < n && (length = take_run(cursor, n - i, &value)) > 0; i += length)
        memset(ret + i, (int)(value & 0xFF), length);
}

/* Its length, at most `most`; 0 where the bytes are damaged. */
static size_t take_run(struct cursor *cursor, size_t most, uint32_t *ret_value)
{
    uint32_t length = take_u32(cursor);
    *ret_value = take_u32(cursor);
    cursor->is_broken |= length == 0 || length > most;
    return cursor->is_broken ? 0 : length;
}

static void put_integers(struct text *to, const int32_t *values, size_t n)
{
    unsigned width = width_of_differences(values, n);
    text_putc(to, (char)width);
    char *room = text_room(to, width == 4 ? n * 4 : 4 + (n - 1) * width);
    if (!room)
        return;
    memcpy(room, values, width == 4 ? n * 4 : 4);
    for (size_t i = 1; width < 4 && i < n; i++) {
        int16_t difference = (int16_t)(values[i] - values[i - 1]);
        memcpy(room + 4 + (i - 1) * width, &difference, width); /* the low byte first */
    }
}

static unsigned width_of_differences(const int32_t *values, size_t n)
{
    int64_t most = 0;
    for (size_t i = 1; i < n; i++) {
        int64_t difference = (int64_t)values[i] - values[i - 1];
        difference = difference < 0 ? -difference : difference;
        most = difference > most ? difference : most;
    }
    return most <= INT8_MAX ? 1 : most <= INT16_MAX ? 2 : 4;
}

static void take_integers(struct cursor *cursor, uint32_t version, size_t n, int32_t *ret)
{
    unsigned width = version == FIRST_VERSION ? 4 : take_u8(cursor);
    if (width != 1 && width != 2 && width != 4) {
        cursor->is_broken = true;
        return;
    }
    const unsigned char *from = take(cursor, width == 4 ? n * 4 : 4 + (n - 1) * width);
    if (!from)
        return;
    memcpy(ret, from, width == 4 ? n * 4 : 4);
    int64_t sum = ret[0]; /* beyond an integer only where the bytes are damaged */
    for (size_t i = 1; width == 1 && i < n; i++) {
        sum += (int8_t)from[3 + i];
        ret[i] = (int32_t)sum;
    }
    for (size_t i = 1; width == 2 && i < n; i++) {
        int16_t difference;
        memcpy(&difference, from + 2 + 2 * i, sizeof difference);
        sum += difference;
        ret[i] = (int32_t)sum;
    }
}

static void put_values(struct text *to, const double *values, size_t n, int32_t *scratch)
{
    struct decimal decimal;
    bool has_decimal = find_decimal(values, n, scratch, &decimal);
    text_putc(to, has_decimal);
    if (!has_decimal) {
        text_add(to, (const char *)values, n * sizeof *values);
        return;
    }
    text_putc(to, (char)decimal.decimals);
    text_putc(to, (char)decimal.factor);
    put_integers(to, scratch, n);
}

static void take_values(struct cursor *cursor, uint32_t version, size_t n, int32_t *scratch, double *ret)
{
    bool has_decimal = version != FIRST_VERSION && take_u8(cursor) != 0;
    if (!has_decimal) {
        const void *all = take(cursor, n * sizeof *ret);
        if (all)
            memcpy(ret, all, n * sizeof *ret);
        return;
    }
    struct decimal decimal = {.decimals = take_u8(cursor)};
    decimal.factor = take_u8(cursor);
    if (decimal.decimals >= COUNT_OF(tens) || decimal.factor >= COUNT_OF(factors)) {
        cursor->is_broken = true;
        return;
    }
    take_integers(cursor, version, n, scratch);
    for (size_t i = 0; i < n; i++)
        ret[i] = from_decimal(scratch[i], decimal);
}

/* The form that gives back every value to the bit; that of the first number decides which are tried on all. */
static bool find_decimal(const double *values, size_t n, int32_t *ret, struct decimal *ret_decimal)
{
    size_t first = 0;
    while (first + 1 < n && isnan(values[first]))
        first++;
    for (struct decimal d = {0, 0}; d.factor < COUNT_OF(factors); d.factor++)
        for (d.decimals = 0; d.decimals < COUNT_OF(tens); d.decimals++)
            if (is_decimal(values + first, 1, d, ret) && is_decimal(values, n, d, ret)) {
                *ret_decimal = d;
                return true;
            }
    return false;
}

static bool is_decimal(const double *values, size_t n, struct decimal decimal, int32_t *ret)
{
    const double shift = 0x1.8p52; /* as in to_steps() */
    for (size_t i = 0; i < n; i++) {
        double k = values[i] / factors[decimal.factor] * tens[decimal.decimals];
        ret[i] = fabs(k) < INT32_MAX - 1 ? (int32_t)(k + shift - shift) : INT32_MIN;
        double back = from_decimal(ret[i], decimal);
        if (isnan(values[i]) ? ret[i] != INT32_MIN : memcmp(&back, &values[i], sizeof back) != 0)
            return false;
    }
    return true;
}

static double from_decimal(int32_t k, struct decimal decimal)
{
    return k == INT32_MIN ? NAN : (double)k / tens[decimal.decimals] * factors[decimal.factor];
}

static void put_floats(struct text *to, const double *values, size_t n)
{
    char *room = text_room(to, n * sizeof(float));
    for (size_t i = 0; room && i < n; i++) {
        float narrow = (float)values[i];
        memcpy(room + i * sizeof narrow, &narrow, sizeof narrow);
    }
}

static void take_floats(struct cursor *cursor, size_t n, double *ret)
{
    const unsigned char *from = take(cursor, n * sizeof(float));
    for (size_t i = 0; from && i < n; i++) {
        float narrow;
        memcpy(&narrow, from + i * sizeof narrow, sizeof narrow);
        ret[i] = (double)narrow;
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
