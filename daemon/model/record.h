/* SPDX-License-Identifier: MIT */
/* The finished product of a span at one station: values, flags, which tests, uncertainty, and the air pressure used. */
#ifndef RILLWARD_MODEL_RECORD_H
#define RILLWARD_MODEL_RECORD_H

#include "base/memory.h"
#include "model/flags.h"
#include "model/quantity.h"

#include <stdint.h>

#define NO_BAROMETER 0 /* in record.barometer */

/* Columns of equal length `n`, rows at the instants of the readings (after clock correction). value[q] NULL: the
 * station has no such quantity in this span; then flag[q], tests[q] and uncertainty[q] are NULL too. */
struct record {
    size_t n;
    int64_t *time;                       /* ms UTC, strictly ascending; the logger's clock corrected */
    int64_t *raw_time;                   /* time of the readings row that the row came from, as the logger wrote it */
    double *value[QUANTITY_COUNT];       /* NaN = missing */
    uint8_t *flag[QUANTITY_COUNT];       /* enum flag; FLAG_MISSING where the value is NaN */
    uint32_t *tests[QUANTITY_COUNT];     /* mask of enum test */
    double *uncertainty[QUANTITY_COUNT]; /* standard uncertainty (k = 1), inside unit; NaN unknown; NULL: none stated */
    uint32_t *barometer;                 /* place number of the barometer used, NO_BAROMETER where none */
};

/* Room for n rows with the columns in `columns` (bit q): values NaN, flags FLAG_NOT_EVALUATED, masks 0. In the arena.
 * uncertainty columns are added by record_add_uncertainty. */
void record_init(struct record *record, struct arena *arena, size_t n, uint32_t columns);
/* The same room with nothing in it yet: every row of every column is to be written, or left out. */
void record_room(struct record *record, struct arena *arena, size_t n, uint32_t columns);
/* The quantity does not exist in these rows, though elsewhere: values NaN, flags FLAG_MISSING, masks 0; its
 * uncertainty stays. Nothing where the record has no such column. */
void record_leave_out(struct record *record, enum quantity quantity, size_t first, size_t n);
void record_add_column(struct record *record, struct arena *arena, enum quantity quantity);
void record_add_uncertainty(struct record *record, struct arena *arena, enum quantity quantity);
uint32_t record_columns(const struct record *record);
size_t record_at_or_after(const struct record *record, int64_t time);
/* Value at `time`: linear between the two usable rows (a number, not flagged fail) around it, each within `reach` ms;
 * of one side only where the other has none; NaN with none. */
double record_value_at(const struct record *record, enum quantity quantity, int64_t time, int64_t reach);
/* Rows with from <= time < to as a view sharing memory. */
struct record record_between(const struct record *record, int64_t from, int64_t to);

#endif
