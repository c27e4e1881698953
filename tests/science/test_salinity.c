/* SPDX-License-Identifier: MIT */
#include "science/salinity.h"

#include "science/check.h"

#include <criterion/criterion.h>
#include <math.h>

Test(salinity, formulas_agree_with_published_and_independent_values)
{
    const struct check rows[] = {
        CHECK(salinity_pss78_68(1, 15, 0), 35.000000, 2e-6, "UNESCO 44 (1983), p. 9"),
        CHECK(salinity_pss78_68(1.2, 20, 2000), 37.245628, 2e-6, "UNESCO 44 (1983), p. 9"),
        CHECK(salinity_pss78_68(0.65, 5, 1500), 27.995347, 2e-6, "UNESCO 44 (1983), p. 9"),
        CHECK(salinity_rt35_68(20), 1.1164927, 1e-7, "UNESCO 44 (1983), p. 9"),
        CHECK(salinity_rp_68(1.2, 20, 2000), 1.0169429, 1e-7, "UNESCO 44 (1983), p. 9"),
        CHECK(salinity_ratio_68(40, 40, 10000), 1.888091, 2e-6, "UNESCO 44 (1983), p. 11"),
        CHECK(salinity_pss78_68(30 / 42.914, 10, 0), 26.8609, 1e-4, "UNESCO 44 (1983), p. 13"),
        CHECK(salinity_pss78_68(40 / 42.914, 20, 1000), 28.3203, 1e-4, "UNESCO 44 (1983), p. 13"),
        CHECK(salinity_pss78_68(50 / 42.914, 20, 0), 36.7173, 1e-4, "UNESCO 44 (1983), p. 13"),
        CHECK(salinity_pss78_68(60 / 42.914, 30, 0), 36.1195, 1e-4, "UNESCO 44 (1983), p. 13"),
        CHECK(salinity_pss78_68(30 / 42.914, 20, 1000), 20.5932, 1e-4, "UNESCO 44 (1983), p. 13"),
        CHECK(salinity_ratio_68(25, 10, 1000), 0.662975, 2e-6, "UNESCO 44 (1983), p. 14"),
        CHECK(salinity_ratio_68(25, 40, 0), 1.195796, 2e-6, "UNESCO 44 (1983), p. 14"),
        CHECK(salinity_ratio_68(30, 0, 0), 0.588220, 2e-6, "UNESCO 44 (1983), p. 14"),
        CHECK(salinity_ratio_68(35, 0, 0), 0.676610, 2e-6, "UNESCO 44 (1983), p. 14"),
        CHECK(salinity_ratio_68(35, 20, 0), 1.116493, 2e-6, "UNESCO 44 (1983), p. 14"),
        CHECK(salinity_ratio_68(40, 10, 0), 1.000073, 2e-6, "UNESCO 44 (1983), p. 14"),
        CHECK(salinity_from_conductivity(0.086471997, 15, 0), 0.05, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(0.557357723, 20, 0), 0.3, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(1.393806179, 10, 1e4), 1, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(3.617505584, 25, 5e4), 1.9, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(4.215258487, 20, 0), 2.5, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(10.612795732, 5, 0), 10, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(32.093773726, 25, 10e4), 20, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(58.365357538, 30, 20e4), 35, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(0.1, 15, 0), 0.058080, 1e-6, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(0.5, 15, 0), 0.302020, 1e-6, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(1, 25, 0), 0.492451, 1e-6, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(42.914, 15, 0), 34.996770, 1e-6, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(50, 25, 5e4), 32.731669, 1e-6, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_rt35_68(5), 0.77956585, 1e-8, "UNESCO 44 (1983), p. 9"),
        CHECK(salinity_pss78_68(40 / 42.914, 30, 0), 22.9533, 1e-4, "UNESCO 44 (1983), p. 13"),
        CHECK(salinity_ratio_68(30, 20, 0), 0.972727, 2e-6, "UNESCO 44 (1983), p. 14"),
        CHECK(salinity_ratio_68(30, 30, 1000), 1.193791, 2e-6, "UNESCO 44 (1983), p. 14"),
        CHECK(salinity_from_conductivity(0.045442774, 25, 0), 0.02, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(3.191601855, 30, 2e4), 1.5, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(6.696276725, 12, 3e4), 5, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(51.238684544, 22, 20e4), 36, 2e-7, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(3.2, 20, 0), 1.866326, 1e-6, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_from_conductivity(48, 18, 10e4), 36.799607, 1e-6, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_rp_68(0.9, 33, 9000), 1.04739026, 5e-09, "computed independently"),
        CHECK(salinity_rt35_68(33), 1.434866932, 5e-10, "computed independently"),
        CHECK(salinity_hill_68(0.002, 30), 0.04895993, 5e-09, "computed independently"),
        CHECK(salinity_pss78_of_rt_68(0.5, 30), 16.2057144, 5e-08, "computed independently"),
    };
    CHECK_ALL(rows);
}

Test(salinity, the_inverse_meets_teos10)
{
    const struct check rows[] = {
        CHECK(salinity_to_conductivity(0.05, 15, 0), 0.086471997, 1e-8, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_to_conductivity(1.9, 25, 5e4), 3.617505584, 1e-8, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_to_conductivity(2.5, 20, 0), 4.215258487, 1e-8, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_to_conductivity(35, 30, 20e4), 58.365357538, 1e-7, "TEOS-10 via gsw 3.6.16"),
    };
    CHECK_ALL(rows);
}

Test(salinity, conductivity_and_back_is_the_identity_over_the_whole_range)
{
    for (int t = -2; t <= 40; t += 3) {
        for (int tenths = 1; tenths <= 420; tenths += tenths < 30 ? 1 : 13) {
            const double s = tenths / 10.0;
            for (int p = 0; p <= 20; p += 10) {
                const double c = salinity_to_conductivity(s, t, p * 1e4);
                const double back = salinity_from_conductivity(c, t, p * 1e4);
                cr_expect(is_close(back, s, 1e-9) || (tenths == 420 && isnan(back)),
                          "S %g, t %d, p %d: %.12g", s, t, p, back);
            }
        }
    }
    cr_expect(salinity_to_conductivity(0, 15, 0) == 0);
}

Test(salinity, it_is_continuous_at_two_at_every_temperature)
{
    for (int t = -2; t <= 40; t++) {
        const double c = salinity_to_conductivity(2, t, 0);
        const double below = salinity_from_conductivity(c * (1 - 1e-9), t, 0);
        const double above = salinity_from_conductivity(c * (1 + 1e-9), t, 0);
        cr_expect(is_close(below, 2, 1e-8) && is_close(above, 2, 1e-8), "t %d: %.12g, %.12g", t, below,
                  above);
    }
}

Test(salinity, it_rises_with_conductivity)
{
    for (int t = -2; t <= 40; t += 6) {
        double previous = 0;
        for (int step = 1; step < 4000; step++) {
            const double s = salinity_from_conductivity(step * 0.02, t, 0);
            if (isnan(s))
                break;
            cr_expect(s > previous, "t %d, step %d: %g after %g", t, step, s, previous);
            previous = s;
        }
        cr_expect(previous > 30, "t %d: the walk ended at %g", t, previous);
    }
}

Test(salinity, dry_and_nearly_dry_probes_read_zero)
{
    cr_expect(salinity_from_conductivity(0, 15, 0) == 0);
    cr_expect(salinity_from_conductivity(-0.01, 15, 0) == 0);
    cr_expect(salinity_from_conductivity(0.0005, 15, 0) == 0);
    cr_expect(salinity_from_conductivity(0.003, 15, 0) > 0);
}

Test(salinity, temperature_on_the_old_scale_would_matter)
{
    cr_expect(
        is_close(salinity_pss78_68(1, 15, 0) - salinity_from_conductivity(42.914, 15, 0), 0.0032, 1e-4));
}

Test(salinity, gauge_pressure_below_zero_counts_as_zero)
{
    cr_expect(salinity_from_conductivity(30, 15, -400) == salinity_from_conductivity(30, 15, 0));
    cr_expect(salinity_to_conductivity(30, 15, -400) == salinity_to_conductivity(30, 15, 0));
}

Test(salinity, missing_or_out_of_range_gives_nan)
{
    const struct check_missing rows[] = {
        MISSING(salinity_from_conductivity(NAN, 15, 0)),
        MISSING(salinity_from_conductivity(30, NAN, 0)),
        MISSING(salinity_from_conductivity(30, 15, NAN)),
        MISSING(salinity_from_conductivity(0, NAN, 0)),
        MISSING(salinity_from_conductivity(70, 15, 0)),
        MISSING(salinity_from_conductivity(30, 40.1, 0)),
        MISSING(salinity_from_conductivity(30, -2.1, 0)),
        MISSING(salinity_from_conductivity(30, 15, 1.1e8)),
        MISSING(salinity_from_conductivity(1e9, 15, 0)),
        MISSING(salinity_from_conductivity(INFINITY, 15, 0)),
        MISSING(salinity_to_conductivity(NAN, 15, 0)),
        MISSING(salinity_to_conductivity(42.1, 15, 0)),
        MISSING(salinity_to_conductivity(-1, 15, 0)),
        MISSING(salinity_to_conductivity(30, 50, 0)),
        MISSING(salinity_pss78_of_rt_68(-0.1, 15)),
        MISSING(salinity_hill_68(NAN, 15)),
    };
    MISSING_ALL(rows);
}

Test(salinity, a_sweep_gives_what_single_calls_give)
{
    double conductivity[] = {30, 0.5, 0, NAN, 90, 42.914};
    const double temperature[] = {15, 20, 25, 10, 10, NAN};
    const double gauge[] = {1e4, 2e4, -5, 0, 0, 0};
    double expected[6];
    for (size_t i = 0; i < 6; i++)
        expected[i] = salinity_from_conductivity(conductivity[i], temperature[i], gauge[i]);
    salinity_from_conductivity_sweep(6, conductivity, temperature, gauge, conductivity);
    for (size_t i = 0; i < 6; i++)
        cr_expect(is_same(conductivity[i], expected[i]), "%zu", i);
}
