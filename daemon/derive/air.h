/* SPDX-License-Identifier: MIT */
/* Air pressure at a station: which barometer covers each sample, interpolated in time, carried to its elevation. */
#ifndef RILLWARD_DERIVE_AIR_H
#define RILLWARD_DERIVE_AIR_H

#include "config/config.h"
#include "model/readings.h"

/* One barometer with its readings around the span, in the order of preference. */
struct air_source {
    uint32_t number; /* place number, for the record */
    const struct barometer *barometer;
    struct readings readings;
};

/* For each of n instants (ascending): the first source whose readings bracket it with at most `largest_gap` ms between
 * them (a reading at the very instant is enough; one without a pressure is none). Linear in time, never extrapolated.
 * Carried from the barometer's elevation to `elevation` by the hypsometric equation, with the air temperature of the
 * source where it has one, else that of the standard atmosphere. Where no source covers: NaN, barometer 0, gap 0.
 * ret_gap: ms between the two readings used. Source: science/air.h, science/alignment.h. */
void air_pressure_at(size_t n, const int64_t *time, size_t source_count, const struct air_source *sources,
                     double elevation, double gravity, int64_t largest_gap, double *ret_pressure,
                     uint32_t *ret_barometer, int64_t *ret_gap);

/* Distance on the sphere [m] between two positions in degrees; radius 6371008.8 m (IUGG mean). */
double distance_between(double latitude_a, double longitude_a, double latitude_b, double longitude_b);

/* Indices into config->barometers for a station: its own list, else all within the pairing distance, nearest first.
 * `ret` holds config->barometer_count entries; returns how many. */
size_t air_candidates(const struct config *config, const struct station *station, size_t *ret);

#endif
