/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_AIR_H
#define RILLWARD_SCIENCE_AIR_H

#include <stddef.h>

/* Air pressure at another elevation. All pressures are absolute [Pa], temperatures [degC], heights [m] up.
 * 1 m of elevation is about 12 Pa, or 1.2 mm of water. NaN in, or outside the stated range: NaN. */

/* Pressure `rise_m` above (negative: below) the place where it is `pressure_pa`, by the hypsometric equation
 * with the gas constant of dry air 287.0528 J/(kg K) (US Standard Atmosphere 1976) and one mean virtual
 * temperature of the air between. Rise -10000..10000 m, temperature -90..60 degC, pressure above 0.
 * Check value: air_pressure_reduced(101325, 10, 15, 9.80665) = 101204.94. */
double air_pressure_reduced(double pressure_pa, double rise_m, double virtual_temperature_c,
                            double gravity_m_s2);

/* `n` times air_pressure_reduced(), over one rise. Output may be either input. */
void air_pressure_reduced_sweep(size_t n, const double *pressure_pa, const double *virtual_temperature_c,
                                double rise_m, double gravity_m_s2, double *ret_pressure_pa);

/* The same for a longer rise, with the lapse rate of the standard atmosphere (6.5 K per km) from the air
 * temperature at the source.  Check value: air_pressure_reduced_isa(101325, 100, 15) = 100129.4. */
double air_pressure_reduced_isa(double pressure_pa, double rise_m, double source_temperature_c);

/* Standard atmosphere (US 1976, ICAO Doc 7488), troposphere: pressure at a geopotential height -1000..11000
 * m, and the height of a pressure. Weather moves the true pressure by +-3 kPa around it.
 * Check value: air_pressure_isa(1000) = 89874.6. */
double air_pressure_isa(double geopotential_height_m);
double air_height_isa(double pressure_pa);

/* Air temperature of the standard atmosphere [degC]: 15 at sea level, 6.5 less per km; -1000..11000 m. */
double air_temperature_isa(double geopotential_height_m);

/* Geopotential from geometric height. Check value: air_geopotential_height(80000) = 79005.712. */
double air_geopotential_height(double height_m);

/* Station pressure from what airports report: an altimeter setting (QNH) is station pressure carried to sea
 * level by the standard atmosphere; this undoes it. */
double air_pressure_from_altimeter_setting(double setting_pa, double geopotential_height_m);

/* Saturation vapour pressure over water [Pa]: Magnus form of WMO-No. 8, annex 4.B (from memory), -45..60
 * degC. Check value: air_saturation_vapour_pressure(20) = 2332.6. */
double air_saturation_vapour_pressure(double temperature_c);

/* Virtual temperature [degC] of air with vapour pressure `vapour_pa`: T / (1 - 0.378 e/P).
 * At 20 degC and 80 % humidity it is 2.06 K above the temperature: 0.01 hPa in 10 m. */
double air_virtual_temperature(double temperature_c, double vapour_pa, double pressure_pa);

#endif
