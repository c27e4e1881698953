/* SPDX-License-Identifier: MIT */
/* In the water or in air, by the crew's notes: which rows are struck, and which deployment a row belongs to. */
#ifndef RILLWARD_DERIVE_WATER_H
#define RILLWARD_DERIVE_WATER_H

#include "model/facts.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum water_state { WATER_IN, WATER_SETTLING, WATER_AIR };

/* `notes` ascending; only in and out of water count. A row is in air from a note "out" to the next "in"; before the first
 * note, when that says "in"; after the last, when that says "out". One sample to each side of an "out" or "in" that
 * stands within `margin` ms of it is struck too: noted times are rounded. For `settling` ms after an "in" a row settles.
 * ret_deployment counts the "out" notes before a row: rows with the same number hung in the same place. */
void water_states(size_t n, const int64_t *time, size_t note_count, const struct note *notes, int64_t margin,
                  int64_t settling, uint8_t *ret_state, uint32_t *ret_deployment);

#endif
