/* SPDX-License-Identifier: MIT */
#include "science/density.h"

#include "science/check.h"

#include <criterion/criterion.h>
#include <math.h>

Test(density, formulas_agree_with_published_and_independent_values)
{
    const struct check rows[] = {
        CHECK(density_eos80_68(0, 5, 0), 999.96675, 1e-5, "UNESCO 44 (1983), p. 19"),
        CHECK(density_eos80_68(0, 25, 10000), 1037.90204, 1e-5, "UNESCO 44 (1983), p. 19"),
        CHECK(density_eos80_68(35, 5, 0), 1027.67547, 1e-5, "UNESCO 44 (1983), p. 19"),
        CHECK(density_eos80_68(35, 25, 10000), 1062.53817, 1e-5, "UNESCO 44 (1983), p. 19"),
        CHECK(density_eos80_68(40, 40, 10000) - 1000, 59.82037, 2e-5, "UNESCO 44 (1983), p. 20"),
        CHECK(density_eos80_68(0, 0, 0) - 1000, -0.1574, 1e-4, "UNESCO 44 (1983), p. 23"),
        CHECK(density_eos80_68(0, 20, 0) - 1000, -1.7937, 1e-4, "UNESCO 44 (1983), p. 23"),
        CHECK(density_eos80_68(0, 30, 1000) - 1000, 0.0620, 1e-4, "UNESCO 44 (1983), p. 23"),
        CHECK(density_eos80_68(30, 10, 0) - 1000, 23.0511, 1e-4, "UNESCO 44 (1983), p. 23"),
        CHECK(density_eos80_68(30, 30, 1000) - 1000, 22.2381, 1e-4, "UNESCO 44 (1983), p. 23"),
        CHECK(density_eos80_68(35, 20, 0) - 1000, 24.7630, 1e-4, "UNESCO 44 (1983), p. 23"),
        CHECK(density_eos80_68(40, 30, 2000) - 1000, 33.8068, 1e-4, "UNESCO 44 (1983), p. 23"),
        CHECK(density_tanaka(0), 999.8428, 6e-5,
              "computed independently; Tanaka et al. 2001, table 1, from memory"),
        CHECK(density_tanaka(4), 999.9749, 6e-5,
              "computed independently; Tanaka et al. 2001, table 1, from memory"),
        CHECK(density_tanaka(10), 999.7027, 6e-5,
              "computed independently; Tanaka et al. 2001, table 1, from memory"),
        CHECK(density_tanaka(15), 999.1026, 6e-5,
              "computed independently; Tanaka et al. 2001, table 1, from memory"),
        CHECK(density_tanaka(20), 998.2067, 6e-5,
              "computed independently; Tanaka et al. 2001, table 1, from memory"),
        CHECK(density_tanaka(25), 997.0470, 6e-5,
              "computed independently; Tanaka et al. 2001, table 1, from memory"),
        CHECK(density_tanaka(30), 995.6488, 6e-5,
              "computed independently; Tanaka et al. 2001, table 1, from memory"),
        CHECK(density_tanaka(40), 992.2152, 6e-5,
              "computed independently; Tanaka et al. 2001, table 1, from memory"),
        CHECK(density_tanaka_at_pressure(20, 200000), 998.298, 0.0005,
              "computed independently; TEOS-10 via gsw 3.6.16 within 0.0012"),
        CHECK(density_eos80(0, 5, 0), 999.9666, 0.006, "TEOS-10 via gsw 3.6.16"),
        CHECK(density_eos80(0, 20, 0), 998.2071, 0.006, "TEOS-10 via gsw 3.6.16"),
        CHECK(density_eos80(10, 20, 0), 1005.7939, 0.006, "TEOS-10 via gsw 3.6.16"),
        CHECK(density_eos80(20, 10, 10e4), 1015.3147, 0.006, "TEOS-10 via gsw 3.6.16"),
        CHECK(density_eos80(30, 25, 20e4), 1019.6577, 0.006, "TEOS-10 via gsw 3.6.16"),
        CHECK(density_eos80(35, 15, 0), 1025.9760, 0.006, "TEOS-10 via gsw 3.6.16"),
        CHECK(density_eos80(10, 20, 0), 1005.79163, 2e-05, "computed independently: t90 in, tight"),
        CHECK(density_eos80(35, 15, 10e4), 1026.01634, 2e-05, "computed independently: t90 in, tight"),
        CHECK(density_eos80_68(0, 25, 0), 997.04796, 1e-5, "UNESCO 44 (1983), p. 19"),
        CHECK(density_eos80_68(0, 10, 0) - 1000, -0.2979, 1e-4, "UNESCO 44 (1983), p. 23"),
        CHECK(density_eos80_68(30, 20, 0) - 1000, 20.9539, 1e-4, "UNESCO 44 (1983), p. 23"),
        CHECK(density_eos80_68(40, 10, 0) - 1000, 30.8624, 1e-4, "UNESCO 44 (1983), p. 23"),
        CHECK(density_tanaka(12), 999.5005, 6e-05, "computed independently: Tanaka 2001 eq."),
        CHECK(density_tanaka(28), 996.2353, 6e-05, "computed independently: Tanaka 2001 eq."),
        CHECK(density_tanaka_at_pressure(10, 100000), 999.751, 0.0005,
              "computed independently; TEOS-10 via gsw 3.6.16 within 0.0012"),
        CHECK(density_eos80(15, 15, 5e4), 1010.6361, 0.006, "TEOS-10 via gsw 3.6.16"),
        CHECK(density_eos80(0.5, 22, 2e4), 998.1640, 0.006, "TEOS-10 via gsw 3.6.16"),
        CHECK(density_tanaka_at_pressure(35, 1e8), 1038.1935, 5e-05, "computed independently"),
        CHECK(density_bulk_modulus_68(38, 36, 900), 27290.780, 0.0005, "computed independently"),
        CHECK(density_bulk_modulus_68(20, 9, 400), 23158.545, 0.0005, "computed independently"),
    };
    CHECK_ALL(rows);
}

/* Where each term is large; computed independently from the printed coefficients. */
Test(density, the_last_digit_of_each_coefficient_counts)
{
    const struct check rows[] = {
        CHECK(density_eos80_68(0, 40, 0), 992.220402717, 2e-9, "computed independently"),
        CHECK(density_eos80_68(0, 38, 0), 992.969524910, 2e-9, "computed independently"),
        CHECK(density_eos80_68(42, 40, 0), 1023.164210296, 2e-9, "computed independently"),
        CHECK(density_eos80_68(42, -2, 0), 1033.891476180, 2e-9, "computed independently"),
        CHECK(density_eos80_68(0, 40, 10000), 1031.948651676, 2e-9, "computed independently"),
        CHECK(density_eos80_68(42, 40, 10000), 1061.231782699, 2e-9, "computed independently"),
        CHECK(density_eos80_68(42, 1, 10000), 1075.835007104, 2e-9, "computed independently"),
        CHECK(density_eos80_68(20, 31, 9000), 1045.987476922, 2e-9, "computed independently"),
        CHECK(density_tanaka(0.5), 999.874472387, 2e-9, "computed independently"),
        CHECK(density_tanaka(39), 992.594082197, 2e-9, "computed independently"),
        CHECK(density_tanaka(40), 992.215209132, 2e-9, "computed independently"),
    };
    CHECK_ALL(rows);
}

/* The table of density at the surface against TEOS-10 (gsw 3.6.16, rho_t_exact), kg/m3. */
Test(density, the_surface_table_of_teos10_is_met_within_six_grams_per_cubic_metre)
{
    const double temperatures[] = {0, 5, 10, 15, 20, 25, 30, 35};
    const struct {
        double salinity;
        double density[8];
    } rows[] = {
        {0, {999.843, 999.967, 999.702, 999.103, 998.207, 997.048, 995.649, 994.033}},
        {5, {1003.915, 1003.948, 1003.612, 1002.953, 1002.010, 1000.810, 999.379, 997.739}},
        {10, {1007.956, 1007.904, 1007.499, 1006.784, 1005.794, 1004.555, 1003.092, 1001.427}},
        {15, {1011.987, 1011.854, 1011.383, 1010.613, 1009.577, 1008.300, 1006.805, 1005.114}},
        {20, {1016.016, 1015.805, 1015.268, 1014.445, 1013.364, 1012.050, 1010.524, 1008.806}},
        {30, {1024.075, 1023.714, 1023.053, 1022.126, 1020.958, 1019.571, 1017.983, 1016.213}},
        {35, {1028.107, 1027.676, 1026.954, 1025.976, 1024.766, 1023.344, 1021.726, 1019.930}},
        {40, {1032.142, 1031.641, 1030.861, 1029.833, 1028.582, 1027.125, 1025.478, 1023.655}},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        for (size_t k = 0; k < 8; k++) {
            const double density = density_of_water(rows[i].salinity, temperatures[k], 0);
            cr_expect(is_close(density, rows[i].density[k], 0.006), "S %g, t %g: %.4f", rows[i].salinity,
                      temperatures[k], density);
        }
    }
}

Test(density, pressure_adds_what_teos10_says)
{
    const struct check rows[] = {
        CHECK(density_of_water(0, 15, 1e5) - density_of_water(0, 15, 0), 0.0467, 2e-4, "gsw 3.6.16"),
        CHECK(density_of_water(0, 15, 2e5) - density_of_water(0, 15, 0), 0.0934, 4e-4, "gsw 3.6.16"),
        CHECK(density_of_water(35, 15, 1e5) - density_of_water(35, 15, 0), 0.0444, 2e-4, "gsw 3.6.16"),
        CHECK(density_of_water(35, 15, 2e5) - density_of_water(35, 15, 0), 0.0887, 4e-4, "gsw 3.6.16"),
    };
    CHECK_ALL(rows);
}

Test(density, fresh_and_saline_formulas_meet_in_fresh_water)
{
    for (int tenths = 0; tenths <= 400; tenths += 5) {
        const double t = tenths / 10.0;
        cr_expect(is_close(density_tanaka(t), density_eos80(0, t, 0), 0.0017), "t %g: %g", t,
                  density_tanaka(t) - density_eos80(0, t, 0));
        cr_expect(density_of_water(0, t, 5000) == density_tanaka_at_pressure(t, 5000));
        cr_expect(density_of_water(1e-6, t, 5000) == density_eos80(1e-6, t, 5000));
    }
    cr_expect(density_of_water(0, -0.5, 0) == density_eos80(0, -0.5, 0), "water under ice");
}

Test(density, it_rises_with_salinity_and_pressure_and_falls_with_heat_above_four_degrees)
{
    for (int s = 0; s < 42; s++) {
        for (int t = 4; t < 40; t++) {
            const double here = density_of_water(s, t, 1e4);
            cr_expect(density_of_water(s + 1, t, 1e4) > here, "S %d, t %d", s, t);
            cr_expect(density_of_water(s, t, 2e4) > here, "S %d, t %d", s, t);
            cr_expect(density_of_water(s, t + 1, 1e4) < here, "S %d, t %d", s, t);
        }
    }
}

Test(density, gauge_pressure_below_zero_counts_as_zero)
{
    cr_expect(density_of_water(0, 15, -300) == density_of_water(0, 15, 0));
    cr_expect(density_of_water(20, 15, -300) == density_of_water(20, 15, 0));
}

Test(density, the_ends_of_the_range_are_inside_on_either_scale)
{
    cr_expect(isfinite(density_eos80(35, 40, 0)));
    cr_expect(isfinite(density_eos80_68(35, 40, 0)));
    cr_expect(isfinite(density_eos80_68(42, -2, 10000)));
    cr_expect(isfinite(density_eos80(42, -2, 1e8)));
}

Test(density, missing_or_out_of_range_gives_nan)
{
    const struct check_missing rows[] = {
        MISSING(density_of_water(NAN, 15, 0)),
        MISSING(density_of_water(20, NAN, 0)),
        MISSING(density_of_water(20, 15, NAN)),
        MISSING(density_of_water(0, 15, NAN)),
        MISSING(density_of_water(0, NAN, 0)),
        MISSING(density_of_water(42.1, 15, 0)),
        MISSING(density_of_water(-0.1, 15, 0)),
        MISSING(density_of_water(20, 40.1, 0)),
        MISSING(density_of_water(0, 40.1, 0)),
        MISSING(density_of_water(20, -2.1, 0)),
        MISSING(density_of_water(20, 15, 1.1e8)),
        MISSING(density_tanaka(-0.1)),
        MISSING(density_tanaka(40.1)),
        MISSING(density_tanaka(NAN)),
        MISSING(density_tanaka_at_pressure(20, 1.1e8)),
        MISSING(density_eos80(20, 15, 1.00001e8)),
    };
    MISSING_ALL(rows);
}

Test(density, a_sweep_gives_what_single_calls_give)
{
    const double salinity[] = {0, 0.3, 20, NAN, 43, 35};
    const double temperature[] = {15, 15, 25, 10, 10, NAN};
    const double gauge[] = {1e4, 2e4, -5, 0, 0, 0};
    double density[6];
    density_of_water_sweep(6, salinity, temperature, gauge, density);
    for (size_t i = 0; i < 6; i++)
        cr_expect(is_same(density[i], density_of_water(salinity[i], temperature[i], gauge[i])), "%zu", i);
}
