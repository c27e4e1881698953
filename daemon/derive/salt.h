/* SPDX-License-Identifier: MIT */
/* Conductivity in situ and at 25 degC, whichever of the two a logger wrote, and practical salinity.
 *
 * What a sensor did to refer its reading to 25 degC is undone with the coefficient (or the curve) that it
 * used; what the record publishes is made with the record's own. Formulas: science/conductance.h,
 * science/salinity.h. */
#ifndef RILLWARD_DERIVE_SALT_H
#define RILLWARD_DERIVE_SALT_H

#include "base/memory.h"
#include "config/config.h"
#include "model/record.h"

/* Fill in the one from the other, row by row: one logger may have written the one, and its successor the
 * other. Adds both columns; nothing without temperature, or without either. A row whose temperature lies
 * outside the curve of ISO 7888 is missing; one outside the waters that the curve is for is suspect; both
 * with TEST_RANGE_OF_FORMULA. */
void salt_complete_conductivity(struct arena *arena, const struct station *station, struct record *record);

/* Practical salinity at surface pressure: that of a few metres of water changes it by 0.0004 a metre, far
 * below the sensor, and would make salinity wait for a barometer. Outside the scale (above 42, outside -2..40
 * degC, conductivity below zero) it is missing; where the scale was not fitted (above 35 degC, conductivity
 * that no water has) suspect; both with TEST_RANGE_OF_FORMULA. Adds the column; nothing without conductivity
 * and temperature. */
void salt_compute_salinity(struct arena *arena, struct record *record);

/* The same numbers without flags, for n rows: what a logger knew that told its oxygen sensor. */
void salt_sweep(size_t n, const double *conductivity, const double *temperature, double *ret);

#endif
