/* SPDX-License-Identifier: MIT */
#include "science/uncertainty.h"

#include <math.h>

#define SATURATION_PER_DEGREE 0.020    /* 1/degC, near 20 degC */
#define SATURATION_PER_SALINITY 0.0059 /* 1, at 20 degC */

static double squared(double x);

double uncertainty_rectangular(double limit)
{
    return fabs(limit) / sqrt(3);
}

double uncertainty_triangular(double limit)
{
    return fabs(limit) / sqrt(6);
}

double uncertainty_expanded(double expanded)
{
    return fabs(expanded) / 2;
}

double uncertainty_resolution(double resolution)
{
    return fabs(resolution) / sqrt(12);
}

double uncertainty_combined(size_t n, const double *parts)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += squared(parts[i]);
    return sqrt(sum);
}

double uncertainty_of_level(const struct uncertainty_sources *sources, double depth_m, double density,
                            double gravity_m_s2)
{
    if (!(density > 0 && gravity_m_s2 > 0))
        return NAN;
    const double pressures = squared(sources->pressure_pa) + squared(sources->air_pa);
    const double relative = squared(sources->density_relative) + squared(sources->gravity_relative);
    return sqrt(squared(sources->reference_m) + squared(sources->other_m)
                + pressures / squared(density * gravity_m_s2) + squared(depth_m) * relative);
}

void uncertainty_of_level_sweep(size_t n, const struct uncertainty_sources *sources, const double *depth_m,
                                const double *density, double gravity_m_s2, double *ret_uncertainty_m)
{
    for (size_t i = 0; i < n; i++)
        ret_uncertainty_m[i] = uncertainty_of_level(sources, depth_m[i], density[i], gravity_m_s2);
}

double uncertainty_of_saturation(double percent, double oxygen_relative, double temperature_c_uncertainty,
                                 double salinity_uncertainty, double air_relative)
{
    const double parts[] = {
        oxygen_relative,
        SATURATION_PER_DEGREE * temperature_c_uncertainty,
        SATURATION_PER_SALINITY * salinity_uncertainty,
        air_relative,
    };
    return fabs(percent) * uncertainty_combined(sizeof parts / sizeof parts[0], parts);
}

static double squared(double x)
{
    return x * x;
}
