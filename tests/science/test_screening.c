/* SPDX-License-Identifier: MIT */
#include "science/screening.h"

#include "science/check.h"

#include <criterion/criterion.h>
#include <math.h>

Test(screening, flags_agree_with_the_examples_of_the_manual)
{
    const struct check rows[] = {
        CHECK(screening_gross_range(5.1, -0.5, 10, -0.5, 5), 3, 0.1,
              "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_gross_range(10.2, -0.5, 10, -0.5, 5), 4, 0.1,
              "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_spike(1.00, 1.16, 1.02, 0.1, 0.2), 3, 0.1,
              "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_spike(1.00, 1.26, 1.02, 0.1, 0.2), 4, 0.1,
              "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_step(1.0, 1.35, 3, 0.1), 3, 0.1, "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_flat(3, (double[]){1.2, 1.2, 1.2}, 0.001, 3, 5), 3, 0.1,
              "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_flat(5, (double[]){1.2, 1.2, 1.2, 1.2, 1.2}, 0.001, 3, 5), 4, 0.1,
              "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_flat(5, (double[]){1.5, 1.4, 1.3, 1.2, 1.1}, 0.001, 3, 5), 1, 0.1,
              "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_attenuated(3, (double[]){1.0, 1.3, 1.1}, 0.5, 0.1), 3, 0.1,
              "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_worst(4, (enum screening_flag[]){1, 3, 2, 1}), 3, 0.1,
              "order of the open reference implementation"),
        CHECK(screening_worst(4, (enum screening_flag[]){1, 4, 3, 9}), 4, 0.1,
              "order of the open reference implementation"),
        CHECK(screening_gap(7300, 3600, 3600), 9, 0.1, "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_gross_range(5.0, -0.5, 10, -0.5, 5), 1, 0.1,
              "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_spike(3, 2.7, 3.1, 0.1, 0.2), 4, 0.1, "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_flat(5, (double[]){1.3, 1.2, 1.2, 1.2, 1.2}, 0.001, 3, 5), 3, 0.1,
              "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_attenuated(3, (double[]){1.0, 1.05, 1.08}, 0.5, 0.1), 4, 0.1,
              "QARTOD water level 2.1, example thresholds"),
        CHECK(screening_worst(3, (enum screening_flag[]){1, 2, 9}), 1, 0.1,
              "order of the open reference implementation"),
    };
    CHECK_ALL(rows);
}

Test(screening, a_value_on_the_limit_passes)
{
    cr_expect(screening_gross_range(5, -0.5, 10, -0.5, 5) == SCREENING_PASS);
    cr_expect(screening_gross_range(10, -0.5, 10, NAN, NAN) == SCREENING_PASS);
    cr_expect(screening_spike(1, 1.5, 1, 0.5, 0.5) == SCREENING_PASS);
    cr_expect(screening_step(1, 1.5, 1, 0.5) == SCREENING_PASS);
    cr_expect(screening_gap(3600, 0, 3600) == SCREENING_PASS);
}

Test(screening, an_unset_limit_never_trips)
{
    cr_expect(screening_gross_range(1e9, NAN, NAN, NAN, NAN) == SCREENING_PASS);
    cr_expect(screening_gross_range(-1, NAN, NAN, 0, NAN) == SCREENING_SUSPECT);
    cr_expect(screening_spike(0, 9, 0, NAN, NAN) == SCREENING_PASS);
}

Test(screening, a_missing_sample_is_missing_and_a_missing_neighbour_is_not_evaluated)
{
    cr_expect(screening_gross_range(NAN, 0, 1, 0, 1) == SCREENING_MISSING);
    cr_expect(screening_spike(1, NAN, 1, 1, 2) == SCREENING_MISSING);
    cr_expect(screening_spike(NAN, 1, 1, 1, 2) == SCREENING_NOT_EVALUATED);
    cr_expect(screening_spike(1, 1, NAN, 1, 2) == SCREENING_NOT_EVALUATED);
    cr_expect(screening_step(1, NAN, 3, 1) == SCREENING_MISSING);
    cr_expect(screening_step(NAN, 1, 3, 1) == SCREENING_NOT_EVALUATED);
    cr_expect(screening_step(1, 1, 3, NAN) == SCREENING_NOT_EVALUATED);
    cr_expect(screening_flat(1, (const double[]){NAN}, 0.1, 3, 5) == SCREENING_MISSING);
    cr_expect(screening_flat(2, (const double[]){1, 1}, 0.1, 3, 5) == SCREENING_NOT_EVALUATED);
    cr_expect(screening_flat(0, NULL, 0.1, 3, 5) == SCREENING_NOT_EVALUATED);
    cr_expect(screening_attenuated(0, NULL, 1, 0.5) == SCREENING_NOT_EVALUATED);
    cr_expect(screening_attenuated(2, (const double[]){NAN, NAN}, 1, 0.5) == SCREENING_MISSING);
    cr_expect(screening_attenuated(3, (const double[]){0, NAN, 2}, 1, 0.5) == SCREENING_PASS);
}

Test(screening, a_falling_series_is_not_flat)
{
    cr_expect(screening_flat(5, (const double[]){5, 4, 3, 2, 1}, 0.001, 3, 5) == SCREENING_PASS);
    cr_expect(screening_flat(5, (const double[]){1, 2, 3, 4, 5}, 0.001, 3, 5) == SCREENING_PASS);
}

Test(screening, a_gap_ends_a_flat_run)
{
    cr_expect(screening_flat(5, (const double[]){1, 1, NAN, 1, 1}, 0.001, 3, 5) == SCREENING_PASS);
}

Test(screening, a_spike_is_the_same_upwards_and_downwards_and_in_both_directions_of_time)
{
    for (int k = 0; k < 40; k++) {
        const double height = k * 0.01;
        const enum screening_flag up = screening_spike(1, 1 + height, 1.1, 0.1, 0.2);
        cr_expect(screening_spike(1.1, 1 + height, 1, 0.1, 0.2) == up);
        cr_expect(screening_spike(-1, -1 - height, -1.1, 0.1, 0.2) == up);
    }
}

Test(screening, the_worst_flag_wins_in_any_order)
{
    const enum screening_flag order[] = {SCREENING_FAIL, SCREENING_SUSPECT, SCREENING_PASS,
                                         SCREENING_NOT_EVALUATED, SCREENING_MISSING};
    for (size_t i = 0; i < 5; i++) {
        for (size_t k = i; k < 5; k++) {
            cr_expect(screening_worst(2, (const enum screening_flag[]){order[i], order[k]}) == order[i]);
            cr_expect(screening_worst(2, (const enum screening_flag[]){order[k], order[i]}) == order[i]);
        }
    }
    cr_expect(screening_worst(0, NULL) == SCREENING_NOT_EVALUATED);
}
