/* SPDX-License-Identifier: MIT */
/* Private to store/: the bytes in which the readings or finished values of one place and UTC day are kept.
 *
 * Little-endian: u32 version, u32 rows, u32 columns (bit = quantity), then the columns. `day` counts from 1970.
 * Readings: times as ms since the day's start, ascending; runs of drop; lines, ascending; runs of unread; then of each
 *           quantity u8 0 and a double each, to the bit; or u8 1, u8 decimals, u8 factor and integers k, where each
 *           value is exactly (k / 10^decimals) * factor: what a file of decimal numbers gives.
 * Record:   times; runs of (raw time - time); runs of barometer; then of each quantity integers, the value in units of
 *           its last published decimal; runs of flag; runs of tests; u32 "has uncertainty" and a float each if so.
 * Integers: u8 width 4 and an i32 each; or u8 width 1 or 2, the first as i32 and differences of that width: water
 *           changes little from sample to sample. INT32_MIN is a missing value.
 * Ascending numbers: u32 the first, then runs of the differences. Runs are (u32 length, u32 value) pairs until all rows
 * are covered: clocks tick evenly, and masks hardly change within a day.
 * Version 1, written by earlier releases and still read, had every time, line and value at full width. */
#ifndef RILLWARD_STORE_CHUNK_H
#define RILLWARD_STORE_CHUNK_H

#include "base/memory.h"
#include "base/text.h"
#include "model/readings.h"
#include "model/record.h"

#include <stdbool.h>

void chunk_put_readings(struct text *to, int64_t day, const struct readings *readings, struct arena *scratch);
/* False where the bytes are no chunk of readings. */
bool chunk_take_readings(const void *bytes, size_t length, int64_t day, struct arena *arena, struct readings *ret);

void chunk_put_record(struct text *to, int64_t day, const struct record *record, struct arena *scratch);
/* Rows and columns that chunk_take_record() will fill; false where the bytes are no chunk of a record. */
bool chunk_head_of_record(const void *bytes, size_t length, uint32_t *ret_rows, uint32_t *ret_columns);
/* Into the rows of `ret` from `first` on, which there are, as are the columns; a column that it has and the chunk has
 * not is missing there. False where the bytes are damaged. */
bool chunk_take_record(const void *bytes, size_t length, int64_t day, struct arena *arena, struct record *ret,
                       size_t first);

#endif
