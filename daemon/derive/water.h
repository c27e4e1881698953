/* SPDX-License-Identifier: MIT */
/* In the water or in air: by the crew's notes, and by what the sensors say where a note was forgotten. Which rows are
 * struck, and which stay in the water a row belongs to. */
#ifndef RILLWARD_DERIVE_WATER_H
#define RILLWARD_DERIVE_WATER_H

#include "model/facts.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum water_state {
    WATER_IN,
    WATER_SETTLING, /* shortly after entering the water */
    WATER_DOUBTED,  /* one sign of air, not two */
    WATER_AIR
};

/* `notes` ascending; only in and out of water count. A row is in air from a note "out" to the next "in"; before the
 * first note, when that says "in"; after the last, when that says "out". One sample to each side of an "out" or "in"
 * that stands within `margin` ms of it is struck too: noted times are rounded. For `settling` ms after an "in" a row
 * settles. ret_deployment counts the "out" notes before a row: rows with the same number hung in the same place. */
void water_states(size_t n, const int64_t *time, size_t note_count, const struct note *notes, int64_t margin,
                  int64_t settling, uint8_t *ret_state, uint32_t *ret_deployment);

/* Forgotten notes. Two signs make air: gauge pressure within WATER_AIR_GAUGE of none, and conductivity below
 * WATER_AIR_CONDUCTIVITY; the pressure alone (`conductivity` NULL or NaN) makes doubt. NaN is no sign. The rows beside
 * such a stretch are struck with it, settling follows it, and each stretch begins a new deployment. Limits: common
 * practice of the trade (3 cm of water; rain water has more than 10 uS/cm once it runs over ground). */
#define WATER_AIR_GAUGE 300.0        /* Pa */
#define WATER_AIR_CONDUCTIVITY 0.010 /* mS/cm */
void water_detect(size_t n, const int64_t *time, const double *gauge, const double *conductivity, int64_t settling,
                  uint8_t *state);

#endif
