/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_UNCERTAINTY_H
#define RILLWARD_SCIENCE_UNCERTAINTY_H

#include <stddef.h>

/* Standard uncertainties, and how they combine, after the GUM (JCGM 100:2008). Everything below is one
 * standard uncertainty (k = 1) unless it says otherwise; twice of it covers about 95 %. */

/* From what a data sheet or a reading gives: limits +-a with equal chance between (a / sqrt 3), limits +-a
 * with most chance in the middle (a / sqrt 6), an expanded uncertainty U with k = 2 (U / 2), a resolution d
 * (d / sqrt 12). Check value: uncertainty_rectangular(0.1) = 0.057735. */
double uncertainty_rectangular(double limit);
double uncertainty_triangular(double limit);
double uncertainty_expanded(double expanded);
double uncertainty_resolution(double resolution);

/* Root of the sum of squares of `n` independent parts; NaN if one is missing. */
double uncertainty_combined(size_t n, const double *parts);

/* What a level rests on. Parts that do not apply are 0. Offsets of one instrument cancel in a level that is
 * carried from a reference reading: give stability then, not accuracy. */
struct uncertainty_sources {
    double pressure_pa;      /* of the submerged sensor */
    double air_pa;           /* of the barometer, with its reduction and interpolation */
    double density_relative; /* of the water column, 0.001 = 0.1 % */
    double gravity_relative;
    double reference_m; /* of the level that was read by hand */
    double other_m;     /* waves, drawdown, mounting */
};

/* Of a level [m]: sqrt(reference2 + other2 + (pressure2 + air2)/(rho g)2 + depth2 (density2 + gravity2)).
 * `depth_m` is the depth, or the change since the reference where the level is carried from one.
 * Check value: pressure limits +-50 Pa, air +-30 Pa, density 0.1 %, reference 1.76 mm, 998.2 kg/m3, 9.806
 * m/s2, 3 m: 0.004891. Density or gravity not above 0, or NaN: NaN. */
double uncertainty_of_level(const struct uncertainty_sources *sources, double depth_m, double density,
                            double gravity_m_s2);

/* `n` times uncertainty_of_level(). Output may be any of the inputs. */
void uncertainty_of_level_sweep(size_t n, const struct uncertainty_sources *sources, const double *depth_m,
                                const double *density, double gravity_m_s2, double *ret_uncertainty_m);

/* Of a per cent saturation, in per cent saturation: relative parts of concentration and air pressure, and the
 * sensitivities near 20 degC (2.0 % per degC, 0.59 % per unit of salinity). */
double uncertainty_of_saturation(double percent, double oxygen_relative, double temperature_c_uncertainty,
                                 double salinity_uncertainty, double air_relative);

#endif
