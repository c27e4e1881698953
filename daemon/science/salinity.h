/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_SALINITY_H
#define RILLWARD_SCIENCE_SALINITY_H

#include <stddef.h>

/* Practical salinity [1] from conductivity, and back.
 *
 *   conductivity_ms_cm : in-situ, not compensated to 25 degC; mS/cm, not S/m   [mS/cm]
 *   temperature_c      : ITS-90, of the water in the conductivity cell         [degC]
 *   gauge_pa           : pressure above that of the air at the surface         [Pa]
 *
 * Practical Salinity Scale 1978: IEEE J. Ocean. Eng. OE-5(1), 1980 (Lewis 3-8, Perkin and Lewis 9-16);
 * UNESCO Tech. Pap. Mar. Sci. 44 (1983), eq. 1-6; C(35, 15 degC IPTS-68, 0) = 42.914 mS/cm (Culkin and
 * Smith 1980, ibid. 22-23). Below 2 the extension of Hill, Dauphinee and Woods (1986), IEEE J. Ocean. Eng.
 * OE-11(1):109-112, scaled so that it meets PSS-78 exactly at 2, as TEOS-10 does.
 *
 * Range: result 0..42, temperature -2..40 (fitted -2..35; the tables of UNESCO 44 go to 40), pressure
 * 0..1e8 Pa. NaN in, or outside: NaN. Conductivity at or below 0 gives 0; so do the last 0.002 mS/cm above
 * it, where the extension dips below 0. Gauge pressure below zero counts as zero.
 *
 * Functions ending in _68 are the published forms: IPTS-68 temperature (t68 = 1.00024 t90), pressure in
 * decibars, conductivity as the ratio R = C / 42.914 mS/cm; their ranges are not checked. */

#define SALINITY_STANDARD_CONDUCTIVITY_MS_CM 42.914

/* Within the range of the functions, and still outside what the scale was fitted to: above FITTED_TEMPERATURE, and at
 * conductivities up to LEAST_CONDUCTIVITY, which no natural water has. */
#define SALINITY_FITTED_TEMPERATURE_C 35.0
#define SALINITY_LEAST_CONDUCTIVITY_MS_CM 0.002

/* Check value: salinity_from_conductivity(50, 25, 5e4) = 32.731669 (TEOS-10). */
double salinity_from_conductivity(double conductivity_ms_cm, double temperature_c, double gauge_pa);

/* `n` times salinity_from_conductivity(). Output may be any of the inputs. */
void salinity_from_conductivity_sweep(size_t n, const double *conductivity_ms_cm, const double *temperature_c,
                                      const double *gauge_pa, double *ret_salinity);

/* The inverse [mS/cm], to 1e-9 in salinity; salinity 0 gives 0.
 * Check value: salinity_to_conductivity(35, 25, 0) = 53.07103 (TEOS-10). */
double salinity_to_conductivity(double salinity, double temperature_c, double gauge_pa);

/* PSS-78 without the extension, from a conductivity ratio.
 * Check value: salinity_pss78_68(1.2, 20, 2000) = 37.245628 (UNESCO 44, p. 9). */
double salinity_pss78_68(double ratio, double temperature_68, double pressure_dbar);

/* The conductivity ratio R of a salinity, the inverse of salinity_pss78_68() for 2..42 and of the extended
 * scale below.  Check value: salinity_ratio_68(40, 40, 10000) = 1.888091 (UNESCO 44, p. 11). */
double salinity_ratio_68(double salinity, double temperature_68, double pressure_dbar);

/* The parts: rt = C(35,t,0)/C(35,15,0); Rp = C(S,t,p)/C(S,t,0); salinity of Rt = R/(Rp rt); and the
 * extension before it is made to meet PSS-78 at 2.
 * Check values: salinity_rt35_68(20) = 1.1164927, salinity_rp_68(1.2, 20, 2000) = 1.0169429 (p. 9). */
double salinity_rt35_68(double temperature_68);
double salinity_rp_68(double ratio, double temperature_68, double pressure_dbar);
double salinity_pss78_of_rt_68(double rt, double temperature_68);
double salinity_hill_68(double rt, double temperature_68);

#endif
