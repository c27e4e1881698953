/* SPDX-License-Identifier: MIT */
#include "science/density.h"

#include <math.h>
#include <stdbool.h>

#define T68_PER_T90 1.00024
#define PASCALS_PER_DECIBAR 1e4
/* -2 and 40 degC of ITS-90 are still inside. */
#define COLDEST_68 (-2 * T68_PER_T90 - 1e-9)
#define WARMEST_68 (40 * T68_PER_T90 + 1e-9)

static double zero_at_least(double pressure);
static double eos80(double s, double t, double bar);
static double one_atmosphere(double s, double root_s, double t);
static double bulk_modulus(double s, double root_s, double t, double bar);

double density_of_water(double salinity, double temperature_c, double gauge_pa)
{
    if (salinity == 0.0 && temperature_c >= 0 && temperature_c <= 40)
        return density_tanaka_at_pressure(temperature_c, gauge_pa);
    return density_eos80(salinity, temperature_c, gauge_pa);
}

void density_of_water_sweep(size_t n, const double *salinity, const double *temperature_c,
                            const double *gauge_pa, double *ret_density)
{
    for (size_t i = 0; i < n; i++)
        ret_density[i] = density_of_water(salinity[i], temperature_c[i], gauge_pa[i]);
}

double density_tanaka(double temperature_c)
{
    const double a1 = -3.983035;  /* degC */
    const double a2 = 301.797;    /* degC */
    const double a3 = 522528.9;   /* degC2 */
    const double a4 = 69.34881;   /* degC */
    const double a5 = 999.974950; /* kg/m3, of Vienna Standard Mean Ocean Water */

    const double t = temperature_c;
    if (!(t >= 0 && t <= 40))
        return NAN;
    return a5 * (1 - (t + a1) * (t + a1) * (t + a2) / (a3 * (t + a4)));
}

double density_tanaka_at_pressure(double temperature_c, double gauge_pa)
{
    const double t = temperature_c;
    const double pressure = zero_at_least(gauge_pa);
    if (!(pressure <= 1e8))
        return NAN;
    const double compressibility = 50.74e-11 + (-0.326e-11 + 0.00416e-11 * t) * t; /* 1/Pa */
    return density_tanaka(t) * (1 + compressibility * pressure);
}

double density_eos80(double salinity, double temperature_c, double gauge_pa)
{
    return density_eos80_68(salinity, T68_PER_T90 * temperature_c,
                            zero_at_least(gauge_pa) / PASCALS_PER_DECIBAR);
}

double density_eos80_68(double salinity, double temperature_68, double pressure_dbar)
{
    const bool is_inside = salinity >= 0 && salinity <= 42 && temperature_68 >= COLDEST_68
                           && temperature_68 <= WARMEST_68 && pressure_dbar >= 0 && pressure_dbar <= 10000;
    if (!is_inside)
        return NAN;
    return eos80(salinity, temperature_68, pressure_dbar / 10);
}

double density_bulk_modulus_68(double salinity, double temperature_68, double pressure_bar)
{
    return bulk_modulus(salinity, sqrt(salinity), temperature_68, pressure_bar);
}

/* NaN is kept: the comparison is false for it. */
static double zero_at_least(double pressure)
{
    return pressure < 0 ? 0 : pressure;
}

static double eos80(double s, double t, double bar)
{
    const double root_s = sqrt(s);
    return one_atmosphere(s, root_s, t) / (1 - bar / bulk_modulus(s, root_s, t, bar));
}

/* UNESCO 44, eq. 13 and 14; the powers of S are factored as S (A + B sqrt S + C S). */
static double one_atmosphere(double s, double root_s, double t)
{
    const double rw =
        999.842594
        + (6.793952e-2 + (-9.095290e-3 + (1.001685e-4 + (-1.120083e-6 + 6.536332e-9 * t) * t) * t) * t) * t;
    const double a = 8.24493e-1 + (-4.0899e-3 + (7.6438e-5 + (-8.2467e-7 + 5.3875e-9 * t) * t) * t) * t;
    const double b = -5.72466e-3 + (1.0227e-4 - 1.6546e-6 * t) * t;
    const double c = 4.8314e-4;
    return rw + (a + b * root_s + c * s) * s;
}

/* UNESCO 44, eq. 15-19. The first coefficient of Bw is 8.50935e-5: the circulating scan of the paper reads
 * 8.50035e-5, with which its own check values are missed. */
static double bulk_modulus(double s, double root_s, double t, double bar)
{
    const double kw = 19652.21 + (148.4206 + (-2.327105 + (1.360477e-2 - 5.155288e-5 * t) * t) * t) * t;
    const double k_s = 54.6746 + (-0.603459 + (1.09987e-2 - 6.1670e-5 * t) * t) * t;
    const double k_s15 = 7.944e-2 + (1.6483e-2 - 5.3009e-4 * t) * t;

    const double aw = 3.239908 + (1.43713e-3 + (1.16092e-4 - 5.77905e-7 * t) * t) * t;
    const double a_s = 2.2838e-3 + (-1.0981e-5 - 1.6078e-6 * t) * t;
    const double a_s15 = 1.91075e-4;

    const double bw = 8.50935e-5 + (-6.12293e-6 + 5.2787e-8 * t) * t;
    const double b_s = -9.9348e-7 + (2.0816e-8 + 9.1697e-10 * t) * t;

    const double k0 = kw + (k_s + k_s15 * root_s) * s;
    const double a = aw + (a_s + a_s15 * root_s) * s;
    const double b = bw + b_s * s;
    return k0 + (a + b * bar) * bar;
}
