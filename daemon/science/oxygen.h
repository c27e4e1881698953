/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_OXYGEN_H
#define RILLWARD_SCIENCE_OXYGEN_H

#include <stddef.h>

/* Dissolved oxygen: solubility, per cent saturation, and the corrections for what a sensor was not told.
 *
 *   temperature_c : ITS-90, of the water at the oxygen sensor                            [degC]
 *   salinity      : practical salinity                                                   [1]
 *   air_pa        : absolute air pressure at the water surface (station pressure, never
 *                   reduced to sea level)                                                [Pa]
 *   oxygen_mg_l   : concentration                                                        [mg/L]
 *
 * Solubility after Benson and Krause (1980), Limnol. Oceanogr. 25:662-671, and (1984), 29:620-632, eq. 24 and
 * 32, in the form adopted by USGS Office of Water Quality Technical Memorandum 2011.03 and Standard Methods
 * 4500-O; accuracy about 0.1 %. Range: temperature -2..40, salinity 0..42, air pressure 50600..111500 Pa
 * (fitted for 0..40, 0..40, 0.5..1.1 atm; the rest, for winter and brine, is extrapolated and stays within
 * 4e-4 of Garcia and Gordon). NaN in, or outside: NaN.
 *
 * Two conventions of per cent saturation exist; the air pressure given decides which: that of the station
 * ('local', the usual one for rivers), or OXYGEN_SEA_LEVEL_PA ('sea level', the usual one in marine
 * archives). */

#define OXYGEN_SEA_LEVEL_PA 101325.0
#define OXYGEN_MOLAR_MASS_G_MOL 31.9988

/* Concentration in equilibrium with moist air. Check values: oxygen_solubility(20, 0, 101325) = 9.092
 * (Standard Methods 4500-O, table I), oxygen_solubility(20, 10, 101325) = 8.572. */
double oxygen_solubility(double temperature_c, double salinity, double air_pa);

/* `n` times oxygen_solubility(). Output may be any of the inputs. */
void oxygen_solubility_sweep(size_t n, const double *temperature_c, const double *salinity,
                             const double *air_pa, double *ret_oxygen_mg_l);

/* The three factors of the product. The salinity factor is 1 in fresh water, the pressure factor 1 at 1 atm.
 * Check values: oxygen_solubility_fresh(25) = 8.263, oxygen_salinity_factor(20, 30) = 0.83778,
 * oxygen_pressure_factor(15, 90000) = 0.88639. */
double oxygen_solubility_fresh(double temperature_c);
double oxygen_salinity_factor(double temperature_c, double salinity);
double oxygen_pressure_factor(double temperature_c, double air_pa);

/* Per cent saturation and its inverse.
 * Check value: oxygen_percent(7.5, 18, 12, 100200) = 86.103. The inverse also serves a logger that keeps
 * only per cent: give it the air pressure the logger was set to, and the true salinity (per cent saturation
 * follows the partial pressure of oxygen and does not depend on a salinity setting). */
double oxygen_percent(double oxygen_mg_l, double temperature_c, double salinity, double air_pa);
double oxygen_from_percent(double percent, double temperature_c, double salinity, double air_pa);

/* `n` times the two above. Output may be any of the inputs. */
void oxygen_percent_sweep(size_t n, const double *oxygen_mg_l, const double *temperature_c,
                          const double *salinity, const double *air_pa, double *ret_percent);
void oxygen_from_percent_sweep(size_t n, const double *percent, const double *temperature_c,
                               const double *salinity, const double *air_pa, double *ret_oxygen_mg_l);

/* A concentration reported by a sensor that was set to `salinity_set` in water of `salinity`: the sensor
 * feels partial pressure, the mg/L are its arithmetic. Fresh setting in salinity 30 at 20 degC: 19.4 % too
 * high.  Check value: oxygen_corrected_for_salinity(9.0, 20, 30, 0) = 7.5401. */
double oxygen_corrected_for_salinity(double oxygen_mg_l, double temperature_c, double salinity,
                                     double salinity_set);

/* `n` times the above; the setting is one for the series. Output may be any of the inputs. */
void oxygen_corrected_for_salinity_sweep(size_t n, const double *oxygen_mg_l, const double *temperature_c,
                                         const double *salinity, double salinity_set,
                                         double *ret_oxygen_mg_l);

/* The gain by which to multiply the concentrations of a whole deployment whose sensor was calibrated in air
 * at `calibration_temperature_c` with `air_set_pa` entered while `air_pa` was true.
 * Check value: 8.5 * oxygen_air_calibration_gain(22, 94000, 101325) = 7.8694. */
double oxygen_air_calibration_gain(double calibration_temperature_c, double air_pa, double air_set_pa);

/* Per cent computed by a logger at the fixed `air_set_pa`, made relative to `air_pa`.
 * Check value: oxygen_percent_at_pressure(100, 20, 101325, 95000) = 106.821. */
double oxygen_percent_at_pressure(double percent, double temperature_c, double air_set_pa, double air_pa);

/* Solubility [umol/kg] at 1 atm: Garcia and Gordon (1992), Limnol. Oceanogr. 37:1307-1312, eq. 8 with the
 * Benson-Krause column of table 1 (the misprinted power of its A3 term corrected). Temperature is taken as
 * given, as published; TEOS-10 puts IPTS-68 there. -2..40 degC, salinity 0..42. A cross-check, agrees with
 * oxygen_solubility() within 4e-4.  Check value: oxygen_garcia_gordon(10, 35) = 274.610. */
double oxygen_garcia_gordon(double temperature_c, double salinity);

/* [mg/L] from [umol/kg] and the density of the water [kg/m3]. */
double oxygen_from_micromoles_per_kg(double oxygen_umol_kg, double density);

/* Vapour pressure of water [atm] of the pressure factor; and that of Green and Carritt (1967), J. Mar. Res.
 * 25:140-147, with salinity, which Benson and Krause used: for comparison, it moves the factor by less than
 * 2e-5 in fresh water.  Check values: 0.023074 at 20 degC; 0.04348122 at 31 degC, salinity 35. */
double oxygen_vapour_pressure_atm(double temperature_c);
double oxygen_vapour_pressure_green_carritt_atm(double temperature_c, double salinity);

/* Second virial term theta of the pressure factor [1/atm]; temperature in degC, not in K.
 * Check value: oxygen_theta(20) = 0.000715544. */
double oxygen_theta(double temperature_c);

#endif
