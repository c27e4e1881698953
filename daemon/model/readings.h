/* SPDX-License-Identifier: MIT */
/* Readings: the raw values of one station or barometer, in SI and UTC, in ascending time, one row an instant. */
#ifndef RILLWARD_MODEL_READINGS_H
#define RILLWARD_MODEL_READINGS_H

#include "base/memory.h"
#include "model/quantity.h"

#include <stdbool.h>
#include <stdint.h>

/* Columns of equal length `n`. value[q] is NULL where no row has the quantity; inside a column NaN is missing. */
struct readings {
    size_t n;
    int64_t *time;                 /* ms UTC, strictly ascending */
    uint32_t *drop;                /* number of the drop that set the row last; 0 while still in intake */
    uint32_t *line;                /* line of the file, from 1 */
    double *value[QUANTITY_COUNT]; /* inside units of model/quantity.h */
    uint32_t *unread;              /* bit q: the cell was there and could not be read; NULL = none */
};

/* Room for n rows with the columns in `columns` (bit q), all values NaN, n set. Lives in the arena. */
void readings_init(struct readings *readings, struct arena *arena, size_t n, uint32_t columns);
uint32_t readings_columns(const struct readings *readings);
/* Index of the first row at or after `time` (n where there is none). */
size_t readings_at_or_after(const struct readings *readings, int64_t time);
/* Rows with from <= time < to as a view: shares memory with `readings`. */
struct readings readings_between(const struct readings *readings, int64_t from, int64_t to);

/* Put rows in ascending time; of rows with the same time the later one in the file fills in or wins.
 * Returns how many rows were folded into another. */
size_t readings_sort(struct readings *readings, struct arena *arena);

/* What a merge did, for the report to the operator. */
struct merge_result {
    size_t added;                     /* rows with a new time */
    size_t repeated;                  /* rows already known with the same values */
    size_t filled;                    /* rows known, where a missing value was filled in */
    size_t disagreed;                 /* rows where a value differs: the newer drop wins */
    int64_t first_disagreement;       /* time of the first such row, TIME_NONE without one */
    uint32_t other_drop;              /* the drop that it disagrees with */
    int64_t changed_from, changed_to; /* [from, to] of rows whose content changed; from > to when nothing changed */
};

/* Merge `newer` over `older` (both ascending) into ret (arena). A value present in both and different is taken from
 * `newer`; NaN never replaces a number; rows missing from `newer` stay. Same inputs, same result. */
void readings_merge(const struct readings *older, const struct readings *newer, struct arena *arena,
                    struct readings *ret, struct merge_result *result);

#endif
