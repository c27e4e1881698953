/* SPDX-License-Identifier: MIT */
#include "science/gravity.h"

#include <math.h>

#define RADIANS_PER_DEGREE 0.017453292519943295769

static double sine_squared(double latitude);
static double somigliana(double equator, double k, double eccentricity_squared, double s);

double gravity_at(double latitude, double height_m)
{
    const double a = 6378137.0;         /* m, semi-major axis */
    const double f = 1 / 298.257223563; /* flattening */
    const double m = 0.00344978650684;  /* centrifugal over gravitational at the equator */

    if (!(height_m >= -1000 && height_m <= 10000))
        return NAN;
    const double s = sine_squared(latitude);
    const double h = height_m / a;
    return gravity_wgs84(latitude) * (1 - 2 * (1 + f + m - 2 * f * s) * h + 3 * h * h);
}

double gravity_wgs84(double latitude)
{
    return somigliana(9.7803253359, 0.00193185265241, 0.00669437999014, sine_squared(latitude));
}

double gravity_grs80(double latitude)
{
    return somigliana(9.7803267715, 0.001931851353, 0.00669438002290, sine_squared(latitude));
}

double gravity_igf80(double latitude)
{
    const double s = sine_squared(latitude);
    const double sine_squared_of_double = 4 * s * (1 - s);
    return 9.780327 * (1 + 0.0053024 * s - 0.0000058 * sine_squared_of_double);
}

double gravity_teos10(double latitude)
{
    const double s = sine_squared(latitude);
    return 9.780327 * (1 + (5.2792e-3 + 2.32e-5 * s) * s);
}

double gravity_unesco44(double latitude)
{
    const double s = sine_squared(latitude);
    return 9.780318 * (1 + (5.2788e-3 + 2.36e-5 * s) * s);
}

static double sine_squared(double latitude)
{
    if (!(latitude >= -90 && latitude <= 90))
        return NAN;
    const double sine = sin(latitude * RADIANS_PER_DEGREE);
    return sine * sine;
}

static double somigliana(double equator, double k, double eccentricity_squared, double s)
{
    return equator * (1 + k * s) / sqrt(1 - eccentricity_squared * s);
}
