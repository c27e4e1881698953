/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_DENSITY_H
#define RILLWARD_SCIENCE_DENSITY_H

#include <stddef.h>

/* Density of water [kg/m3].
 *
 *   salinity      : practical salinity, PSS-78                      [1]
 *   temperature_c : ITS-90                                          [degC]
 *   gauge_pa      : pressure above that of the air at the surface   [Pa]
 *
 * Functions ending in _68 are the published forms: temperature on IPTS-68 and pressure in decibars (or what
 * their comment says). All others take ITS-90 and Pa and convert inside (t68 = 1.00024 t90, Saunders 1990,
 * WOCE Newsletter 10:10). A gauge pressure below zero is the noise of a sensor at the surface and counts as
 * zero. NaN in, or an argument outside the stated range: NaN. */

/* The density to use for level: the formula for pure water where salinity is exactly 0 (fresh water, or
 * conductivity not measured) and temperature 0..40; EOS-80 for all else. The two meet within 0.0017 kg/m3
 * at salinity 0, so the switch moves a level by less than 2e-6 of the depth. */
double density_of_water(double salinity, double temperature_c, double gauge_pa);

/* `n` times density_of_water(). Output may be any of the inputs. */
void density_of_water_sweep(size_t n, const double *salinity, const double *temperature_c,
                            const double *gauge_pa, double *ret_density);

/* Density of pure, air-free water at 101325 Pa.
 * Tanaka, Girard, Davis, Peuto and Bignell (2001), Metrologia 38:301-309, p. 305; 0..40 degC, stated
 * uncertainty about 0.001 kg/m3.  Check value: density_tanaka(20) = 998.2067. */
double density_tanaka(double temperature_c);

/* The same under pressure, with the compressibility of the same paper; within 0.0012 kg/m3 of TEOS-10 up to
 * 50 dbar. 0..1e8 Pa.  Check value: density_tanaka_at_pressure(20, 200000) = 998.298. */
double density_tanaka_at_pressure(double temperature_c, double gauge_pa);

/* Density of sea and brackish water, International Equation of State of Seawater 1980.
 * Millero and Poisson (1981), Deep-Sea Res. 28A:625-629; Millero, Chen, Bradshaw and Schleicher (1980),
 * Deep-Sea Res. 27A:255-264; UNESCO Tech. Pap. Mar. Sci. 44 (1983), eq. 13-19.
 * Salinity 0..42, IPTS-68 temperature -2..40, pressure 0..10000 dbar.
 * Check value: density_eos80_68(35, 25, 10000) = 1062.53817 (UNESCO 44, p. 19).
 * Over salinity 0..40, 0..35 degC, 0..20 dbar it differs from TEOS-10 by at most 0.0054 kg/m3. */
double density_eos80(double salinity, double temperature_c, double gauge_pa);
double density_eos80_68(double salinity, double temperature_68, double pressure_dbar);

/* Secant bulk modulus K [bar] of EOS-80 at a pressure in bar: rho(p) = rho(0) / (1 - p/K).
 * The ranges are not checked.  Check value: density_bulk_modulus_68(38, 36, 900) = 27290.780. */
double density_bulk_modulus_68(double salinity, double temperature_68, double pressure_bar);

#endif
