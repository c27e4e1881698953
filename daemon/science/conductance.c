/* SPDX-License-Identifier: MIT */
#include "science/conductance.h"

#include "science/salinity.h"

#include <math.h>

double conductance_at_25(double conductivity_ms_cm, double temperature_c, double coefficient)
{
    const double divisor = 1 + coefficient * (temperature_c - 25);
    return divisor > 0 ? conductivity_ms_cm / divisor : NAN;
}

double conductance_undone(double conductance_ms_cm, double temperature_c, double coefficient)
{
    const double factor = 1 + coefficient * (temperature_c - 25);
    return factor > 0 ? conductance_ms_cm * factor : NAN;
}

void conductance_at_25_sweep(size_t n, const double *conductivity_ms_cm, const double *temperature_c,
                             double coefficient, double *ret_conductance_ms_cm)
{
    for (size_t i = 0; i < n; i++)
        ret_conductance_ms_cm[i] = conductance_at_25(conductivity_ms_cm[i], temperature_c[i], coefficient);
}

void conductance_undone_sweep(size_t n, const double *conductance_ms_cm, const double *temperature_c,
                              double coefficient, double *ret_conductivity_ms_cm)
{
    for (size_t i = 0; i < n; i++)
        ret_conductivity_ms_cm[i] = conductance_undone(conductance_ms_cm[i], temperature_c[i], coefficient);
}

double conductance_at_25_seawater(double conductivity_ms_cm, double temperature_c, double gauge_pa)
{
    const double salinity = salinity_from_conductivity(conductivity_ms_cm, temperature_c, gauge_pa);
    return salinity_to_conductivity(salinity, 25, 0);
}

double conductance_factor_iso7888(double temperature_c)
{
    if (!(temperature_c >= 0 && temperature_c <= 35.9))
        return NAN;
    const double d = temperature_c - 25;
    return 1 / (1 + (0.021061 + (6.719e-5 + (-2.9945e-7 + 3.1379e-9 * d) * d) * d) * d);
}

double conductance_at_25_iso7888(double conductivity_ms_cm, double temperature_c)
{
    return conductivity_ms_cm * conductance_factor_iso7888(temperature_c);
}

double conductance_undone_iso7888(double conductance_ms_cm, double temperature_c)
{
    return conductance_ms_cm / conductance_factor_iso7888(temperature_c);
}

double conductance_to_salinity(double conductance_ms_cm)
{
    if (!(conductance_ms_cm >= 0 && conductance_ms_cm <= 60))
        return NAN;
    const double r = sqrt(conductance_ms_cm / 53.087);
    return 0.0120 + (-0.2174 + (25.3283 + (13.7714 + (-6.4788 + 2.5842 * r) * r) * r) * r) * r;
}
