/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_GRAVITY_H
#define RILLWARD_SCIENCE_GRAVITY_H

/* Acceleration of free fall [m/s2] from latitude [degrees, -90..90, sign of no consequence] and height.
 * All forms agree within 1e-5 m/s2, that is 0.01 mm in 10 m of water; local anomalies of the field (up to
 * about 1e-3 m/s2, 1 mm in 10 m) are larger than their differences. Outside the range: NaN. */

#define GRAVITY_STANDARD_M_S2 9.80665 /* g_n, exact (CGPM 1901) */

/* The one to use: WGS 84 with the free-air term.
 * NIMA TR8350.2 (3rd ed., 2000), eq. 4-1 and 4-3; height above the ellipsoid [m], -1000..10000 (the height
 * above sea level will do: 50 m are 1.5e-4 m/s2).  Check value: gravity_at(45, 1000) = 9.803113. */
double gravity_at(double latitude, double height_m);

/* On the ellipsoid WGS 84: Somigliana's closed formula, TR8350.2 eq. 4-1.
 * Check value: gravity_wgs84(45) = 9.8061978. */
double gravity_wgs84(double latitude);

/* On the ellipsoid GRS 80: Moritz (1980, reprinted 2000), J. Geodesy 74:128-133.
 * Check value: gravity_grs80(90) = 9.8321863685 (printed polar gravity). */
double gravity_grs80(double latitude);

/* International gravity formula 1980, the series. Check value: gravity_igf80(45) = 9.806200. */
double gravity_igf80(double latitude);

/* Surface form of TEOS-10 (IOC, SCOR and IAPSO 2010). Check value: gravity_teos10(30) = 9.7932493. */
double gravity_teos10(double latitude);

/* The form of UNESCO Technical Papers in Marine Science 44 (Fofonoff and Millard 1983), p. 27, on the
 * 1967 system; needed for its depth formula only. Check value: gravity_unesco44(30) = 9.793240. */
double gravity_unesco44(double latitude);

#endif
