/* SPDX-License-Identifier: MIT */
#include "archive/scale.h"

#include "base/memory.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stddef.h>

Test(scale, labels_are_round_and_few)
{
    static const struct {
        double min, max, least;
        int labels;
        double step;
        int decimals;
    } rows[] = {
        {0.27, 1.66, 0.05, 5, 0.5, 1}, {1.71, 9.86, 1, 5, 2, 0},       {10346, 33379, 1, 3, 10000, 0},
        {998, 1026, 5, 3, 10, 0},      {1.2, 1.2, 0.05, 5, 0.02, 2},   {-0.4, 0.3, 0.05, 5, 0.2, 1},
        {0, 0, 1e-6, 5, 1e-4, 4},      {-1e9, 1e9, 1, 5, 500000000, 0},
    };
    for (size_t k = 0; k < COUNT_OF(rows); k++) {
        struct scale scale = scale_fit(rows[k].min, rows[k].max, rows[k].least, rows[k].labels);
        cr_expect_float_eq(scale.step, rows[k].step, rows[k].step * 1e-9, "%zu: %g", k, scale.step);
        cr_expect_eq(scale.decimals, rows[k].decimals, "%zu: %d", k, scale.decimals);
        cr_expect(scale.low < rows[k].min && scale.high > rows[k].max, "%zu", k);
    }
}

Test(scale, reaches_over_the_least_range_around_the_middle)
{
    struct scale scale = scale_fit(1.21, 1.21, 0.05, 5);
    cr_expect_geq(scale.high - scale.low, 0.05);
    cr_expect_float_eq((scale.low + scale.high) / 2, 1.21, 1e-12);
}

Test(scale, places_its_ends_at_zero_and_one)
{
    struct scale scale = scale_fit(2, 4, 0.1, 5);
    cr_expect_eq(scale_position(&scale, scale.low), 0);
    cr_expect_eq(scale_position(&scale, scale.high), 1);
    cr_expect_float_eq(scale_position(&scale, 3), 0.5, 1e-12);
    cr_expect(isnan(scale_position(&scale, NAN)));
}

Test(scale, begins_its_labels_inside)
{
    struct scale scale = scale_fit(-0.4, 0.3, 0.05, 5);
    double first = scale_first_label(&scale);
    cr_expect(first >= scale.low && first < scale.low + scale.step);
}
