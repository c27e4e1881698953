/* SPDX-License-Identifier: MIT */
#include "science/level.h"

#include "science/density.h"
#include "science/gravity.h"

#include <math.h>

double depth_from_pressure(double gauge_pa, double salinity, double temperature_c, double gravity_m_s2)
{
    const double mean_density = density_of_water(salinity, temperature_c, gauge_pa / 2);
    return depth_from_density(gauge_pa, mean_density, gravity_m_s2);
}

void depth_from_pressure_sweep(size_t n, const double *gauge_pa, const double *salinity,
                               const double *temperature_c, double gravity_m_s2, double *ret_depth_m)
{
    for (size_t i = 0; i < n; i++)
        ret_depth_m[i] = depth_from_pressure(gauge_pa[i], salinity[i], temperature_c[i], gravity_m_s2);
}

double depth_from_density(double gauge_pa, double density, double gravity_m_s2)
{
    return density > 0 && gravity_m_s2 > 0 ? gauge_pa / (density * gravity_m_s2) : NAN;
}

double depth_to_pressure(double depth_m, double density, double gravity_m_s2)
{
    return density > 0 && gravity_m_s2 > 0 ? depth_m * density * gravity_m_s2 : NAN;
}

void depth_from_density_sweep(size_t n, const double *gauge_pa, const double *density, double gravity_m_s2,
                              double *ret_depth_m)
{
    for (size_t i = 0; i < n; i++)
        ret_depth_m[i] = depth_from_density(gauge_pa[i], density[i], gravity_m_s2);
}

double level_from_reference(double reference_level_m, double gauge_pa, double reference_gauge_pa,
                            double density, double gravity_m_s2)
{
    return reference_level_m + depth_from_density(gauge_pa - reference_gauge_pa, density, gravity_m_s2);
}

/* The first coefficient is 9.72659; the FORTRAN of the circulating scan of UNESCO 44 reads 9.721559. */
double depth_unesco44(double pressure_dbar, double latitude)
{
    const double p = pressure_dbar;
    if (!(p >= 0 && p <= 10000))
        return NAN;
    const double geopotential = (9.72659 + (-2.2512e-5 + (2.279e-10 - 1.82e-15 * p) * p) * p) * p;
    return geopotential / (gravity_unesco44(latitude) + 1.092e-6 * p);
}
