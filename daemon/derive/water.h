/* SPDX-License-Identifier: MIT */
/* In the water or in air: by the crew's notes, and by what the sensors say where a note was forgotten. Which rows are
 * struck, and which stay in the water a row belongs to. */
#ifndef RILLWARD_DERIVE_WATER_H
#define RILLWARD_DERIVE_WATER_H

#include "model/facts.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define MOVE_NOTES (1u << NOTE_OUT_OF_WATER | 1u << NOTE_IN_WATER) /* the field notes that say so */

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

/* The other way round nothing is changed, only told: the notes have the logger in air (`state` as water_states() leaves
 * it), and the sensors say water. ret_is_wet[i]: so it is in row i and in every row of the WATER_WET_SINCE before it,
 * back to one that is as old. Water is a gauge pressure above WATER_WET_GAUGE, with conductivity of water where that is
 * measured; above WATER_WET_GAUGE_ALONE where it is not, since a logger that lies that much lower than its barometer
 * reads it in air, too (12 Pa a metre). NaN pressure ends it. Limits: ours; longer than any check in a bucket. */
#define WATER_WET_SINCE (6 * (int64_t)3600 * 1000) /* ms; not more than the rows that stand before a span */
#define WATER_WET_GAUGE 1000.0                     /* Pa: 10 cm */
#define WATER_WET_GAUGE_ALONE 3000.0               /* Pa: 250 m of air */
void water_find_wet(size_t n, const int64_t *time, const double *gauge, const double *conductivity,
                    const uint8_t *state, uint8_t *ret_is_wet);

#endif
