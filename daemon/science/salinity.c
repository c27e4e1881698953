/* SPDX-License-Identifier: MIT */
#include "science/salinity.h"

#include <math.h>
#include <stdbool.h>

#define T68_PER_T90 1.00024
#define PASCALS_PER_DECIBAR 1e4
#define HIGHEST_SALINITY 42.0
#define EXTENSION_BELOW 2.0

/* UNESCO 44, eq. 1 and 2. a0 and b0 are also the constants that the low-salinity extension takes away. */
static const double a[] = {0.0080, -0.1692, 25.3851, 14.0941, -7.0261, 2.7081};
static const double b[] = {0.0005, -0.0056, -0.0066, -0.0375, 0.0636, -0.0144};

static bool is_inside(double temperature_c, double pressure_dbar);
static double zero_at_least(double pressure);
static double polynomial(const double *c, double x);
static double slope(const double *c, double x);
static double temperature_term(double t);
static double pressure_term(double p);
static double salinity_of_root(double x, double f);
static double extended_of_root(double x, double f);
static double extended(double x, double f, double t);
static double root_at_two(double t);
static double root_of_salinity(double salinity, double t);
static double newton_root(double salinity, double f, double x, int steps);
static double bisected_root(double salinity, double f, double t);

double salinity_from_conductivity(double conductivity_ms_cm, double temperature_c, double gauge_pa)
{
    const double p = zero_at_least(gauge_pa) / PASCALS_PER_DECIBAR;
    if (!is_inside(temperature_c, p) || isnan(conductivity_ms_cm))
        return NAN;
    if (conductivity_ms_cm <= 0)
        return 0;

    const double t = T68_PER_T90 * temperature_c;
    const double ratio = conductivity_ms_cm / SALINITY_STANDARD_CONDUCTIVITY_MS_CM;
    const double x = sqrt(ratio / (salinity_rp_68(ratio, t, p) * salinity_rt35_68(t)));
    const double f = temperature_term(t);
    const double salinity = salinity_of_root(x, f);
    if (salinity < EXTENSION_BELOW)
        return fmax(0, extended(x, f, t));
    return salinity <= HIGHEST_SALINITY ? salinity : NAN;
}

void salinity_from_conductivity_sweep(size_t n, const double *conductivity_ms_cm, const double *temperature_c,
                                      const double *gauge_pa, double *ret_salinity)
{
    for (size_t i = 0; i < n; i++)
        ret_salinity[i] = salinity_from_conductivity(conductivity_ms_cm[i], temperature_c[i], gauge_pa[i]);
}

double salinity_to_conductivity(double salinity, double temperature_c, double gauge_pa)
{
    const double p = zero_at_least(gauge_pa) / PASCALS_PER_DECIBAR;
    if (!is_inside(temperature_c, p) || !(salinity >= 0 && salinity <= HIGHEST_SALINITY))
        return NAN;
    return SALINITY_STANDARD_CONDUCTIVITY_MS_CM * salinity_ratio_68(salinity, T68_PER_T90 * temperature_c, p);
}

double salinity_pss78_68(double ratio, double temperature_68, double pressure_dbar)
{
    const double rp = salinity_rp_68(ratio, temperature_68, pressure_dbar);
    return salinity_pss78_of_rt_68(ratio / (rp * salinity_rt35_68(temperature_68)), temperature_68);
}

/* UNESCO 44, eq. 6: R is the positive root of  A R2 + (B - Rt' A) R - Rt' (B + C) = 0,  Rt' = Rt rt. */
double salinity_ratio_68(double salinity, double temperature_68, double pressure_dbar)
{
    if (salinity == 0)
        return 0;
    const double t = temperature_68;
    const double x = root_of_salinity(salinity, t);
    const double rt = x * x * salinity_rt35_68(t);
    const double qa = 4.215e-1 - 3.107e-3 * t;
    const double qb = 1 + (3.426e-2 + 4.464e-4 * t) * t;
    const double linear = qb - rt * qa;
    const double constant = rt * (qb + pressure_term(pressure_dbar));
    return (sqrt(linear * linear + 4 * qa * constant) - linear) / (2 * qa);
}

double salinity_rt35_68(double temperature_68)
{
    const double t = temperature_68;
    return 0.6766097 + (2.00564e-2 + (1.104259e-4 + (-6.9698e-7 + 1.0031e-9 * t) * t) * t) * t;
}

double salinity_rp_68(double ratio, double temperature_68, double pressure_dbar)
{
    const double t = temperature_68;
    return 1
           + pressure_term(pressure_dbar)
                 / (1 + (3.426e-2 + 4.464e-4 * t) * t + (4.215e-1 - 3.107e-3 * t) * ratio);
}

double salinity_pss78_of_rt_68(double rt, double temperature_68)
{
    return rt >= 0 ? salinity_of_root(sqrt(rt), temperature_term(temperature_68)) : NAN;
}

double salinity_hill_68(double rt, double temperature_68)
{
    return rt >= 0 ? extended_of_root(sqrt(rt), temperature_term(temperature_68)) : NAN;
}

static bool is_inside(double temperature_c, double pressure_dbar)
{
    return temperature_c >= -2 && temperature_c <= 40 && pressure_dbar >= 0 && pressure_dbar <= 10000;
}

/* NaN is kept: the comparison is false for it. */
static double zero_at_least(double pressure)
{
    return pressure < 0 ? 0 : pressure;
}

static double polynomial(const double *c, double x)
{
    return c[0] + (c[1] + (c[2] + (c[3] + (c[4] + c[5] * x) * x) * x) * x) * x;
}

static double slope(const double *c, double x)
{
    return c[1] + (2 * c[2] + (3 * c[3] + (4 * c[4] + 5 * c[5] * x) * x) * x) * x;
}

static double temperature_term(double t)
{
    return (t - 15) / (1 + 0.0162 * (t - 15));
}

static double pressure_term(double p)
{
    return (2.070e-5 + (-6.370e-10 + 3.989e-15 * p) * p) * p;
}

/* x is the square root of Rt, f the temperature term. */
static double salinity_of_root(double x, double f)
{
    return polynomial(a, x) + f * polynomial(b, x);
}

/* Hill et al. 1986: X = 400 Rt, Y = 100 Rt, so the square root of Y is 10 x. */
static double extended_of_root(double x, double f)
{
    const double big_x = 400 * x * x;
    const double root_y = 10 * x;
    return salinity_of_root(x, f) - a[0] / (1 + (1.5 + big_x) * big_x)
           - b[0] * f / (1 + (1 + (1 + root_y) * root_y) * root_y);
}

/* The extension as published is 0.99983..1.00013 of PSS-78 at 2; the factor takes the step away. It depends
 * on temperature alone, and is computed for the few samples below 2 only. */
static double extended(double x, double f, double t)
{
    return extended_of_root(x, f) * (EXTENSION_BELOW / extended_of_root(root_at_two(t), f));
}

/* The start is within 8e-5 of the root for -2..40 degC: two steps of Newton reach the last digits (1e-15). */
static double root_at_two(double t)
{
    return newton_root(EXTENSION_BELOW, temperature_term(t), 0.264157 + (1.7673e-4 - 1.696e-6 * t) * t, 2);
}

static double root_of_salinity(double salinity, double t)
{
    const double f = temperature_term(t);
    if (salinity < EXTENSION_BELOW)
        return bisected_root(salinity, f, t);
    return newton_root(salinity, f, sqrt(salinity / 35), 6); /* the polynomial is nearly 35 x2 */
}

static double newton_root(double salinity, double f, double x, int steps)
{
    for (int step = 0; step < steps; step++)
        x -= (salinity_of_root(x, f) - salinity) / (slope(a, x) + f * slope(b, x));
    return x;
}

static double bisected_root(double salinity, double f, double t)
{
    const double top = root_at_two(t);
    const double factor = EXTENSION_BELOW / extended_of_root(top, f);
    double low = 0;
    double high = top;
    for (int step = 0; step < 60; step++) {
        const double middle = (low + high) / 2;
        if (factor * extended_of_root(middle, f) < salinity)
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2;
}
