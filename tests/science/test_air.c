/* SPDX-License-Identifier: MIT */
#include "science/air.h"

#include "science/check.h"

#include <criterion/criterion.h>
#include <math.h>

Test(air, formulas_agree_with_published_and_independent_values)
{
    const struct check rows[] = {
        CHECK(air_pressure_isa(0) / 100, 1013.25, 6e-4,
              "US Standard Atmosphere 1976, ICAO (geopotential), from memory"),
        CHECK(air_pressure_isa(1000) / 100, 898.746, 6e-4,
              "US Standard Atmosphere 1976, ICAO (geopotential), from memory"),
        CHECK(air_pressure_isa(2000) / 100, 794.952, 6e-4,
              "US Standard Atmosphere 1976, ICAO (geopotential), from memory"),
        CHECK(air_pressure_isa(5000) / 100, 540.199, 6e-4,
              "US Standard Atmosphere 1976, ICAO (geopotential), from memory"),
        CHECK(air_pressure_isa(air_geopotential_height(1000)) / 100, 898.763, 1e-3,
              "US Standard Atmosphere 1976, geometric 1000 m 898.76 hPa, from memory"),
        CHECK(air_height_isa(950e2), 540.34, 0.005, "computed independently"),
        CHECK(air_pressure_reduced(1013.25e2, 10, 15, 9.80665) / 100, 1012.0494, 5e-05,
              "computed independently"),
        CHECK(air_pressure_reduced(1000e2, -25, 5, 9.81) / 100, 1003.0763, 5e-05, "computed independently"),
        CHECK(air_pressure_reduced_isa(1013.25e2, 100, 15) / 100, 1001.294, 0.0005,
              "computed independently: ISA 100 m"),
        CHECK(air_virtual_temperature(20, 0.8 * air_saturation_vapour_pressure(20), 1013.25e2), 22.055,
              0.0005, "computed independently"),
        CHECK(air_saturation_vapour_pressure(20) / 100, 23.326, 0.0005,
              "computed independently; Magnus form of WMO-No. 8, from memory"),
        CHECK(air_pressure_isa(3000) / 100, 701.085, 6e-4,
              "US Standard Atmosphere 1976, ICAO (geopotential), from memory"),
        CHECK(air_pressure_isa(air_geopotential_height(2000)) / 100, 795.014, 1e-3,
              "US Standard Atmosphere 1976, geometric 2000 m 795.01 hPa, from memory"),
        CHECK(air_pressure_reduced(1021.3e2, -8, -5, 9.815) / 100, 1022.3424, 5e-05,
              "computed independently"),
        CHECK(air_geopotential_height(80000), 79005.712, 0.0005, "computed independently"),
    };
    CHECK_ALL(rows);
}

/* Ten metres of air at 1013.25 hPa, in hPa: computed independently. */
Test(air, ten_metres_of_air_weigh_what_the_table_says)
{
    const struct check rows[] = {
        CHECK(1013.25 - air_pressure_reduced(1013.25e2, 10, -10, 9.80665) / 100, 1.315, 6e-4, "at -10 degC"),
        CHECK(1013.25 - air_pressure_reduced(1013.25e2, 10, 0, 9.80665) / 100, 1.266, 6e-4, "at 0 degC"),
        CHECK(1013.25 - air_pressure_reduced(1013.25e2, 10, 15, 9.80665) / 100, 1.201, 6e-4, "at 15 degC"),
        CHECK(1013.25 - air_pressure_reduced(1013.25e2, 10, 30, 9.80665) / 100, 1.141, 6e-4, "at 30 degC"),
    };
    CHECK_ALL(rows);
}

Test(air, the_last_digit_of_each_constant_counts)
{
    const struct check rows[] = {
        CHECK(air_pressure_isa(11000), 22632.063973463, 1e-7, "computed independently"),
        CHECK(air_geopotential_height(80000), 79005.711874566, 1e-8, "computed independently"),
    };
    CHECK_ALL(rows);
}

Test(air, up_and_down_again_is_the_identity)
{
    for (int rise = -500; rise <= 3000; rise += 250) {
        const double up = air_pressure_reduced(98765, rise, 12, 9.81);
        cr_expect(is_close(air_pressure_reduced(up, -rise, 12, 9.81), 98765, 1e-9));
        cr_expect(is_close(air_height_isa(air_pressure_isa(rise)), rise, 1e-7));
    }
    cr_expect(air_pressure_reduced(98765, 0, 12, 9.81) == 98765);
}

Test(air, the_two_reductions_agree_over_a_short_rise)
{
    const double middle = 15 - 0.0065 * 25; /* the mean temperature of a rise of 50 m */
    const double one = air_pressure_reduced(1e5, 50, middle, 9.80665);
    cr_expect(is_close(one, air_pressure_reduced_isa(1e5, 50, 15), 0.01));
}

Test(air, an_altimeter_setting_is_undone)
{
    cr_expect(is_close(air_pressure_from_altimeter_setting(101325, 500), air_pressure_isa(500), 1e-7));
    cr_expect(is_close(air_pressure_from_altimeter_setting(99000, 0), 99000, 1e-6));
    const double station = air_pressure_from_altimeter_setting(102900, 100);
    cr_expect(is_close(102900 - station, 1200, 40), "common practice: about 12 hPa in 100 m, got %g",
              station);
}

Test(air, pressure_falls_with_height_and_temperature_too)
{
    for (int h = -900; h < 11000; h += 100) {
        cr_expect(air_pressure_isa(h + 1) < air_pressure_isa(h));
        cr_expect(air_temperature_isa(h + 1) < air_temperature_isa(h));
    }
    cr_expect(is_close(air_temperature_isa(0), 15, 1e-12));
    cr_expect(is_close(air_temperature_isa(1000), 8.5, 1e-12));
}

Test(air, moist_air_is_lighter_so_its_virtual_temperature_is_higher)
{
    const double e = 0.8 * air_saturation_vapour_pressure(20);
    cr_expect(is_close(air_virtual_temperature(20, e, 101325) - 20, 2.06, 0.006), "computed independently");
    cr_expect(is_close(air_virtual_temperature(20, 0, 101325), 20, 1e-12));
}

Test(air, missing_or_out_of_range_gives_nan)
{
    const struct check_missing rows[] = {
        MISSING(air_pressure_reduced(NAN, 10, 15, 9.81)),
        MISSING(air_pressure_reduced(1e5, NAN, 15, 9.81)),
        MISSING(air_pressure_reduced(1e5, 10, NAN, 9.81)),
        MISSING(air_pressure_reduced(1e5, 10, 15, NAN)),
        MISSING(air_pressure_reduced(0, 10, 15, 9.81)),
        MISSING(air_pressure_reduced(1e5, 10001, 15, 9.81)),
        MISSING(air_pressure_reduced(1e5, 10, -273.15, 9.81)),
        MISSING(air_pressure_reduced_isa(1e5, NAN, 15)),
        MISSING(air_pressure_isa(NAN)),
        MISSING(air_pressure_isa(11001)),
        MISSING(air_pressure_isa(-1001)),
        MISSING(air_height_isa(NAN)),
        MISSING(air_height_isa(0)),
        MISSING(air_height_isa(1000)),
        MISSING(air_temperature_isa(12000)),
        MISSING(air_geopotential_height(NAN)),
        MISSING(air_geopotential_height(-6356766)),
        MISSING(air_pressure_from_altimeter_setting(NAN, 0)),
        MISSING(air_saturation_vapour_pressure(NAN)),
        MISSING(air_saturation_vapour_pressure(-243.12)),
        MISSING(air_virtual_temperature(20, NAN, 1e5)),
        MISSING(air_virtual_temperature(20, 1000, 0)),
    };
    MISSING_ALL(rows);
}

Test(air, a_sweep_gives_what_single_calls_give)
{
    double pressure[] = {1e5, 99000, NAN, 98000};
    const double temperature[] = {15, -5, 20, NAN};
    double expected[4];
    for (size_t i = 0; i < 4; i++)
        expected[i] = air_pressure_reduced(pressure[i], -12, temperature[i], 9.81);
    air_pressure_reduced_sweep(4, pressure, temperature, -12, 9.81, pressure);
    for (size_t i = 0; i < 4; i++)
        cr_expect(is_same(pressure[i], expected[i]), "%zu", i);
}
