/* SPDX-License-Identifier: MIT */
#include "derive/budget.h"

#include <criterion/criterion.h>
#include <math.h>

static const struct level_situation ordinary = {.depth = 2,
                                                .change = 0.5,
                                                .density = 1000,
                                                .gravity = 9.81,
                                                .salinity_uncertainty = 0.1,
                                                .air_gap_hours = 0.25,
                                                .barometer_distance_km = 5,
                                                .barometer_rise_m = -2,
                                                .reading = 0.002,
                                                .air_temperature_is_known = 1};

/* Computed by hand: 30 Pa and 30 Pa as even distributions are 1.77 and 1.77 mm; 2 mm of the reading; the rest is small.
 */
Test(budget, an_ordinary_level_is_good_to_about_three_millimetres)
{
    struct level_budget b = budget_of_level(&ordinary);
    cr_expect_float_eq(b.reference, 0.002, 1e-6);
    cr_expect_float_eq(b.pressure, 0.001766, 1e-6);
    cr_expect_float_eq(b.air, 0.00181, 5e-5);
    cr_expect_float_eq(b.total, 0.0032, 1e-4);
}

Test(budget, each_part_only_makes_it_worse)
{
    double least = budget_of_level(&ordinary).total;
    struct level_situation worse[] = {ordinary, ordinary, ordinary, ordinary, ordinary, ordinary};
    worse[0].change = 3;
    worse[0].salinity_uncertainty = 1;
    worse[1].air_gap_hours = 3;
    worse[2].barometer_distance_km = 60;
    worse[3].barometer_rise_m = -400;
    worse[3].air_temperature_is_known = 0;
    worse[4].closing_size = 0.02;
    worse[5].air_shift_pa = -80;
    for (size_t k = 0; k < sizeof worse / sizeof worse[0]; k++)
        cr_expect_gt(budget_of_level(&worse[k]).total, least, "%zu", k);
}

Test(budget, parts_add_in_squares)
{
    struct level_situation handed_over = ordinary;
    handed_over.air_shift_pa = 60;
    struct level_budget b = budget_of_level(&handed_over);
    double sum = b.reference * b.reference + b.pressure * b.pressure + b.air * b.air + b.hand_over * b.hand_over +
                 b.density * b.density + b.closing * b.closing;
    cr_expect_float_eq(b.total, sqrt(sum), 1e-12);
}

/* By hand: 80 Pa / sqrt 12 = 23.1 Pa, of water of 9810 Pa a metre 2.35 mm. */
Test(budget, the_step_bridged_between_two_barometers_is_a_part_of_its_own)
{
    cr_expect_eq(budget_of_level(&ordinary).hand_over, 0);
    struct level_situation s = ordinary;
    for (s.air_shift_pa = -80; s.air_shift_pa <= 80; s.air_shift_pa += 160)
        cr_expect_float_eq(budget_of_level(&s).hand_over, 0.002354, 1e-6);
    s.air_shift_pa = NAN;
    cr_expect_eq(budget_of_level(&s).hand_over, 0, "not known counts as nothing");
}

Test(budget, missing_in_gives_missing_out)
{
    struct level_situation dry = ordinary;
    dry.depth = NAN;
    cr_expect(isnan(budget_of_level(&dry).total));
    cr_expect(isnan(budget_of_salinity(NAN, 0)) && isnan(budget_of_oxygen(NAN, 0, 0)));
}

Test(budget, a_correction_leaves_doubt_behind)
{
    cr_expect_gt(budget_of_salinity(20, 2), budget_of_salinity(20, 0));
    cr_expect_gt(budget_of_oxygen(6, 0.5, 0), budget_of_oxygen(6, 0, 0));
    cr_expect_gt(budget_of_oxygen(6, 0, 1), budget_of_oxygen(6, 0, 0));
    cr_expect_float_eq(budget_of_oxygen(6, 0, 0), 0.058, 1e-3, "0.1 mg/L as an even distribution");
}
