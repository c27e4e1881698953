/* SPDX-License-Identifier: MIT */
#include "science/level.h"

#include "science/check.h"
#include "science/density.h"
#include "science/gravity.h"

#include <criterion/criterion.h>
#include <math.h>

Test(level, formulas_agree_with_published_and_independent_values)
{
    const struct check rows[] = {
        CHECK(depth_unesco44(10000, 30), 9712.653, 1e-3, "UNESCO 44 (1983), p. 27"),
        CHECK(depth_unesco44(500, 0), 496.65, 0.0051, "UNESCO 44 (1983), p. 28"),
        CHECK(depth_unesco44(1000, 45), 989.50, 0.0051, "UNESCO 44 (1983), p. 28"),
        CHECK(depth_unesco44(10000, 90), 9674.23, 0.0051, "UNESCO 44 (1983), p. 28"),
        CHECK(depth_from_density(100, 998.2067, 9.80665), 0.010215, 5e-07,
              "computed independently: 1 hPa, fresh 20 degC"),
        CHECK(depth_from_density(20000, density_tanaka(15), gravity_wgs84(45)), 2.041358, 5e-07,
              "computed independently"),
        CHECK(depth_from_density(35000, density_eos80(30, 10, 1.75e4), gravity_wgs84(50)), 3.487124, 5e-07,
              "computed independently"),
        CHECK(level_from_reference(1.234, 31000, 29500, density_tanaka(12), gravity_wgs84(40)), 1.387111,
              5e-07, "computed independently"),
        CHECK(depth_unesco44(1000, 30), 990.81, 0.0051, "UNESCO 44 (1983), p. 28"),
        CHECK(depth_from_density(100, 1024.7, 9.80665), 0.009951, 5e-07,
              "computed independently: 1 hPa, sea"),
        CHECK(level_from_reference(0.876, 18340, 22110, density_eos80(12, 16, 1e4), gravity_wgs84(52)),
              0.494897, 5e-07, "computed independently"),
        CHECK(depth_unesco44(9000, 20), 8765.65777, 5e-06, "computed independently"),
    };
    CHECK_ALL(rows);
}

Test(level, depth_from_pressure_uses_the_mean_density_of_the_column)
{
    const struct check rows[] = {
        CHECK(depth_from_pressure(35000, 30, 10, gravity_wgs84(50)), 3.487124, 5e-7,
              "computed independently"),
        CHECK(depth_from_pressure(20000, 0, 15, gravity_wgs84(45)), 2.041358, 1.1e-5,
              "as with surface density (computed independently), less the compression of 2 m"),
        CHECK(depth_from_density(1e5, density_of_water(0, 15, 0), 9.80665)
                  - depth_from_pressure(1e5, 0, 15, 9.80665),
              0.00024, 5e-5, "computed independently: compression of 10 m is 0.2 mm"),
        CHECK(depth_from_density(2e5, density_of_water(0, 15, 0), 9.80665)
                  - depth_from_pressure(2e5, 0, 15, 9.80665),
              0.00095, 1e-4, "computed independently: compression of 20 m is 0.9 mm"),
    };
    CHECK_ALL(rows);
}

/* The mean density against the column itself, integrated in slices of 1 mm of pressure. */
Test(level, the_mean_density_gives_the_depth_of_an_integrated_column)
{
    const double g = gravity_at(52, 0);
    const double top = 2e5;
    const int slices = 20000;
    double depth = 0;
    for (int i = 0; i < slices; i++) {
        const double pressure = top * (i + 0.5) / slices;
        depth += top / slices / (density_of_water(25, 12, pressure) * g);
    }
    cr_expect(is_close(depth_from_pressure(top, 25, 12, g), depth, 1e-7), "%.9f and %.9f",
              depth_from_pressure(top, 25, 12, g), depth);
}

Test(level, facts_of_the_trade_hold)
{
    const double fresh = density_of_water(0, 20, 0);
    const double brackish = density_of_water(13, 20, 0);
    const struct check rows[] = {
        CHECK(100 * depth_from_density(100, fresh, 9.80665), 1.02, 0.005,
              "common practice: 1 hPa is about 1.02 cm of fresh water"),
        CHECK(brackish / fresh - 1, 0.01, 0.0005,
              "common practice: brackish water of 13 taken for fresh errs about 1 % of depth"),
        CHECK(depth_from_density(9806.65, 1000, 9.80665), 1, 1e-12, "common practice: the metre of water"),
        CHECK(depth_from_density(3000, fresh, 9.80665), 0.306, 0.001,
              "common practice: weather of +-30 hPa is +-31 cm of water"),
    };
    CHECK_ALL(rows);
}

/* Errors of level, mm at 10 m of water, computed independently. */
Test(level, fresh_density_in_salt_water_errs_as_the_error_table_says)
{
    const struct {
        double salinity, error_mm;
    } rows[] = {{5, 38.1}, {10, 76.0}, {20, 151.8}, {35, 266.0}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double pressure = depth_to_pressure(10, density_of_water(rows[i].salinity, 20, 0), 9.80665);
        const double wrong = depth_from_density(pressure, 998.2, 9.80665);
        cr_expect(is_close(1000 * (wrong - 10), rows[i].error_mm, 0.2), "S %g: %g mm", rows[i].salinity,
                  1000 * (wrong - 10));
    }
}

Test(level, standard_gravity_errs_as_the_error_table_says)
{
    const struct {
        double latitude, error_mm;
    } rows[] = {{0, -26.8}, {30, -13.7}, {45, -0.5}, {60, 12.8}, {90, 26.0}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double pressure = depth_to_pressure(10, 998.2, gravity_at(rows[i].latitude, 0));
        const double wrong = depth_from_density(pressure, 998.2, GRAVITY_STANDARD_M_S2);
        cr_expect(is_close(1000 * (wrong - 10), rows[i].error_mm, 0.06), "latitude %g: %g mm",
                  rows[i].latitude, 1000 * (wrong - 10));
    }
}

Test(level, a_reading_at_the_reference_is_the_reference)
{
    cr_expect(level_from_reference(1.234, 25000, 25000, 998, 9.81) == 1.234);
}

Test(level, the_same_offset_in_both_pressures_cancels)
{
    const double plain = level_from_reference(1, 25000, 20000, 998, 9.81);
    cr_expect(is_close(level_from_reference(1, 25150, 20150, 998, 9.81), plain, 1e-12));
}

Test(level, depth_and_pressure_make_the_round_trip)
{
    for (int k = -2; k < 40; k++) {
        const double depth = k * 0.5;
        cr_expect(
            is_close(depth_from_density(depth_to_pressure(depth, 1012.3, 9.8), 1012.3, 9.8), depth, 1e-13));
    }
}

Test(level, depth_below_zero_is_not_clipped)
{
    cr_expect(depth_from_pressure(-500, 0, 15, 9.81) < -0.05);
    cr_expect(depth_from_pressure(-500, 20, 15, 9.81) < -0.04);
    cr_expect(depth_from_pressure(0, 0, 15, 9.81) == 0);
}

Test(level, missing_or_out_of_range_gives_nan)
{
    const struct check_missing rows[] = {
        MISSING(depth_from_pressure(NAN, 0, 15, 9.81)),
        MISSING(depth_from_pressure(1e4, NAN, 15, 9.81)),
        MISSING(depth_from_pressure(1e4, 0, NAN, 9.81)),
        MISSING(depth_from_pressure(1e4, 0, 15, NAN)),
        MISSING(depth_from_pressure(1e4, 43, 15, 9.81)),
        MISSING(depth_from_density(1e4, 0, 9.81)),
        MISSING(depth_from_density(1e4, 998, 0)),
        MISSING(depth_to_pressure(1, NAN, 9.81)),
        MISSING(level_from_reference(NAN, 1, 1, 998, 9.81)),
        MISSING(level_from_reference(1, NAN, 1, 998, 9.81)),
        MISSING(depth_unesco44(-1, 30)),
        MISSING(depth_unesco44(10001, 30)),
        MISSING(depth_unesco44(100, NAN)),
    };
    MISSING_ALL(rows);
}

Test(level, sweeps_give_what_single_calls_give_and_may_work_in_place)
{
    double gauge[] = {1e4, 2e4, NAN, -50};
    const double salinity[] = {0, 30, 10, 0};
    const double temperature[] = {5, 20, 20, 15};
    const double density[] = {998, 1020, 1000, 0};
    double by_density[4], expected[4];
    depth_from_density_sweep(4, gauge, density, 9.81, by_density);
    for (size_t i = 0; i < 4; i++) {
        cr_expect(is_same(by_density[i], depth_from_density(gauge[i], density[i], 9.81)), "%zu", i);
        expected[i] = depth_from_pressure(gauge[i], salinity[i], temperature[i], 9.81);
    }
    depth_from_pressure_sweep(4, gauge, salinity, temperature, 9.81, gauge);
    for (size_t i = 0; i < 4; i++)
        cr_expect(is_same(gauge[i], expected[i]), "%zu", i);
}
