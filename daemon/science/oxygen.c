/* SPDX-License-Identifier: MIT */
#include "science/oxygen.h"

#include <math.h>
#include <stdbool.h>

#define ZERO_CELSIUS_K 273.15
#define ATMOSPHERE_PA 101325.0

static bool is_water(double temperature_c, double salinity);
static double fresh_exponent(double kelvin);
static double salinity_exponent(double kelvin, double salinity);
static double temperature_kelvin(double temperature_c);

/* One exponential for the product of the fresh-water value and the salinity factor. */
double oxygen_solubility(double temperature_c, double salinity, double air_pa)
{
    if (!is_water(temperature_c, salinity))
        return NAN;
    const double kelvin = temperature_kelvin(temperature_c);
    return exp(fresh_exponent(kelvin) + salinity_exponent(kelvin, salinity))
           * oxygen_pressure_factor(temperature_c, air_pa);
}

void oxygen_solubility_sweep(size_t n, const double *temperature_c, const double *salinity,
                             const double *air_pa, double *ret_oxygen_mg_l)
{
    for (size_t i = 0; i < n; i++)
        ret_oxygen_mg_l[i] = oxygen_solubility(temperature_c[i], salinity[i], air_pa[i]);
}

double oxygen_solubility_fresh(double temperature_c)
{
    return is_water(temperature_c, 0) ? exp(fresh_exponent(temperature_kelvin(temperature_c))) : NAN;
}

double oxygen_salinity_factor(double temperature_c, double salinity)
{
    if (!is_water(temperature_c, salinity))
        return NAN;
    return exp(salinity_exponent(temperature_kelvin(temperature_c), salinity));
}

double oxygen_pressure_factor(double temperature_c, double air_pa)
{
    if (!is_water(temperature_c, 0) || !(air_pa >= 50600 && air_pa <= 111500))
        return NAN;
    const double p = air_pa / ATMOSPHERE_PA;
    const double u = oxygen_vapour_pressure_atm(temperature_c);
    const double theta = oxygen_theta(temperature_c);
    return (p - u) * (1 - theta * p) / ((1 - u) * (1 - theta));
}

double oxygen_percent(double oxygen_mg_l, double temperature_c, double salinity, double air_pa)
{
    return 100 * oxygen_mg_l / oxygen_solubility(temperature_c, salinity, air_pa);
}

double oxygen_from_percent(double percent, double temperature_c, double salinity, double air_pa)
{
    return percent / 100 * oxygen_solubility(temperature_c, salinity, air_pa);
}

void oxygen_percent_sweep(size_t n, const double *oxygen_mg_l, const double *temperature_c,
                          const double *salinity, const double *air_pa, double *ret_percent)
{
    for (size_t i = 0; i < n; i++)
        ret_percent[i] = oxygen_percent(oxygen_mg_l[i], temperature_c[i], salinity[i], air_pa[i]);
}

void oxygen_from_percent_sweep(size_t n, const double *percent, const double *temperature_c,
                               const double *salinity, const double *air_pa, double *ret_oxygen_mg_l)
{
    for (size_t i = 0; i < n; i++)
        ret_oxygen_mg_l[i] = oxygen_from_percent(percent[i], temperature_c[i], salinity[i], air_pa[i]);
}

/* Fs(S) / Fs(Sset) is Fs(S - Sset), because the exponent is linear in salinity. */
double oxygen_corrected_for_salinity(double oxygen_mg_l, double temperature_c, double salinity,
                                     double salinity_set)
{
    if (!is_water(temperature_c, salinity) || !is_water(temperature_c, salinity_set))
        return NAN;
    return oxygen_mg_l * exp(salinity_exponent(temperature_kelvin(temperature_c), salinity - salinity_set));
}

void oxygen_corrected_for_salinity_sweep(size_t n, const double *oxygen_mg_l, const double *temperature_c,
                                         const double *salinity, double salinity_set, double *ret_oxygen_mg_l)
{
    for (size_t i = 0; i < n; i++)
        ret_oxygen_mg_l[i] =
            oxygen_corrected_for_salinity(oxygen_mg_l[i], temperature_c[i], salinity[i], salinity_set);
}

double oxygen_air_calibration_gain(double calibration_temperature_c, double air_pa, double air_set_pa)
{
    return oxygen_pressure_factor(calibration_temperature_c, air_pa)
           / oxygen_pressure_factor(calibration_temperature_c, air_set_pa);
}

double oxygen_percent_at_pressure(double percent, double temperature_c, double air_set_pa, double air_pa)
{
    return percent * oxygen_pressure_factor(temperature_c, air_set_pa)
           / oxygen_pressure_factor(temperature_c, air_pa);
}

double oxygen_garcia_gordon(double temperature_c, double salinity)
{
    if (!is_water(temperature_c, salinity))
        return NAN;
    const double y = log((298.15 - temperature_c) / (ZERO_CELSIUS_K + temperature_c));
    const double fresh =
        5.80871 + (3.20291 + (4.17887 + (5.10006 + (-9.86643e-2 + 3.80369 * y) * y) * y) * y) * y;
    const double saline = -7.01577e-3 + (-7.70028e-3 + (-1.13864e-2 - 9.51519e-3 * y) * y) * y;
    return exp(fresh + (saline - 2.75915e-7 * salinity) * salinity);
}

double oxygen_from_micromoles_per_kg(double oxygen_umol_kg, double density)
{
    return oxygen_umol_kg * density * OXYGEN_MOLAR_MASS_G_MOL * 1e-6;
}

double oxygen_vapour_pressure_atm(double temperature_c)
{
    if (!is_water(temperature_c, 0))
        return NAN;
    const double kelvin = temperature_kelvin(temperature_c);
    return exp(11.8571 + (-3840.70 - 216961 / kelvin) / kelvin);
}

double oxygen_vapour_pressure_green_carritt_atm(double temperature_c, double salinity)
{
    if (!is_water(temperature_c, salinity))
        return NAN;
    const double r = 373.16 / temperature_kelvin(temperature_c);
    const double exponent = 18.1973 * (1 - r) + 3.1813e-7 * (1 - exp(26.1205 * (1 - 1 / r)))
                            - 1.8726e-2 * (1 - exp(8.03945 * (1 - r))) + 5.02802 * log(r);
    return (1 - 0.000537 * salinity) * exp(exponent);
}

double oxygen_theta(double temperature_c)
{
    return 0.000975 + (-1.426e-5 + 6.436e-8 * temperature_c) * temperature_c;
}

static bool is_water(double temperature_c, double salinity)
{
    return temperature_c >= -2 && temperature_c <= 40 && salinity >= 0 && salinity <= 42;
}

static double temperature_kelvin(double temperature_c)
{
    return temperature_c + ZERO_CELSIUS_K;
}

static double fresh_exponent(double kelvin)
{
    const double r = 1 / kelvin;
    return -139.34411 + (1.575701e5 + (-6.642308e7 + (1.243800e10 - 8.621949e11 * r) * r) * r) * r;
}

static double salinity_exponent(double kelvin, double salinity)
{
    const double r = 1 / kelvin;
    return -salinity * (0.017674 + (-10.754 + 2140.7 * r) * r);
}
