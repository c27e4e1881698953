/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_LEVEL_H
#define RILLWARD_SCIENCE_LEVEL_H

#include <stddef.h>

/* Water above a submerged pressure sensor, and the level that follows from it.
 *
 *   gauge_pa     : absolute pressure at the sensor minus air pressure at the surface   [Pa]
 *   density      : mean density of the water above the sensor                          [kg/m3]
 *   gravity_m_s2 : from gravity_at()                                                   [m/s2]
 *
 * A gauge pressure below zero gives a depth below zero: it is never clipped, because it tells of a drifting
 * sensor or a wrong barometer. NaN in: NaN out; density or gravity not above 0: NaN. */

/* Depth of the sensor [m]. The density is that of density_of_water() at half the gauge pressure, which is
 * the mean of the column as water is so little compressible; with the density at zero pressure a depth of
 * 10 m is 0.2 mm too large. Ranges of salinity and temperature as in density.h; one salinity and
 * temperature stand for the whole column.
 * Check value: depth_from_pressure(35000, 30, 10, gravity_wgs84(50)) = 3.487124. */
double depth_from_pressure(double gauge_pa, double salinity, double temperature_c, double gravity_m_s2);

/* `n` times depth_from_pressure(). Output may be any of the inputs. */
void depth_from_pressure_sweep(size_t n, const double *gauge_pa, const double *salinity,
                               const double *temperature_c, double gravity_m_s2, double *ret_depth_m);

/* Depth [m] where the density is known: p / (rho g), and back.
 * Check value: depth_from_density(100, 998.2067, 9.80665) = 0.010215, the 1 cm of water in 1 hPa. */
double depth_from_density(double gauge_pa, double density, double gravity_m_s2);
double depth_to_pressure(double depth_m, double density, double gravity_m_s2);

/* `n` times depth_from_density(). Output may be either input. */
void depth_from_density_sweep(size_t n, const double *gauge_pa, const double *density, double gravity_m_s2,
                              double *ret_depth_m);

/* Level [m, on the datum of the reference] from a level read by hand while the gauge pressure was
 * `reference_gauge_pa`: constant offsets of sensor and barometer cancel.
 * Check value: level_from_reference(0.876, 18340, 22110, density_eos80(12, 16, 1e4), gravity_wgs84(52)) =
 * 0.494897. */
double level_from_reference(double reference_level_m, double gauge_pa, double reference_gauge_pa,
                            double density, double gravity_m_s2);

/* Depth [m] in a deep standard ocean (salinity 35, 0 degC), pressure in decibars: UNESCO Tech. Pap. Mar. Sci.
 * 44 (1983), eq. 25; 0..10000 dbar. A published check, and the depth of many marine archives; not for
 * shallow, brackish or warm water.  Check value: depth_unesco44(10000, 30) = 9712.653 (p. 27). */
double depth_unesco44(double pressure_dbar, double latitude);

#endif
