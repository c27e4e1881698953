/* SPDX-License-Identifier: MIT */
#include "science/correction.h"

#include "science/check.h"

#include <criterion/criterion.h>
#include <math.h>

Test(correction, formulas_agree_with_worked_examples)
{
    const struct check rows[] = {
        CHECK(correction_fouling(668, 640, 659, 655), 24.000000, 5e-07,
              "worked example, computed independently"),
        CHECK(correction_fouling_percent(668, 640, 659, 655), 3.7500, 5e-05,
              "worked example, computed independently"),
        CHECK(correction_drift(1413, 1392), 21.000000, 5e-07, "worked example, computed independently"),
        CHECK(correction_drift_percent(1413, 1392), 1.5086, 5e-05, "worked example, computed independently"),
        CHECK(correction_prorated_percent(600, 10, 0, 30, 0, 3.75), 607.5000, 5e-05,
              "worked example, computed independently"),
        CHECK(correction_prorated_percent(607.5, 10, 0, 30, 0, 100.0 * 21 / 1392), 610.555, 0.0005,
              "worked example, computed independently"),
        CHECK(correction_prorated(2.500, 5, 0, 20, 0, -0.012), 2.497000, 5e-07,
              "worked example, computed independently"),
        CHECK(correction_multi_point(500, 2, (double[]){98, 990}, (double[]){100, 1000}, 0.5), 502.8027,
              5e-05, "worked example, computed independently"),
        CHECK(correction_rating(CORRECTION_CONDUCTANCE, 5.26 / 100 * 600 * 1e-3, 0.6), 2, 0.1,
              "TM 1-D3 table, from memory: 2 = good"),
        CHECK(correction_rating(CORRECTION_OXYGEN, 0.35, 8.0), 1, 0.1,
              "TM 1-D3 table, from memory: 0.35 <= 5 % of 8 -> 1"),
        CHECK(correction_is_needed(CORRECTION_CONDUCTANCE, 0.0049, 0.1), 0, 0.1,
              "TM 1-D3, from memory: 5 uS floor"),
        CHECK(correction_is_publishable(CORRECTION_OXYGEN, 2.1, 12), 1, 0.1,
              "TM 1-D3, from memory: 20 % of 12 = 2.4"),
        CHECK(correction_stage_tolerance(1.0), 0.003048, 5e-07, "USGS OSW memo 96.05, 0.01 ft"),
        CHECK(correction_stage_tolerance(3.0), 0.006000, 5e-07, "USGS OSW memo 96.05, 0.2 %"),
        CHECK(correction_fouling_percent(7.92, 7.15, 8.10, 8.05), 10.0699, 5e-05, "computed independently"),
        CHECK(correction_prorated(1.873, 40, 10, 70, 0.004, 0.019), 1.884500, 5e-07,
              "computed independently"),
        CHECK(correction_multi_point(700, 3, (double[]){101, 1405, 12700}, (double[]){100, 1413, 12880}, 1),
              703.1342, 5e-05, "computed independently"),
        CHECK(correction_rating(CORRECTION_CONDUCTANCE, 0.08, 0.5), 4, 0.1,
              "TM 1-D3, from memory: 16 % poor"),
        CHECK(correction_is_publishable(CORRECTION_TEMPERATURE, 2.1, 15), 0, 0.1, "TM 1-D3, from memory"),
    };
    CHECK_ALL(rows);
}

/* Conductance over 30 days, 640 before and 668 after cleaning, standard 1413 reads 1392: the layers in order.
 */
Test(correction, fouling_then_drift_give_the_worked_example_in_layers)
{
    const double fouling = correction_fouling_percent(668, 640, 659, 655);
    const double drift = correction_drift_percent(1413, 1392);
    const double cleaned = correction_prorated_percent(600, 10, 0, 30, 0, fouling);
    cr_expect(is_close(cleaned, 607.5, 1e-9));
    cr_expect(is_close(correction_prorated_percent(cleaned, 10, 0, 30, 0, drift), 610.555, 5e-4));
    const double size = (fabs(fouling) + fabs(drift)) / 100;
    cr_expect(correction_is_needed(CORRECTION_CONDUCTANCE, size * 0.6, 0.6));
    cr_expect(correction_is_publishable(CORRECTION_CONDUCTANCE, size * 0.6, 0.6));
    cr_expect(correction_rating(CORRECTION_CONDUCTANCE, size * 0.6, 0.6) == CORRECTION_GOOD);
}

Test(correction, a_stable_river_makes_the_field_meter_drop_out)
{
    cr_expect(correction_fouling(7.9, 7.1, 8, 8) == 7.9 - 7.1);
}

Test(correction, proration_starts_and_ends_at_the_visits)
{
    cr_expect(correction_prorated(2, 0, 0, 20, 0.25, 0.5) == 2.25);
    cr_expect(correction_prorated(2, 20, 0, 20, 0.25, 0.5) == 2.5);
    cr_expect(correction_prorated(2, 10, 0, 20, 0, 0.5) == 2.25);
    cr_expect(correction_prorated_percent(200, 20, 0, 20, 0, 5) == 210);
}

Test(correction, points_in_standards_are_met_exactly_and_the_ends_are_extended)
{
    const double readings[] = {101, 1405, 12700};
    const double standards[] = {100, 1413, 12880};
    for (size_t i = 0; i < 3; i++)
        cr_expect(
            is_close(correction_multi_point(readings[i], 3, readings, standards, 1), standards[i], 1e-9));
    const double below = correction_multi_point(51, 3, readings, standards, 1);
    const double slope = (1413.0 - 100) / (1405 - 101);
    cr_expect(is_close(below, 100 - 50 * slope, 1e-9));
    const double above = correction_multi_point(13700, 3, readings, standards, 1);
    cr_expect(is_close(above, 12880 + 1000 * (12880.0 - 1413) / (12700 - 1405), 1e-9));
    cr_expect(correction_multi_point(700, 3, readings, standards, 0) == 700,
              "nothing before time has passed");
    cr_expect(correction_multi_point(700, 1, readings, standards, 1) == 699, "one standard: an offset");
}

Test(correction, missing_or_impossible_input_gives_nan)
{
    const double readings[] = {100, 100};
    const double standards[] = {100, 110};
    const struct check_missing rows[] = {
        MISSING(correction_fouling(NAN, 1, 1, 1)),
        MISSING(correction_fouling_percent(1, 0, 0, 0)),
        MISSING(correction_drift_percent(1, 0)),
        MISSING(correction_drift(NAN, 1)),
        MISSING(correction_prorated(1, -1, 0, 10, 0, 1)),
        MISSING(correction_prorated(1, 11, 0, 10, 0, 1)),
        MISSING(correction_prorated(1, 5, 5, 5, 0, 1)),
        MISSING(correction_prorated(NAN, 5, 0, 10, 0, 1)),
        MISSING(correction_prorated_percent(1, 5, 0, 10, 0, NAN)),
        MISSING(correction_multi_point(1, 0, readings, standards, 1)),
        MISSING(correction_multi_point(1, 2, readings, standards, 1)),
        MISSING(correction_multi_point(NAN, 1, readings, standards, 1)),
        MISSING(correction_stage_tolerance(NAN)),
    };
    MISSING_ALL(rows);
    cr_expect(!correction_is_publishable(CORRECTION_OXYGEN, NAN, 8), "what is not known is not published");
    cr_expect(!correction_is_needed(CORRECTION_OXYGEN, NAN, 8));
    cr_expect(correction_rating(CORRECTION_OXYGEN, 0.1, NAN) == CORRECTION_UNRATED);
    cr_expect(correction_rating(CORRECTION_OXYGEN, NAN, 8) == CORRECTION_UNRATED);
}

/* TM 1-D3, table of accuracy ratings, from memory: the upper bounds belong to the better class. */
Test(correction, ratings_change_at_the_bounds_of_the_table)
{
    const struct {
        enum correction_quantity quantity;
        double size, value;
        enum correction_rating rating;
    } rows[] = {
        {CORRECTION_TEMPERATURE, 0.2, 15, CORRECTION_EXCELLENT},
        {CORRECTION_TEMPERATURE, 0.21, 15, CORRECTION_GOOD},
        {CORRECTION_TEMPERATURE, -0.6, 15, CORRECTION_FAIR},
        {CORRECTION_TEMPERATURE, 0.9, 15, CORRECTION_POOR},
        {CORRECTION_CONDUCTANCE, 0.0125, 0.5, CORRECTION_EXCELLENT},
        {CORRECTION_CONDUCTANCE, 0.045, 0.5, CORRECTION_GOOD},
        {CORRECTION_CONDUCTANCE, 0.07, 0.5, CORRECTION_FAIR},
        {CORRECTION_OXYGEN, 0.3, 2, CORRECTION_EXCELLENT},
        {CORRECTION_OXYGEN, 0.45, 8, CORRECTION_GOOD},
        {CORRECTION_OXYGEN, 1.0, 8, CORRECTION_FAIR},
        {CORRECTION_OXYGEN, 1.3, 8, CORRECTION_POOR},
        {CORRECTION_PH, 0.2, 7, CORRECTION_EXCELLENT},
        {CORRECTION_PH, 0.3, 7, CORRECTION_GOOD},
        {CORRECTION_TURBIDITY, 0.5, 5, CORRECTION_EXCELLENT},
        {CORRECTION_TURBIDITY, 6, 50, CORRECTION_FAIR},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        cr_expect(correction_rating(rows[i].quantity, rows[i].size, rows[i].value) == rows[i].rating,
                  "row %zu", i);
}

/* Every limit of the tables, from memory of TM 1-D3: just at it is inside, just above is outside. Value 100
 * makes the share count where there is one, value 0 the absolute amount. */
Test(correction, every_limit_of_the_tables_stands_where_it_should)
{
    const struct {
        enum correction_quantity quantity;
        double value, needed, publishable, excellent, good, fair;
    } rows[] = {
        {CORRECTION_TEMPERATURE, 0, 0.2, 2.0, 0.2, 0.5, 0.8},
        {CORRECTION_TEMPERATURE, 100, 0.2, 2.0, 0.2, 0.5, 0.8},
        {CORRECTION_CONDUCTANCE, 0, 0.005, 0, 0, 0, 0},
        {CORRECTION_CONDUCTANCE, 100, 3, 30, 3, 10, 15},
        {CORRECTION_OXYGEN, 0, 0.3, 2.0, 0.3, 0.5, 0.8},
        {CORRECTION_OXYGEN, 100, 0.3, 20, 5, 10, 15},
        {CORRECTION_PH, 0, 0.2, 2.0, 0.2, 0.5, 0.8},
        {CORRECTION_PH, 100, 0.2, 2.0, 0.2, 0.5, 0.8},
        {CORRECTION_TURBIDITY, 0, 0.5, 3.0, 0.5, 1.0, 1.5},
        {CORRECTION_TURBIDITY, 100, 5, 30, 5, 10, 15},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const enum correction_quantity q = rows[i].quantity;
        const double v = rows[i].value;
        const double a_little = 1e-9;
        cr_expect(!correction_is_needed(q, rows[i].needed - a_little, v), "row %zu", i);
        cr_expect(correction_is_needed(q, rows[i].needed + a_little, v), "row %zu", i);
        cr_expect(correction_is_publishable(q, fmax(0, rows[i].publishable - a_little), v), "row %zu", i);
        cr_expect(!correction_is_publishable(q, rows[i].publishable + a_little, v), "row %zu", i);
        cr_expect(correction_rating(q, fmax(0, rows[i].excellent - a_little), v) == CORRECTION_EXCELLENT);
        cr_expect(correction_rating(q, rows[i].excellent + a_little, v) > CORRECTION_EXCELLENT, "row %zu", i);
        cr_expect(correction_rating(q, fmax(0, rows[i].good - a_little), v) <= CORRECTION_GOOD, "row %zu", i);
        cr_expect(correction_rating(q, rows[i].good + a_little, v) > CORRECTION_GOOD, "row %zu", i);
        cr_expect(correction_rating(q, fmax(0, rows[i].fair - a_little), v) <= CORRECTION_FAIR, "row %zu", i);
        cr_expect(correction_rating(q, rows[i].fair + a_little, v) == CORRECTION_POOR, "row %zu", i);
    }
}

Test(correction, a_larger_correction_never_rates_better_nor_becomes_publishable)
{
    for (int q = 0; q < CORRECTION_QUANTITY_COUNT; q++) {
        const enum correction_quantity quantity = (enum correction_quantity)q;
        enum correction_rating previous = CORRECTION_EXCELLENT;
        bool was_publishable = true;
        for (int step = 0; step < 500; step++) {
            const double size = step * 0.01;
            const enum correction_rating rating = correction_rating(quantity, size, 6);
            const bool is_publishable = correction_is_publishable(quantity, size, 6);
            cr_expect(rating >= previous && (was_publishable || !is_publishable), "%d at %g", q, size);
            cr_expect(rating == CORRECTION_EXCELLENT || correction_is_needed(quantity, size, 6), "%d at %g",
                      q, size);
            previous = rating;
            was_publishable = is_publishable;
        }
        cr_expect(previous == CORRECTION_POOR && !was_publishable, "%d", q);
    }
}

Test(correction, every_rating_has_its_word)
{
    cr_expect_str_eq(correction_rating_name(CORRECTION_UNRATED), "unrated");
    cr_expect_str_eq(correction_rating_name(CORRECTION_EXCELLENT), "excellent");
    cr_expect_str_eq(correction_rating_name(CORRECTION_GOOD), "good");
    cr_expect_str_eq(correction_rating_name(CORRECTION_FAIR), "fair");
    cr_expect_str_eq(correction_rating_name(CORRECTION_POOR), "poor");
}
