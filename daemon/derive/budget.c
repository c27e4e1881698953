/* SPDX-License-Identifier: MIT */
#include "derive/budget.h"

#include "science/alignment.h"
#include "science/uncertainty.h"

#include <math.h>

/* Limits of even distributions; common practice of the trade. */
#define SENSOR_LIMIT_PA 30.0 /* stability of a submerged sensor between two visits */
#define BAROMETER_LIMIT_PA 30.0
#define PER_KILOMETRE_PA 1.3 /* ordinary weather: 1 hPa in 75 km */
#define AIR_TIDE_PA 120.0    /* amplitude of the half-daily air tide at the equator */
#define UNKNOWN_AIR_TEMPERATURE_K 10.0
#define CONDUCTIVITY_RELATIVE 0.005
#define OXYGEN_LIMIT_MG_L 0.1
#define OXYGEN_RELATIVE 0.01

static double square(double x);
static double known(double x);

struct level_budget budget_of_level(const struct level_situation *s)
{
    double weight = s->density * s->gravity; /* Pa a metre */
    double tide = known(s->air_gap_hours) > 0 ? alignment_error(AIR_TIDE_PA, 12, s->air_gap_hours) : 0;
    double distance = known(s->barometer_distance_km) * PER_KILOMETRE_PA;
    double kelvin = s->air_temperature_is_known ? 1 : UNKNOWN_AIR_TEMPERATURE_K;
    double rise = fabs(known(s->barometer_rise_m)) * 12.0 * kelvin / 288; /* 12 Pa a metre of air */
    double air = sqrt(square(uncertainty_rectangular(BAROMETER_LIMIT_PA)) + square(uncertainty_rectangular(tide)) +
                      square(uncertainty_rectangular(distance)) + square(uncertainty_rectangular(rise)));
    struct level_budget b = {
        .reference = known(s->reading),
        .pressure = hypot(uncertainty_rectangular(SENSOR_LIMIT_PA), known(s->zero_pa)) / weight,
        .air = air / weight,
        .hand_over = fabs(known(s->air_shift_pa)) / sqrt(12) / weight,
        .density =
            fabs(s->change) * known(s->salinity_uncertainty) * 0.00076, /* drho/rho = 0.076 % a unit of salinity */
        .closing = known(s->closing_size),
    };
    double parts[] = {b.reference, b.pressure, b.air, b.hand_over, b.density, b.closing};
    b.total = isnan(s->depth) ? NAN : uncertainty_combined(sizeof parts / sizeof parts[0], parts);
    return b;
}

double budget_of_salinity(double salinity, double correction)
{
    double parts[] = {
        uncertainty_rectangular(CONDUCTIVITY_RELATIVE * salinity *
                                1.07),                   /* salinity rises a little faster than conductivity */
        uncertainty_rectangular(0.1 * 0.022 * salinity), /* 0.1 degC between the two sensors, -2.2 % a degree */
        0.003,                                           /* of the practical salinity scale itself */
        fabs(known(correction)) / sqrt(12),
    };
    return isnan(salinity) ? NAN : uncertainty_combined(sizeof parts / sizeof parts[0], parts);
}

double budget_of_oxygen(double oxygen, double correction, double salinity_uncertainty)
{
    double limit = fmax(OXYGEN_LIMIT_MG_L, OXYGEN_RELATIVE * fabs(oxygen));
    double parts[] = {
        uncertainty_rectangular(limit),
        0.0059 * fabs(oxygen) * known(salinity_uncertainty), /* -0.59 % a unit of salinity near 20 degC */
        0.001 * fabs(oxygen),                                /* of the solubility equation */
        fabs(known(correction)) / sqrt(12),
    };
    return isnan(oxygen) ? NAN : uncertainty_combined(sizeof parts / sizeof parts[0], parts);
}

static double square(double x)
{
    return x * x;
}

static double known(double x)
{
    return isnan(x) ? 0 : x;
}
