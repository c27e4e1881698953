/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_CONDUCTANCE_H
#define RILLWARD_SCIENCE_CONDUCTANCE_H

#include <stddef.h>

/* Specific conductance: conductivity at 25 degC [mS/cm] from conductivity at the temperature of the water.
 * NaN in: NaN out. Salinity must start from the uncompensated conductivity: undo what the logger did. */

/* 2510 B of Standard Methods (APHA), as remembered; 0.02 is the common setting of instruments, 0.0187 a mean
 * of natural waters (Hayashi 2004, Environ. Monit. Assess. 96:119-128, as cited). */
#define CONDUCTANCE_DEFAULT_COEFFICIENT 0.0191 /* 1/degC */

/* Linear: C / (1 + alpha (t - 25)); coefficient [1/degC]. NaN where the divisor is not positive. On sea
 * water it errs +4.7 % at 0 degC and -0.2 % at 20.
 * Check value: conductance_at_25(1.01395, 10, 0.0191) = 1.42109. */
double conductance_at_25(double conductivity_ms_cm, double temperature_c, double coefficient);

/* Undoes it: the conductivity at the temperature of the water. */
double conductance_undone(double conductance_ms_cm, double temperature_c, double coefficient);

/* `n` times conductance_at_25() or conductance_undone(). Output may be any of the inputs. */
void conductance_at_25_sweep(size_t n, const double *conductivity_ms_cm, const double *temperature_c,
                             double coefficient, double *ret_conductance_ms_cm);
void conductance_undone_sweep(size_t n, const double *conductance_ms_cm, const double *temperature_c,
                              double coefficient, double *ret_conductivity_ms_cm);

/* Exact for sea-type water (use above salinity 2): the conductivity that water of the same practical salinity
 * has at 25 degC and surface pressure. Range as in salinity.h.
 * Check value: conductance_at_25_seawater(42.914, 15, 0) = 53.06668 (TEOS-10). */
double conductance_at_25_seawater(double conductivity_ms_cm, double temperature_c, double gauge_pa);

/* Factor f25 of ISO 7888:1985 / EN 27888:1993 for natural fresh water of about 60..1000 uS/cm: C25 = f25 C.
 * 1 / f25 is a polynomial of the fourth degree in t - 25 degC, our own fit to the standard's table of three decimals:
 * 144 of its entries, 0.0 to 35.3 degC, are met to 0.0006, its rounding. They come from a public reprint of the table;
 * a second one agrees from 0 to 12 degC; the standard itself was not at hand. 0..35.9 degC as in the table, else NaN.
 * Check value: conductance_factor_iso7888(20) = 1.116. */
double conductance_factor_iso7888(double temperature_c);

/* C25 = f25 C and its inverse. The factor is for natural fresh water of CONDUCTANCE_ISO_LEAST to CONDUCTANCE_ISO_MOST
 * at 25 degC; outside that the result is computed all the same, and the caller says so. NaN outside 0..35.9 degC. */
#define CONDUCTANCE_ISO_LEAST 0.060 /* mS/cm */
#define CONDUCTANCE_ISO_MOST 1.000
double conductance_at_25_iso7888(double conductivity_ms_cm, double temperature_c);
double conductance_undone_iso7888(double conductance_ms_cm, double temperature_c);

/* Practical salinity from conductance at 25 degC alone, where no temperature was kept:
 * Schemel (2001), IEP Newsletter 14(1):17-18. Above about 0.5 mS/cm; 0..60 mS/cm, else NaN. Prefer
 * salinity_from_conductivity() whenever there is a temperature.
 * Check value: conductance_to_salinity(53.087) = 34.9997 (the sum of the coefficients). */
double conductance_to_salinity(double conductance_ms_cm);

#endif
