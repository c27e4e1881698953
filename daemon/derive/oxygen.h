/* SPDX-License-Identifier: MIT */
/* Dissolved oxygen: what the sensor had been told is undone, what was so is applied. Formulas:
 * science/oxygen.h.
 *
 * A reading in mg/L was made by the sensor with a salinity: one for all, or what the logger measured. A
 * reading in per cent refers to an air pressure: one for all, or that of the moment. A calibration in air for
 * which another pressure was entered is a gain on both. Two saturations come out: relative to the air
 * pressure at the station, and, under a name of its own, to 1013.25 hPa. */
#ifndef RILLWARD_DERIVE_OXYGEN_H
#define RILLWARD_DERIVE_OXYGEN_H

#include "base/memory.h"
#include "config/config.h"
#include "model/record.h"

/* Arrays of the record's rows. */
struct oxygen_situation {
    const double *salinity;       /* true, never NaN */
    const uint8_t *salinity_flag; /* how good that is, and what was said about it */
    const uint32_t *salinity_tests;
    const double *told_salinity; /* where the sensor was told the measured one; NULL: not known */
    const double *air;           /* Pa; NaN unknown */
};

/* Fill in and correct the mg/L column, from readings in mg/L or in per cent, row by row. Without a water
 * temperature nothing can be computed: missing with TEST_NO_TEMPERATURE; only where nothing had to be
 * computed the reading stays, suspect with that mark. A salinity that was told and is not known leaves the
 * reading as it is, suspect. Nothing without a reading. */
void oxygen_compute(struct arena *arena, const struct station *station,
                    const struct oxygen_situation *situation, struct record *record);

/* Both saturations from the finished mg/L; a reading in per cent is replaced. */
void oxygen_compute_saturation(struct arena *arena, const struct station *station,
                               const struct oxygen_situation *situation, struct record *record);

#endif
