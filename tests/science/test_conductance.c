/* SPDX-License-Identifier: MIT */
#include "science/conductance.h"

#include "science/check.h"
#include "science/salinity.h"

#include <criterion/criterion.h>
#include <math.h>

/* The linear form has no unit of its own, so its rows keep the microsiemens of the potassium chloride tables.
 */
Test(conductance, formulas_agree_with_published_and_independent_values)
{
    const struct check rows[] = {
        CHECK(conductance_at_25(1013.95, 10, 0.0191), 1421.09, 0.005, "computed independently: true value 1408.23"),
        CHECK(conductance_at_25(1273.03, 20, 0.0191), 1407.44, 0.005, "computed independently: true value 1408.23"),
        CHECK(conductance_at_25(1013.95, 10, 0.02), 1448.50, 0.005, "computed independently"),
        CHECK(conductance_at_25(7116.85, 0, 0.0191), 13620.8, 0.05, "computed independently: true 12824.6"),
        CHECK(conductance_to_salinity(53.087), 34.9997, 1e-4, "sum of the coefficients"),
        CHECK(conductance_to_salinity(1.0), 0.4927, 5e-05, "computed independently"),
        CHECK(conductance_to_salinity(10.0), 5.6245, 5e-05, "computed independently"),
        CHECK(conductance_at_25_seawater(29.036028666, 0, 0), 53.07103, 2e-5, "TEOS-10 via gsw 3.6.16"),
        CHECK(conductance_at_25_seawater(42.914, 15, 0), 53.06668, 2e-5, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_to_conductivity(35, 25, 0), 53.07103, 2e-5, "TEOS-10 via gsw 3.6.16"),
        CHECK(salinity_to_conductivity(35, 15 / 1.00024, 0), 42.914, 1e-5, "definition, Culkin and Smith 1980"),
        CHECK(conductance_factor_iso7888(0), 1.918, 0.0006, "ISO 7888 table, as reprinted"),
        CHECK(conductance_factor_iso7888(5), 1.643, 0.0006, "ISO 7888 table, as reprinted"),
        CHECK(conductance_factor_iso7888(10), 1.428, 0.0006, "ISO 7888 table, as reprinted"),
        CHECK(conductance_factor_iso7888(15), 1.256, 0.0006, "ISO 7888 table, as reprinted"),
        CHECK(conductance_factor_iso7888(20), 1.116, 0.0006, "ISO 7888 table, as reprinted"),
        CHECK(conductance_factor_iso7888(25), 1.000, 0.0006, "ISO 7888 table, as reprinted"),
        CHECK(conductance_factor_iso7888(30), 0.903, 0.0006, "ISO 7888 table, as reprinted"),
        CHECK(conductance_factor_iso7888(35), 0.822, 0.0006, "ISO 7888 table, as reprinted"),
        CHECK(conductance_to_salinity(30.0), 18.5635, 5e-05, "computed independently"),
        CHECK(conductance_at_25_seawater(20, 18, 0), 23.18279, 2e-5, "TEOS-10 via gsw 3.6.16"),
        CHECK(conductance_to_salinity(45.0), 29.08375, 5e-06, "computed independently"),
    };
    CHECK_ALL(rows);
}

Test(conductance, linear_compensation_of_sea_water_errs_as_the_header_says)
{
    const struct {
        double temperature, per_cent;
    } rows[] = {{0, 4.7}, {5, 2.0}, {10, 0.6}, {20, -0.2}, {30, 0.4}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const double t = rows[i].temperature;
        const double c = salinity_to_conductivity(35, t, 0);
        const double error = 100 * (conductance_at_25(c, t, 0.0191) / conductance_at_25_seawater(c, t, 0) - 1);
        cr_expect(is_close(error, rows[i].per_cent, 0.06), "t %g: %g %% (computed independently)", t, error);
    }
}

Test(conductance, compensation_can_be_undone)
{
    for (int t = -2; t <= 40; t++)
        cr_expect(is_close(conductance_undone(conductance_at_25(12.5, t, 0.02), t, 0.02), 12.5, 1e-12));
    cr_expect(conductance_at_25(12.5, 25, 0.0191) == 12.5);
}

Test(conductance, missing_or_out_of_range_gives_nan)
{
    const struct check_missing rows[] = {
        MISSING(conductance_at_25(NAN, 15, 0.0191)),
        MISSING(conductance_at_25(10, NAN, 0.0191)),
        MISSING(conductance_at_25(10, 5, 0.05)),
        MISSING(conductance_undone(10, -30, 0.0191)),
        MISSING(conductance_at_25_seawater(NAN, 15, 0)),
        MISSING(conductance_at_25_seawater(90, 15, 0)),
        MISSING(conductance_factor_iso7888(36)),
        MISSING(conductance_factor_iso7888(-0.1)),
        MISSING(conductance_to_salinity(NAN)),
        MISSING(conductance_to_salinity(-1)),
        MISSING(conductance_to_salinity(61)),
    };
    MISSING_ALL(rows);
}

Test(conductance, the_factor_to_25_degrees_is_one_at_25_and_falls)
{
    cr_expect(is_close(conductance_factor_iso7888(25), 1, 1e-15));
    for (int t = 0; t < 35; t++)
        cr_expect(conductance_factor_iso7888(t) > conductance_factor_iso7888(t + 1));
}

/* ISO 7888 / EN 27888, factors to 25 degC, by a public reprint of the table, with which a second one agrees up to 12
 * degC: rows of whole degrees, and a tenth, two and three tenths above. Three decimals: half a unit of the last is the
 * table's own rounding. */
Test(conductance, the_factor_to_25_degrees_is_the_one_of_the_standards_table)
{
    static const double table[4][36] = {
        {1.918, 1.857, 1.800, 1.745, 1.693, 1.643, 1.596, 1.551, 1.508, 1.467, 1.428, 1.390,
         1.354, 1.320, 1.287, 1.256, 1.225, 1.196, 1.168, 1.141, 1.116, 1.091, 1.067, 1.044,
         1.021, 1.000, 0.979, 0.959, 0.940, 0.921, 0.903, 0.886, 0.869, 0.853, 0.837, 0.822},
        {1.912, 1.851, 1.794, 1.740, 1.688, 1.638, 1.591, 1.547, 1.504, 1.463, 1.424, 1.387,
         1.351, 1.317, 1.284, 1.253, 1.222, 1.193, 1.166, 1.139, 1.113, 1.088, 1.064, 1.041,
         1.019, 0.998, 0.977, 0.957, 0.938, 0.920, 0.902, 0.884, 0.867, 0.851, 0.835, 0.820},
        {1.906, 1.845, 1.788, 1.734, 1.683, 1.634, 1.587, 1.542, 1.500, 1.459, 1.420, 1.383,
         1.347, 1.313, 1.281, 1.249, 1.219, 1.191, 1.163, 1.136, 1.111, 1.086, 1.062, 1.039,
         1.017, 0.996, 0.975, 0.955, 0.936, 0.918, 0.900, 0.883, 0.866, 0.850, 0.834, 0.819},
        {1.899, 1.840, 1.783, 1.729, 1.678, 1.629, 1.582, 1.538, 1.496, 1.455, 1.416, 1.379,
         1.344, 1.310, 1.278, 1.246, 1.216, 1.188, 1.160, 1.134, 1.108, 1.083, 1.060, 1.037,
         1.015, 0.994, 0.973, 0.953, 0.934, 0.916, 0.898, 0.881, 0.864, 0.848, 0.832, 0.817}};
    for (int tenth = 0; tenth < 4; tenth++) {
        for (int degree = 0; degree < 36; degree++) {
            const double found = conductance_factor_iso7888(degree + tenth / 10.0);
            cr_expect(is_close(found, table[tenth][degree], 0.0006), "%d.%d degC: %g", degree, tenth, found);
        }
    }
}

Test(conductance, salinity_from_conductance_is_near_the_practical_scale)
{
    for (int s = 3; s <= 35; s++) {
        const double c25 = salinity_to_conductivity(s, 25, 0);
        cr_expect(is_close(conductance_to_salinity(c25), s, 0.03), "S %d: %g", s, conductance_to_salinity(c25));
    }
}

Test(conductance, sweeps_give_what_single_calls_give)
{
    const double values[] = {1, 20, NAN, 50};
    const double temperature[] = {5, NAN, 20, 30};
    double at_25[4];
    double undone[4];
    conductance_at_25_sweep(4, values, temperature, 0.02, at_25);
    conductance_undone_sweep(4, values, temperature, 0.02, undone);
    for (size_t i = 0; i < 4; i++) {
        cr_expect(is_same(at_25[i], conductance_at_25(values[i], temperature[i], 0.02)), "%zu", i);
        cr_expect(is_same(undone[i], conductance_undone(values[i], temperature[i], 0.02)), "%zu", i);
    }
}
