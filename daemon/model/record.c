/* SPDX-License-Identifier: MIT */
#include "model/record.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

static void room_for_column(struct record *record, struct arena *arena, enum quantity quantity);
static void begin_column(struct record *record, enum quantity quantity);
static void fill_missing(size_t n, double *values);
static bool is_usable(const struct record *record, enum quantity quantity, size_t i);

void record_room(struct record *record, struct arena *arena, size_t n, uint32_t columns)
{
    *record = (struct record){.n = n};
    record->time = arena_room(arena, n, sizeof *record->time);
    record->raw_time = arena_room(arena, n, sizeof *record->raw_time);
    record->barometer = arena_room(arena, n, sizeof *record->barometer);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        if (columns >> q & 1)
            room_for_column(record, arena, q);
}

void record_init(struct record *record, struct arena *arena, size_t n, uint32_t columns)
{
    record_room(record, arena, n, columns);
    memset(record->time, 0, n * sizeof *record->time);
    memset(record->raw_time, 0, n * sizeof *record->raw_time);
    memset(record->barometer, 0, n * sizeof *record->barometer);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        if (record->value[q])
            begin_column(record, q);
}

void record_add_column(struct record *record, struct arena *arena, enum quantity quantity)
{
    if (record->value[quantity])
        return;
    room_for_column(record, arena, quantity);
    begin_column(record, quantity);
}

void record_leave_out(struct record *record, enum quantity quantity, size_t first, size_t n)
{
    if (!record->value[quantity])
        return;
    fill_missing(n, record->value[quantity] + first);
    memset(record->flag[quantity] + first, FLAG_MISSING, n);
    memset(record->tests[quantity] + first, 0, n * sizeof *record->tests[quantity]);
}

void record_add_uncertainty(struct record *record, struct arena *arena, enum quantity quantity)
{
    if (record->uncertainty[quantity])
        return;
    record->uncertainty[quantity] = arena_room(arena, record->n, sizeof(double));
    fill_missing(record->n, record->uncertainty[quantity]);
}

uint32_t record_columns(const struct record *record)
{
    uint32_t columns = 0;
    for (unsigned q = 0; q < QUANTITY_COUNT; q++)
        if (record->value[q])
            columns |= 1u << q;
    return columns;
}

size_t record_at_or_after(const struct record *record, int64_t time)
{
    size_t low = 0, high = record->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (record->time[middle] < time)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

double record_value_at(const struct record *record, enum quantity quantity, int64_t time, int64_t reach)
{
    const double *value = record->value[quantity];
    if (!value)
        return NAN;
    size_t after = record_at_or_after(record, time), before = after;
    while (after < record->n && record->time[after] - time <= reach && !is_usable(record, quantity, after))
        after++;
    while (before > 0 && time - record->time[before - 1] <= reach && !is_usable(record, quantity, before - 1))
        before--;
    bool has_after = after < record->n && record->time[after] - time <= reach;
    bool has_before = before > 0 && time - record->time[before - 1] <= reach;
    if (!has_after || !has_before)
        return has_after ? value[after] : has_before ? value[before - 1] : NAN;
    double share = (double)(time - record->time[before - 1]) / (double)(record->time[after] - record->time[before - 1]);
    return value[before - 1] + share * (value[after] - value[before - 1]);
}

struct record record_between(const struct record *record, int64_t from, int64_t to)
{
    size_t first = record_at_or_after(record, from), last = record_at_or_after(record, to);
    struct record view = {.n = last > first ? last - first : 0};
    if (record->n == 0)
        return view;
    view.time = record->time + first;
    view.raw_time = record->raw_time + first;
    view.barometer = record->barometer + first;
    for (unsigned q = 0; q < QUANTITY_COUNT; q++) {
        if (!record->value[q])
            continue;
        view.value[q] = record->value[q] + first;
        view.flag[q] = record->flag[q] + first;
        view.tests[q] = record->tests[q] + first;
        view.uncertainty[q] = record->uncertainty[q] ? record->uncertainty[q] + first : NULL;
    }
    return view;
}

static void room_for_column(struct record *record, struct arena *arena, enum quantity quantity)
{
    record->value[quantity] = arena_room(arena, record->n, sizeof(double));
    record->flag[quantity] = arena_room(arena, record->n, sizeof(uint8_t));
    record->tests[quantity] = arena_room(arena, record->n, sizeof(uint32_t));
}

static void begin_column(struct record *record, enum quantity quantity)
{
    fill_missing(record->n, record->value[quantity]);
    memset(record->flag[quantity], FLAG_NOT_EVALUATED, record->n);
    memset(record->tests[quantity], 0, record->n * sizeof *record->tests[quantity]);
}

static void fill_missing(size_t n, double *values)
{
    for (size_t i = 0; i < n; i++)
        values[i] = NAN;
}

static bool is_usable(const struct record *record, enum quantity quantity, size_t i)
{
    return !isnan(record->value[quantity][i]) && record->flag[quantity][i] != FLAG_FAIL;
}
