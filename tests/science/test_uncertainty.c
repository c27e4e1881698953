/* SPDX-License-Identifier: MIT */
#include "science/uncertainty.h"

#include "science/check.h"

#include <criterion/criterion.h>
#include <math.h>

static double level_uncertainty(double pressure, double air, double density, double gravity,
                                double density_relative, double depth, double reference);

Test(uncertainty, formulas_agree_with_independent_values)
{
    const struct check rows[] = {
        CHECK(level_uncertainty(uncertainty_rectangular(50), uncertainty_rectangular(30), 998.2, 9.806, 0.001,
                                3, 0.00176),
              0.004891, 5e-07, "computed independently"),
        CHECK(uncertainty_rectangular(0.1), 0.057735, 5e-07, "computed independently"),
        CHECK(level_uncertainty(uncertainty_rectangular(30), uncertainty_rectangular(15), 999.1, 9.80, 0.0005,
                                1.2, 0.0015),
              0.002554, 5e-07, "computed independently"),
        CHECK(uncertainty_triangular(0.1), 0.040825, 5e-7, "GUM 4.3.9, a / sqrt 6"),
        CHECK(uncertainty_resolution(0.001), 0.000288675, 5e-10, "GUM F.2.2.1, d / sqrt 12"),
        CHECK(uncertainty_expanded(0.1), 0.05, 1e-15, "GUM 6.2, k = 2"),
    };
    CHECK_ALL(rows);
}

Test(uncertainty, independent_parts_combine_as_the_sides_of_a_triangle)
{
    cr_expect(uncertainty_combined(2, (const double[]){3, 4}) == 5);
    cr_expect(uncertainty_combined(1, (const double[]){-3}) == 3);
    cr_expect(uncertainty_combined(0, NULL) == 0);
    cr_expect(isnan(uncertainty_combined(2, (const double[]){3, NAN})));
}

Test(uncertainty, limits_have_no_sign)
{
    cr_expect(uncertainty_rectangular(-0.1) == uncertainty_rectangular(0.1));
    cr_expect(uncertainty_triangular(-0.1) == uncertainty_triangular(0.1));
    cr_expect(uncertainty_resolution(-0.1) == uncertainty_resolution(0.1));
    cr_expect(uncertainty_expanded(-0.1) == uncertainty_expanded(0.1));
}

Test(uncertainty, each_source_of_a_level_counts_and_grows_it)
{
    const struct uncertainty_sources none = {0};
    cr_expect(uncertainty_of_level(&none, 3, 998, 9.81) == 0);
    const struct uncertainty_sources each[] = {
        {.pressure_pa = 10},        {.air_pa = 10},        {.density_relative = 1e-3},
        {.gravity_relative = 1e-4}, {.reference_m = 1e-3}, {.other_m = 1e-3},
    };
    for (size_t i = 0; i < sizeof each / sizeof each[0]; i++)
        cr_expect(uncertainty_of_level(&each[i], 3, 998, 9.81) > 0, "source %zu", i);
    cr_expect(is_close(uncertainty_of_level(&each[2], 3, 998, 9.81), 0.003, 1e-15));
    cr_expect(is_close(uncertainty_of_level(&each[3], -3, 998, 9.81), 0.0003, 1e-15));
    cr_expect(is_close(uncertainty_of_level(&each[0], 3, 1000, 10), 0.001, 1e-15));
}

Test(uncertainty, of_saturation_near_twenty_degrees_follows_its_sensitivities)
{
    cr_expect(is_close(uncertainty_of_saturation(100, 0.02, 0, 0, 0), 2, 1e-12));
    cr_expect(is_close(uncertainty_of_saturation(100, 0, 1, 0, 0), 2, 1e-12), "2 %% per degC");
    cr_expect(is_close(uncertainty_of_saturation(50, 0, 0, 1, 0), 0.295, 1e-12),
              "0.59 %% per unit of salinity");
    cr_expect(is_close(uncertainty_of_saturation(100, 0.03, 0, 0, 0.04), 5, 1e-12));
    cr_expect(isnan(uncertainty_of_saturation(NAN, 0.1, 0, 0, 0)));
}

Test(uncertainty, missing_or_impossible_input_gives_nan)
{
    const struct uncertainty_sources sources = {.pressure_pa = 10, .density_relative = 1e-3};
    const struct uncertainty_sources missing = {.pressure_pa = NAN};
    const struct check_missing rows[] = {
        MISSING(uncertainty_of_level(&sources, NAN, 998, 9.81)),
        MISSING(uncertainty_of_level(&sources, 1, NAN, 9.81)),
        MISSING(uncertainty_of_level(&sources, 1, 0, 9.81)),
        MISSING(uncertainty_of_level(&sources, 1, 998, 0)),
        MISSING(uncertainty_of_level(&missing, 1, 998, 9.81)),
        MISSING(uncertainty_rectangular(NAN)),
    };
    MISSING_ALL(rows);
}

Test(uncertainty, a_sweep_gives_what_single_calls_give)
{
    const struct uncertainty_sources sources = {.pressure_pa = 30, .air_pa = 20, .density_relative = 1e-3};
    double depth[] = {0, 1.5, NAN, 12};
    const double density[] = {998, 1010, 1000, 0};
    double expected[4];
    for (size_t i = 0; i < 4; i++)
        expected[i] = uncertainty_of_level(&sources, depth[i], density[i], 9.8);
    uncertainty_of_level_sweep(4, &sources, depth, density, 9.8, depth);
    for (size_t i = 0; i < 4; i++)
        cr_expect(is_same(depth[i], expected[i]), "%zu", i);
}

static double level_uncertainty(double pressure, double air, double density, double gravity,
                                double density_relative, double depth, double reference)
{
    const struct uncertainty_sources sources = {.pressure_pa = pressure,
                                                .air_pa = air,
                                                .density_relative = density_relative,
                                                .reference_m = reference};
    return uncertainty_of_level(&sources, depth, density, gravity);
}
