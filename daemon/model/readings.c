/* SPDX-License-Identifier: MIT */
#include "model/readings.h"

#include "base/timestamp.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool is_ascending(const struct readings *readings);
static void copy_row(struct readings *to, size_t i, const struct readings *from, size_t j);
static void fold_row(struct readings *to, size_t i, const struct readings *from, size_t j, bool *ret_fills,
                     bool *ret_differs);
static void note_change(struct merge_result *result, int64_t time);
static int compare_rows(const void *a, const void *b);

void readings_init(struct readings *readings, struct arena *arena, size_t n, uint32_t columns)
{
    *readings = (struct readings){.n = n};
    readings->time = arena_array(arena, n, sizeof *readings->time);
    readings->drop = arena_array(arena, n, sizeof *readings->drop);
    readings->line = arena_array(arena, n, sizeof *readings->line);
    for (unsigned q = 0; q < QUANTITY_COUNT; q++) {
        if (!(columns >> q & 1))
            continue;
        readings->value[q] = arena_room(arena, n, sizeof(double));
        for (size_t i = 0; i < n; i++)
            readings->value[q][i] = NAN;
    }
}

uint32_t readings_columns(const struct readings *readings)
{
    uint32_t columns = 0;
    for (unsigned q = 0; q < QUANTITY_COUNT; q++)
        if (readings->value[q])
            columns |= 1u << q;
    return columns;
}

size_t readings_at_or_after(const struct readings *readings, int64_t time)
{
    size_t low = 0, high = readings->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (readings->time[middle] < time)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

struct readings readings_between(const struct readings *readings, int64_t from, int64_t to)
{
    size_t first = readings_at_or_after(readings, from), last = readings_at_or_after(readings, to);
    struct readings view = {.n = last > first ? last - first : 0};
    if (readings->n == 0)
        return view;
    view.time = readings->time + first;
    view.drop = readings->drop + first;
    view.line = readings->line + first;
    view.unread = readings->unread ? readings->unread + first : NULL;
    for (unsigned q = 0; q < QUANTITY_COUNT; q++)
        view.value[q] = readings->value[q] ? readings->value[q] + first : NULL;
    return view;
}

struct row {
    int64_t time;
    size_t index;
};

size_t readings_sort(struct readings *readings, struct arena *arena)
{
    if (is_ascending(readings))
        return 0;
    struct row *rows = arena_array(arena, readings->n, sizeof *rows);
    for (size_t i = 0; i < readings->n; i++)
        rows[i] = (struct row){readings->time[i], i};
    qsort(rows, readings->n, sizeof *rows, compare_rows);
    struct readings sorted;
    readings_init(&sorted, arena, readings->n, readings_columns(readings));
    if (readings->unread)
        sorted.unread = arena_array(arena, readings->n, sizeof *sorted.unread);
    size_t n = 0;
    for (size_t i = 0; i < readings->n; i++) {
        bool fills, differs;
        if (n > 0 && sorted.time[n - 1] == rows[i].time)
            fold_row(&sorted, n - 1, readings, rows[i].index, &fills, &differs);
        else
            copy_row(&sorted, n++, readings, rows[i].index);
    }
    size_t folded = readings->n - n;
    sorted.n = n;
    *readings = sorted;
    return folded;
}

void readings_merge(const struct readings *older, const struct readings *newer, struct arena *arena,
                    struct readings *ret, struct merge_result *result)
{
    *result =
        (struct merge_result){.first_disagreement = TIME_NONE, .changed_from = TIME_FOREVER, .changed_to = TIME_NONE};
    readings_init(ret, arena, older->n + newer->n, readings_columns(older) | readings_columns(newer));
    if (older->unread || newer->unread)
        ret->unread = arena_array(arena, ret->n, sizeof *ret->unread);
    size_t i = 0, j = 0, n = 0;
    while (i < older->n || j < newer->n) {
        if (j == newer->n || (i < older->n && older->time[i] < newer->time[j])) {
            copy_row(ret, n++, older, i++);
        } else if (i == older->n || newer->time[j] < older->time[i]) {
            note_change(result, newer->time[j]);
            copy_row(ret, n++, newer, j++);
            result->added++;
        } else {
            bool fills, differs;
            copy_row(ret, n, older, i);
            fold_row(ret, n, newer, j, &fills, &differs);
            if (differs && result->disagreed++ == 0) {
                result->first_disagreement = newer->time[j];
                result->other_drop = older->drop[i];
            }
            result->filled += fills && !differs;
            result->repeated += !fills && !differs;
            if (fills || differs)
                note_change(result, newer->time[j]);
            n++;
            i++;
            j++;
        }
    }
    ret->n = n;
}

static bool is_ascending(const struct readings *readings)
{
    for (size_t i = 1; i < readings->n; i++)
        if (readings->time[i] <= readings->time[i - 1])
            return false;
    return true;
}

static void copy_row(struct readings *to, size_t i, const struct readings *from, size_t j)
{
    to->time[i] = from->time[j];
    to->drop[i] = from->drop[j];
    to->line[i] = from->line[j];
    for (unsigned q = 0; q < QUANTITY_COUNT; q++)
        if (to->value[q] && from->value[q])
            to->value[q][i] = from->value[q][j];
    if (to->unread)
        to->unread[i] = from->unread ? from->unread[j] : 0;
}

static void fold_row(struct readings *to, size_t i, const struct readings *from, size_t j, bool *ret_fills,
                     bool *ret_differs)
{
    *ret_fills = *ret_differs = false;
    for (unsigned q = 0; q < QUANTITY_COUNT; q++) {
        if (!from->value[q] || isnan(from->value[q][j]))
            continue;
        double *known = &to->value[q][i];
        if (isnan(*known))
            *ret_fills = true;
        else if (*known != from->value[q][j])
            *ret_differs = true;
        *known = from->value[q][j];
        if (to->unread)
            to->unread[i] &= ~(1u << q);
    }
    if (*ret_fills || *ret_differs) {
        to->drop[i] = from->drop[j];
        to->line[i] = from->line[j];
    }
}

static void note_change(struct merge_result *result, int64_t time)
{
    if (time < result->changed_from)
        result->changed_from = time;
    if (time > result->changed_to)
        result->changed_to = time;
}

static int compare_rows(const void *a, const void *b)
{
    const struct row *x = a, *y = b;
    if (x->time != y->time)
        return x->time < y->time ? -1 : 1;
    return x->index < y->index ? -1 : 1;
}
