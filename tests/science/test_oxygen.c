/* SPDX-License-Identifier: MIT */
#include "science/oxygen.h"

#include "science/check.h"
#include "science/density.h"
#include "science/units.h"

#include <criterion/criterion.h>
#include <math.h>

static double mercury_mm(double millimetres);

Test(oxygen, formulas_agree_with_published_and_independent_values)
{
    const struct check rows[] = {
        CHECK(oxygen_solubility_fresh(0), 14.621, 5.1e-4,
              "table of a public numerical-methods exercise; computed independently"),
        CHECK(oxygen_solubility_fresh(8), 11.843, 5.1e-4,
              "table of a public numerical-methods exercise; computed independently"),
        CHECK(oxygen_solubility_fresh(16), 9.870, 5.1e-4,
              "table of a public numerical-methods exercise; computed independently"),
        CHECK(oxygen_solubility_fresh(24), 8.418, 5.1e-4,
              "table of a public numerical-methods exercise; computed independently"),
        CHECK(oxygen_solubility_fresh(32), 7.305, 5.1e-4,
              "table of a public numerical-methods exercise; computed independently"),
        CHECK(oxygen_solubility_fresh(5), 12.771, 0.00051,
              "computed independently; Standard Methods 4500-O table I, from memory"),
        CHECK(oxygen_solubility_fresh(10), 11.288, 0.00051,
              "computed independently; Standard Methods 4500-O table I, from memory"),
        CHECK(oxygen_solubility_fresh(20), 9.092, 0.00051,
              "computed independently; Standard Methods 4500-O table I, from memory"),
        CHECK(oxygen_solubility_fresh(25), 8.263, 0.00051,
              "computed independently; Standard Methods 4500-O table I, from memory"),
        CHECK(oxygen_solubility_fresh(30), 7.559, 0.00051,
              "computed independently; Standard Methods 4500-O table I, from memory"),
        CHECK(oxygen_solubility(20, 0, 709.275e2), 6.30, 0.005,
              "Standard Methods 4500-O, example at 0.700 atm, from memory"),
        CHECK(oxygen_pressure_factor(20, 709.275e2), 0.693064, 3e-6,
              "the same example, 0.7 x 0.990092, from memory"),
        CHECK(oxygen_solubility(20, 10, 1013.25e2), 8.572, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(10, 20, 1013.25e2), 9.933, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(25, 30, 1013.25e2), 6.967, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(5, 35, 1013.25e2), 10.108, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(20, 0, 950e2), 8.512, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(10, 0, 850e2), 9.448, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(30, 15, 1000e2), 6.866, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(15, 5, 1030e2), 9.944, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(10, 0, mercury_mm(700)), 10.387, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(20, 0, mercury_mm(700)), 8.358, 0.0006, "computed independently"),
        CHECK(oxygen_salinity_factor(20, 10), 0.94271, 5e-06, "computed independently"),
        CHECK(oxygen_salinity_factor(20, 30), 0.83778, 5e-06, "computed independently"),
        CHECK(oxygen_salinity_factor(5, 35), 0.79150, 5e-06, "computed independently"),
        CHECK(oxygen_vapour_pressure_atm(20), 0.023074, 5e-07, "computed independently: 23.39 hPa"),
        CHECK(oxygen_theta(20), 0.000715544, 1e-09,
              "computed independently: 7.156e-4; with kelvin you get 2.3e-3"),
        CHECK(oxygen_pressure_factor(15, 900e2), 0.88639, 5e-06, "computed independently"),
        CHECK(oxygen_solubility(20, 0, mercury_mm(760)), 9.092, 5.1e-4,
              "computed independently; USGS and Standard Methods table, from memory"),
        CHECK(oxygen_percent(8, 20, 0, 1013.25e2), 87.985, 0.0005, "computed independently"),
        CHECK(oxygen_percent(7.5, 18, 12, 1002e2), 86.103, 0.0005, "computed independently"),
        CHECK(oxygen_from_percent(95, 10, 5, 990e2), 10.1451, 5e-05, "computed independently"),
        CHECK(oxygen_corrected_for_salinity(9.0, 20, 30, 0), 7.5401, 5e-05, "computed independently"),
        CHECK(oxygen_corrected_for_salinity(8.0, 15, 20, 35), 8.7712, 5e-05, "computed independently"),
        CHECK(oxygen_percent_at_pressure(100, 20, 1013.25e2, 950e2), 106.821, 0.0005,
              "computed independently"),
        CHECK(8.5 * oxygen_air_calibration_gain(22, 940e2, 1013.25e2), 7.8694, 5e-05,
              "computed independently"),
        CHECK(oxygen_garcia_gordon(10, 35), 274.610, 1e-3, "TEOS-10 via gsw 3.6.16"),
        CHECK(oxygen_garcia_gordon(20, 0), 284.652, 0.0005, "computed independently; TEOS-10 via gsw 3.6.16"),
        CHECK(oxygen_garcia_gordon(25, 30), 213.555, 0.0005,
              "computed independently; TEOS-10 via gsw 3.6.16"),
        CHECK(unit_to_base(unit_find("mL/L", 4), 6.315), 9.0245, 1e-4,
              "6.315 mL/L at 10 degC, 35: Garcia and Gordon, from memory"),
        CHECK(oxygen_solubility(0, 10, 1013.25e2), 13.633, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(28, 35, 1005e2), 6.387, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(33, 8, 990e2), 6.714, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(1, 2, 900e2), 12.445, 0.0006, "computed independently"),
        CHECK(oxygen_solubility(20, 20, mercury_mm(720)), 7.645, 0.0006, "computed independently"),
        CHECK(oxygen_vapour_pressure_atm(5), 0.008607, 5e-07, "computed independently"),
        CHECK(oxygen_from_percent(120, 23, 1, 960e2), 9.6818, 5e-05, "computed independently"),
        CHECK(oxygen_corrected_for_salinity(6.5, 29, 33, 10), 5.7236, 5e-05, "computed independently"),
        CHECK(oxygen_garcia_gordon(5, 20), 343.792, 0.0005, "computed independently; TEOS-10 via gsw 3.6.16"),
        CHECK(oxygen_vapour_pressure_atm(31), 0.04433894, 5e-09, "computed independently"),
        CHECK(oxygen_vapour_pressure_green_carritt_atm(31, 35), 0.04348122, 5e-09, "computed independently"),
        CHECK(oxygen_theta(37), 0.00053548884, 5e-12, "computed independently"),
        CHECK(oxygen_garcia_gordon(2, 40), 318.16867, 5e-06,
              "computed independently; form agrees with gsw 3.6.16"),
        CHECK(oxygen_garcia_gordon(36, 33), 176.27207, 5e-06, "computed independently"),
        CHECK(oxygen_salinity_factor(38, 40), 0.81145075, 5e-09, "computed independently"),
        CHECK(oxygen_solubility_fresh(37.5), 6.673084, 5e-07, "computed independently"),
        CHECK(oxygen_from_micromoles_per_kg(250, 1020), 8.159694, 5e-07, "computed independently"),
    };
    CHECK_ALL(rows);
}

Test(oxygen, criteria_in_concentration_and_per_cent_agree)
{
    const struct check rows[] = {
        CHECK(oxygen_from_percent(100.0 * 2.0 / oxygen_solubility(25, 15, 1013.25e2), 25, 15, 1013.25e2),
              2.0000, 5e-05, "round trip"),
        CHECK(oxygen_percent(2.3, 22, 20, 1013.25e2), 29.55, 0.005,
              "computed independently: survival criterion as %"),
        CHECK(oxygen_percent(4.8, 22, 20, 1013.25e2), 61.66, 0.005, "computed independently"),
    };
    CHECK_ALL(rows);
}

/* Fresh water at 1 atm, mg/L: Standard Methods 4500-O, table I, from memory; computed independently. */
Test(oxygen, the_whole_table_of_fresh_water_is_met)
{
    const double table[] = {
        14.621, 14.216, 13.830, NAN,   13.108, 12.771, 12.448, 12.139, 11.843, 11.560, /*  0 */
        11.288, 11.027, 10.777, NAN,   10.306, 10.084, 9.870,  9.665,  NAN,    9.276,  /* 10 */
        9.092,  8.915,  8.744,  8.578, 8.418,  8.263,  8.114,  NAN,    7.828,  7.691,  /* 20 */
        7.559,  7.430,  7.305,  7.183, 7.065,  NAN,    6.837,  6.727,  6.620,  6.515,  /* 30 */
    };
    for (size_t t = 0; t < sizeof table / sizeof table[0]; t++) {
        if (!isnan(table[t]))
            cr_expect(is_close(oxygen_solubility_fresh((double)t), table[t], 5.1e-4), "t %zu: %.4f", t,
                      oxygen_solubility_fresh((double)t));
    }
}

/* Fresh water, mg/L, computed independently. */
Test(oxygen, the_table_of_air_pressures_is_met)
{
    const double pressures[] = {1050e2, 1013.25e2, 1000e2, 950e2, 900e2, 850e2};
    const double table[4][6] = {
        {15.154, 14.621, 14.429, 13.703, 12.978, 12.253},
        {11.702, 11.288, 11.139, 10.575, 10.012, 9.448},
        {9.430, 9.092, 8.971, 8.512, 8.053, 7.594},
        {7.845, 7.559, 7.456, 7.067, 6.677, 6.288},
    };
    for (int row = 0; row < 4; row++) {
        for (int k = 0; k < 6; k++) {
            const double got = oxygen_solubility(10.0 * row, 0, pressures[k]);
            cr_expect(is_close(got, table[row][k], 5.1e-4), "t %d, %g Pa: %.4f", 10 * row, pressures[k], got);
        }
    }
}

Test(oxygen, the_last_digit_of_each_coefficient_counts)
{
    const struct check rows[] = {
        CHECK(oxygen_vapour_pressure_green_carritt_atm(0, 0), 0.006023427213, 2e-12,
              "computed independently"),
        CHECK(oxygen_vapour_pressure_green_carritt_atm(40, 42), 0.071131841477, 2e-12,
              "computed independently"),
        CHECK(oxygen_garcia_gordon(-2, 0), 484.2903473881, 1e-9, "computed independently"),
        CHECK(oxygen_garcia_gordon(40, 42), 157.6586315499, 1e-9, "computed independently"),
    };
    CHECK_ALL(rows);
}

Test(oxygen, the_product_is_that_of_its_factors)
{
    for (int t = -2; t <= 40; t += 7) {
        for (int s = 0; s <= 42; s += 6) {
            const double product =
                oxygen_solubility_fresh(t) * oxygen_salinity_factor(t, s) * oxygen_pressure_factor(t, 97000);
            cr_expect(is_close(oxygen_solubility(t, s, 97000), product, 1e-13 * product), "t %d, S %d", t, s);
        }
        cr_expect(is_close(oxygen_pressure_factor(t, OXYGEN_SEA_LEVEL_PA), 1, 1e-15));
        cr_expect(oxygen_salinity_factor(t, 0) == 1);
    }
}

Test(oxygen, per_cent_and_back_is_the_identity)
{
    for (int t = -2; t <= 40; t += 3) {
        for (int s = 0; s <= 42; s += 7) {
            const double percent = oxygen_percent(6.25, t, s, 98000);
            cr_expect(is_close(oxygen_from_percent(percent, t, s, 98000), 6.25, 1e-12));
        }
    }
}

Test(oxygen, it_falls_with_heat_and_salt_and_rises_with_air_pressure)
{
    for (int t = -2; t < 40; t++) {
        for (int s = 0; s < 42; s++) {
            const double here = oxygen_solubility(t, s, 1e5);
            cr_expect(oxygen_solubility(t + 1, s, 1e5) < here);
            cr_expect(oxygen_solubility(t, s + 1, 1e5) < here);
            cr_expect(oxygen_solubility(t, s, 1.01e5) > here);
        }
    }
}

/* Two laboratories' formulas through two different units; the edges that one of them does not cover included.
 */
Test(oxygen, benson_krause_and_garcia_gordon_agree_within_four_parts_in_ten_thousand)
{
    for (int t = -2; t <= 40; t++) {
        for (int s = 0; s <= 42; s += 3) {
            const double density = density_eos80(s, t, 0);
            const double other = oxygen_from_micromoles_per_kg(oxygen_garcia_gordon(t, s), density);
            cr_expect(is_close(oxygen_solubility(t, s, 101325) / other, 1, 4e-4), "t %d, S %d: %g", t, s,
                      oxygen_solubility(t, s, 101325) / other - 1);
        }
    }
}

Test(oxygen, the_vapour_pressure_with_salinity_hardly_moves_the_fresh_pressure_factor)
{
    for (int t = 0; t <= 40; t += 5) {
        const double u = oxygen_vapour_pressure_green_carritt_atm(t, 0);
        const double theta = oxygen_theta(t);
        const double p = 0.9;
        const double factor = (p - u) * (1 - theta * p) / ((1 - u) * (1 - theta));
        cr_expect(is_close(factor, oxygen_pressure_factor(t, p * 101325), 2e-5), "t %d", t);
    }
}

Test(oxygen, facts_of_the_trade_hold)
{
    const struct check rows[] = {
        CHECK(oxygen_corrected_for_salinity(10, 20, 30, 0) / 10, 1 / 1.194, 5e-4,
              "common practice: fresh setting in salinity 30 reads 19 % high"),
        CHECK(oxygen_percent_at_pressure(100, 20, 101325, 99325), 102.0, 0.1,
              "common practice: 20 hPa are 2 % of saturation"),
        CHECK(oxygen_from_percent(100, 25, 0, OXYGEN_SEA_LEVEL_PA), 8.26, 0.005, "common practice"),
    };
    CHECK_ALL(rows);
}

Test(oxygen, correcting_for_a_setting_that_was_right_changes_nothing)
{
    cr_expect(oxygen_corrected_for_salinity(7.5, 18, 25, 25) == 7.5);
    cr_expect(oxygen_air_calibration_gain(22, 98000, 98000) == 1);
    cr_expect(is_close(oxygen_percent_at_pressure(93, 22, 98000, 98000), 93, 1e-13));
}

Test(oxygen, missing_or_out_of_range_gives_nan)
{
    const struct check_missing rows[] = {
        MISSING(oxygen_solubility(NAN, 0, 1e5)),
        MISSING(oxygen_solubility(20, NAN, 1e5)),
        MISSING(oxygen_solubility(20, 0, NAN)),
        MISSING(oxygen_solubility(-2.1, 0, 1e5)),
        MISSING(oxygen_solubility(40.1, 0, 1e5)),
        MISSING(oxygen_solubility(20, -0.1, 1e5)),
        MISSING(oxygen_solubility(20, 42.1, 1e5)),
        MISSING(oxygen_solubility(20, 0, 1013.25)), /* hPa given for Pa */
        MISSING(oxygen_solubility(20, 0, 111501)),
        MISSING(oxygen_solubility(20, 0, 50599)),
        MISSING(oxygen_solubility_fresh(NAN)),
        MISSING(oxygen_salinity_factor(20, NAN)),
        MISSING(oxygen_pressure_factor(NAN, 1e5)),
        MISSING(oxygen_percent(NAN, 20, 0, 1e5)),
        MISSING(oxygen_from_percent(NAN, 20, 0, 1e5)),
        MISSING(oxygen_corrected_for_salinity(NAN, 20, 0, 0)),
        MISSING(oxygen_corrected_for_salinity(8, 20, 0, 50)),
        MISSING(oxygen_air_calibration_gain(20, 1e5, NAN)),
        MISSING(oxygen_percent_at_pressure(NAN, 20, 1e5, 1e5)),
        MISSING(oxygen_garcia_gordon(NAN, 0)),
        MISSING(oxygen_garcia_gordon(20, 43)),
        MISSING(oxygen_from_micromoles_per_kg(NAN, 1000)),
        MISSING(oxygen_vapour_pressure_atm(-273.15)),
        MISSING(oxygen_vapour_pressure_green_carritt_atm(NAN, 0)),
        MISSING(oxygen_theta(NAN)),
    };
    MISSING_ALL(rows);
}

Test(oxygen, sweeps_give_what_single_calls_give)
{
    const double value[] = {8, 95, NAN, 7};
    const double temperature[] = {5, 20, 20, NAN};
    const double salinity[] = {0, 30, 10, 10};
    const double air[] = {101325, 98000, 1e5, 1e5};
    double solubility[4], percent[4], concentration[4], corrected[4];
    oxygen_solubility_sweep(4, temperature, salinity, air, solubility);
    oxygen_percent_sweep(4, value, temperature, salinity, air, percent);
    oxygen_from_percent_sweep(4, value, temperature, salinity, air, concentration);
    oxygen_corrected_for_salinity_sweep(4, value, temperature, salinity, 35, corrected);
    for (size_t i = 0; i < 4; i++) {
        const double t = temperature[i];
        const double s = salinity[i];
        cr_expect(is_same(solubility[i], oxygen_solubility(t, s, air[i])), "%zu", i);
        cr_expect(is_same(percent[i], oxygen_percent(value[i], t, s, air[i])), "%zu", i);
        cr_expect(is_same(concentration[i], oxygen_from_percent(value[i], t, s, air[i])), "%zu", i);
        cr_expect(is_same(corrected[i], oxygen_corrected_for_salinity(value[i], t, s, 35)), "%zu", i);
    }
}

static double mercury_mm(double millimetres)
{
    return unit_to_base(unit_find("mmHg", 4), millimetres);
}
