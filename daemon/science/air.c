/* SPDX-License-Identifier: MIT */
#include "science/air.h"

#include <math.h>
#include <stdbool.h>

#define ZERO_CELSIUS_K 273.15
#define GAS_CONSTANT 8314.32      /* J/(kmol K), US Standard Atmosphere 1976 */
#define MOLAR_MASS_OF_AIR 28.9644 /* kg/kmol */
#define DRY_AIR (GAS_CONSTANT / MOLAR_MASS_OF_AIR)
#define STANDARD_GRAVITY 9.80665
#define SEA_LEVEL_PA 101325.0
#define SEA_LEVEL_K 288.15
#define LAPSE 0.0065 /* K/m */
#define ISA_EXPONENT (STANDARD_GRAVITY / (DRY_AIR * LAPSE))
#define EARTH_RADIUS_M 6356766.0

static bool is_place(double pressure_pa, double rise_m, double temperature_c);
static bool is_troposphere(double height_m);

double air_pressure_reduced(double pressure_pa, double rise_m, double virtual_temperature_c,
                            double gravity_m_s2)
{
    if (!is_place(pressure_pa, rise_m, virtual_temperature_c))
        return NAN;
    const double kelvin = virtual_temperature_c + ZERO_CELSIUS_K;
    return pressure_pa * exp(-gravity_m_s2 * rise_m / (DRY_AIR * kelvin));
}

void air_pressure_reduced_sweep(size_t n, const double *pressure_pa, const double *virtual_temperature_c,
                                double rise_m, double gravity_m_s2, double *ret_pressure_pa)
{
    for (size_t i = 0; i < n; i++)
        ret_pressure_pa[i] =
            air_pressure_reduced(pressure_pa[i], rise_m, virtual_temperature_c[i], gravity_m_s2);
}

double air_pressure_reduced_isa(double pressure_pa, double rise_m, double source_temperature_c)
{
    if (!is_place(pressure_pa, rise_m, source_temperature_c))
        return NAN;
    const double kelvin = source_temperature_c + ZERO_CELSIUS_K;
    return pressure_pa * pow(1 - LAPSE * rise_m / kelvin, ISA_EXPONENT);
}

double air_pressure_isa(double geopotential_height_m)
{
    if (!is_troposphere(geopotential_height_m))
        return NAN;
    return SEA_LEVEL_PA * pow(1 - LAPSE * geopotential_height_m / SEA_LEVEL_K, ISA_EXPONENT);
}

double air_height_isa(double pressure_pa)
{
    if (!(pressure_pa > 0))
        return NAN;
    const double height_m = SEA_LEVEL_K / LAPSE * (1 - pow(pressure_pa / SEA_LEVEL_PA, 1 / ISA_EXPONENT));
    return is_troposphere(height_m) ? height_m : NAN;
}

double air_temperature_isa(double geopotential_height_m)
{
    if (!is_troposphere(geopotential_height_m))
        return NAN;
    return SEA_LEVEL_K - ZERO_CELSIUS_K - LAPSE * geopotential_height_m;
}

double air_geopotential_height(double height_m)
{
    if (!(height_m > -EARTH_RADIUS_M / 2))
        return NAN;
    return EARTH_RADIUS_M * height_m / (EARTH_RADIUS_M + height_m);
}

double air_pressure_from_altimeter_setting(double setting_pa, double geopotential_height_m)
{
    return air_pressure_isa(air_height_isa(setting_pa) + geopotential_height_m);
}

double air_saturation_vapour_pressure(double temperature_c)
{
    if (!(temperature_c >= -45 && temperature_c <= 60))
        return NAN;
    return 611.2 * exp(17.62 * temperature_c / (243.12 + temperature_c));
}

double air_virtual_temperature(double temperature_c, double vapour_pa, double pressure_pa)
{
    if (!(vapour_pa >= 0 && pressure_pa > vapour_pa))
        return NAN;
    const double kelvin = temperature_c + ZERO_CELSIUS_K;
    return kelvin / (1 - 0.378 * vapour_pa / pressure_pa) - ZERO_CELSIUS_K;
}

static bool is_place(double pressure_pa, double rise_m, double temperature_c)
{
    return pressure_pa > 0 && rise_m >= -10000 && rise_m <= 10000 && temperature_c >= -90
           && temperature_c <= 60;
}

static bool is_troposphere(double height_m)
{
    return height_m >= -1000 && height_m <= 11000.001; /* the bound absorbs rounding of a round trip */
}
