/* SPDX-License-Identifier: MIT */
/* Readings written as text, and back. */
#ifndef RILLWARD_TESTS_MODEL_ROWS_H
#define RILLWARD_TESTS_MODEL_ROWS_H

#include "base/memory.h"
#include "model/readings.h"

#include <stdint.h>

/* "10 1.5 20; 20 - 21": rows of time, level, temperature; `-` is missing, `!` was there and could not be read. Lines
 * count from 1; all rows are of `drop`. */
struct readings rows_read(struct arena *arena, uint32_t drop, const char *text);
/* The same text, each row followed by "@drop.line". */
const char *rows_print(struct arena *arena, const struct readings *readings);

/* Rows at some of the times 0 .. span-1 in ascending order, with two columns of few values and missing ones. */
struct readings rows_random(struct arena *arena, uint32_t drop, int64_t span, uint64_t *state);

#endif
