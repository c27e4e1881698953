/* SPDX-License-Identifier: MIT */
#include "derive/reference.h"

#include "base/random.h"
#include "derive/site.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

enum { ROWS = 400 };

static struct arena *arena;
static struct site site;
static size_t rows = ROWS;
static int64_t time[ROWS];
static double depth[ROWS], offset[ROWS];
static uint32_t deployment[ROWS];
static uint8_t is_borrowed[ROWS];
static struct anchor *anchors;
static size_t anchor_count;

static void set_up(void)
{
    arena = arena_new();
    site_init(&site, arena, 0, 5 * MINUTE_MS, 0);
    for (size_t i = 0; i < ROWS; i++) {
        time[i] = SITE_START + (int64_t)i * 5 * MINUTE_MS;
        depth[i] = 2;
        deployment[i] = 0;
    }
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(reference, .init = set_up, .fini = tear_down);

static void tie(void)
{
    anchor_count =
        reference_anchors(arena, &site.station, site.note_count, site.notes, rows, time, depth, deployment, &anchors);
    reference_offsets(rows, time, deployment, anchor_count, anchors, site.station.sensor_elevation, offset,
                      is_borrowed);
}

static void read_level(double minute, double level)
{
    site_note(&site, NOTE_LEVEL, site_minute(minute), level);
}

static size_t row_at(double minute)
{
    return (size_t)(minute / 5);
}

static void expect_offset(double minute, double expected, bool borrowed)
{
    size_t i = row_at(minute);
    cr_expect(isnan(expected) ? isnan(offset[i]) : fabs(offset[i] - expected) < 1e-9, "minute %g: %.6f, expected %.6f",
              minute, offset[i], expected);
    cr_expect_eq(is_borrowed[i], borrowed, "minute %g", minute);
}

Test(reference, a_staff_reading_ties_the_depth_to_the_datum)
{
    read_level(500, 3.25);
    tie();
    cr_assert_eq(anchor_count, 1);
    cr_expect_eq(anchors[0].time, site_minute(500));
    cr_expect_eq(anchors[0].note, 1);
    cr_expect_eq(anchors[0].kind, NOTE_LEVEL);
    cr_expect_float_eq(anchors[0].depth, 2, 1e-12);
    expect_offset(0, 1.25, false);
    expect_offset(500, 1.25, false);
    expect_offset(1990, 1.25, false);
}

Test(reference, a_tape_hangs_down_from_its_point)
{
    site.station.tape_point = 5;
    site_note(&site, NOTE_TAPE_DOWN, site_minute(500), 1.75);
    tie();
    cr_assert_eq(anchor_count, 1);
    cr_expect_eq(anchors[0].kind, NOTE_TAPE_DOWN);
    expect_offset(0, 1.25, false);
}

Test(reference, a_tape_reading_without_a_known_point_ties_nothing)
{
    site_note(&site, NOTE_TAPE_DOWN, site_minute(500), 1.75);
    tie();
    cr_expect_eq(anchor_count, 0);
}

Test(reference, the_error_between_two_readings_is_spread_linearly_and_is_constant_outside)
{
    read_level(500, 3.25);
    read_level(1500, 3.29);
    tie();
    cr_assert_eq(anchor_count, 2);
    expect_offset(0, 1.25, false);
    expect_offset(500, 1.25, false);
    expect_offset(750, 1.26, false);
    expect_offset(1000, 1.27, false);
    expect_offset(1500, 1.29, false);
    expect_offset(1990, 1.29, false);
}

Test(reference, readings_of_one_instant_are_averaged)
{
    site.station.tape_point = 5;
    read_level(500, 3.21);
    site_note(&site, NOTE_TAPE_DOWN, site_minute(500), 5 - 3.22);
    read_level(500, NAN);
    read_level(500, 3.29);
    tie();
    cr_assert_eq(anchor_count, 1);
    cr_expect_float_eq(anchors[0].level, 3.24, 1e-12);
    expect_offset(0, 1.24, false);
}

Test(reference, without_a_reading_the_sensors_elevation_ties_it_if_it_is_known)
{
    tie();
    expect_offset(0, NAN, false);
    site.station.sensor_elevation = -0.4;
    tie();
    expect_offset(0, -0.4, false);
    read_level(500, NAN);
    tie();
    expect_offset(0, -0.4, false);
}

/* The sensor hangs 8 cm higher after the visit from minute 600 to 625. */
static void hang_higher_after_a_visit(void)
{
    for (size_t i = 0; i < ROWS; i++) {
        deployment[i] = i >= row_at(605);
        depth[i] = i >= row_at(605) ? 1.92 : 2;
        if (i >= row_at(605) && i < row_at(625))
            depth[i] = NAN;
    }
}

Test(reference, a_reading_during_a_visit_ties_the_deployment_that_ends_and_the_one_that_begins)
{
    hang_higher_after_a_visit();
    read_level(612, 3.25);
    tie();
    cr_assert_eq(anchor_count, 2);
    cr_expect_eq(anchors[0].deployment, 0);
    cr_expect_eq(anchors[1].deployment, 1);
    expect_offset(0, 1.25, false);
    expect_offset(600, 1.25, false);
    expect_offset(625, 1.33, false);
    expect_offset(1990, 1.33, false);
}

Test(reference, deployments_are_tied_apart)
{
    hang_higher_after_a_visit();
    read_level(100, 3.20);
    read_level(1500, 3.30);
    tie();
    cr_assert_eq(anchor_count, 2);
    expect_offset(0, 1.20, false);
    expect_offset(600, 1.20, false);
    expect_offset(625, 1.38, false);
    expect_offset(1990, 1.38, false);
}

Test(reference, a_deployment_without_a_reading_borrows_the_nearest_of_another)
{
    for (size_t i = 0; i < ROWS; i++)
        deployment[i] = (uint32_t)(i / row_at(500)); /* four of them */
    read_level(100, 3.20);
    read_level(1600, 3.30);
    tie();
    expect_offset(400, 1.20, false);
    expect_offset(700, 1.20, true);
    expect_offset(850, 1.20, true); /* as far from both: the earlier */
    expect_offset(855, 1.30, true);
    expect_offset(1200, 1.30, true);
    expect_offset(1700, 1.30, false);
    site.note_count = 0;
    read_level(700, 3.1);
    tie();
    expect_offset(100, 1.1, true);
    expect_offset(600, 1.1, false);
    expect_offset(1900, 1.1, true);
}

/* The level is read between samples, while the tide runs at 1 m an hour. */
Test(reference, a_moving_tide_does_not_bias_a_reading_between_samples)
{
    for (size_t i = 0; i < ROWS; i++)
        depth[i] = 2 + (double)i * 5 / 60;
    read_level(502.5, 2 + 502.5 / 60 + 1.25);
    tie();
    expect_offset(0, 1.25, false);
}

Test(reference, waves_average_out_over_the_nearest_samples)
{
    for (size_t i = 0; i < ROWS; i++)
        depth[i] = 2 + (i % 2 ? 0.05 : -0.05);
    read_level(500, 3.25);
    tie();
    /* A parabola over nine samples, by the weights of Savitzky and Golay (1964), Anal. Chem. 36:1627-1639:
     * (-21 14 39 54 59 54 39 14 -21) / 231; the sample in the middle is a low one. */
    cr_expect_float_eq(anchors[0].depth, 2 + 0.05 * (-59 + 2 * 54 - 2 * 39 + 2 * 14 + 2 * 21) / 231., 1e-12);
}

/* A tide of 3 m from low to high, at its crest, sampled each 15 min. */
Test(reference, slack_water_is_no_line)
{
    for (size_t i = 0; i < ROWS; i++)
        depth[i] = i % 3 == 0 ? 2.5 + 1.5 * cos(((double)i * 5 - 510) / 60 * 2 * acos(-1) / 12.42) : NAN;
    read_level(510, 4 + 1.25);
    read_level(521, 2.5 + 1.5 * cos(11. / 60 * 2 * acos(-1) / 12.42) + 1.25);
    tie();
    cr_assert_eq(anchor_count, 2);
    cr_expect_float_eq(anchors[0].depth, 4, 0.0005);
    cr_expect_float_eq(anchors[1].depth, anchors[1].level - 1.25, 0.0005);
}

Test(reference, one_or_two_samples_within_reach_are_enough)
{
    for (size_t i = 0; i < ROWS; i++)
        depth[i] = i == row_at(490) ? 2 : i == row_at(510) ? 2.2 : NAN;
    read_level(505, 3.25);
    tie();
    cr_assert_eq(anchor_count, 1);
    cr_expect_float_eq(anchors[0].depth, 2.15, 1e-12);
    site.note_count = 0;
    read_level(480, 3.25);
    tie();
    cr_assert_eq(anchor_count, 1);
    cr_expect_float_eq(anchors[0].depth, 2, 1e-12, "only the first of them is within reach");
}

Test(reference, a_reading_out_of_reach_of_any_usable_sample_ties_nothing)
{
    for (size_t i = 0; i < ROWS; i++)
        depth[i] = i <= row_at(480) ? 2 : NAN;
    read_level(500, 3.25);
    tie();
    cr_expect_eq(anchor_count, 1, "20 min are within reach");
    site.note_count = 0;
    site_note(&site, NOTE_LEVEL, site_minute(500) + 1, 3.25);
    tie();
    cr_expect_eq(anchor_count, 0, "and no more");
}

/* A logger that samples each second: only what stands beside the reading tells the depth at it. */
Test(reference, fast_sampling_is_read_at_the_reading_not_at_the_edge_of_its_reach)
{
    enum { SECONDS = 3600 };
    int64_t *instant = arena_array(arena, SECONDS, sizeof *instant);
    double *wavy = arena_array(arena, SECONDS, sizeof *wavy);
    uint32_t *same = arena_array(arena, SECONDS, sizeof *same);
    for (int i = 0; i < SECONDS; i++) {
        instant[i] = SITE_START + i * SECOND_MS;
        wavy[i] = 2 + 0.2 * sin(2 * acos(-1) * i / 3600) + (i % 2 ? 0.001 : -0.001);
    }
    read_level(30, 3.25);
    anchor_count =
        reference_anchors(arena, &site.station, site.note_count, site.notes, SECONDS, instant, wavy, same, &anchors);
    cr_assert_eq(anchor_count, 1);
    cr_expect_float_eq(anchors[0].depth, 2, 0.002);
}

Test(reference, a_closing_tells_what_the_record_said_with_the_reading_before)
{
    hang_higher_after_a_visit();
    read_level(100, 3.20);
    read_level(400, 3.23);
    read_level(612, 3.25);
    read_level(1500, 3.24);
    tie();
    struct check_result *checks;
    size_t n = reference_closings(arena, anchor_count, anchors, &checks);
    cr_assert_eq(n, 5);
    const struct {
        int64_t time;
        double sensor, reference;
        bool is_first;
    } expected[] = {{site_minute(100), 3.20, 3.20, true},
                    {site_minute(400), 3.20, 3.23, false},
                    {site_minute(612), 3.23, 3.25, false},
                    {site_minute(612), 3.25, 3.25, true},
                    {site_minute(1500), 3.25, 3.24, false}};
    for (size_t k = 0; k < n; k++) {
        cr_expect_eq(checks[k].time, expected[k].time, "closing %zu", k);
        cr_expect_eq(checks[k].quantity, QUANTITY_LEVEL);
        cr_expect_float_eq(checks[k].sensor, expected[k].sensor, 1e-9, "closing %zu: %.4f", k, checks[k].sensor);
        cr_expect_float_eq(checks[k].reference, expected[k].reference, 1e-12);
        cr_expect_float_eq(checks[k].difference, expected[k].sensor - expected[k].reference, 1e-9);
        cr_expect_eq(checks[k].is_first, expected[k].is_first, "closing %zu", k);
    }
}

Test(reference, nothing_to_tie_is_fine)
{
    rows = 0;
    read_level(100, 3.20);
    tie();
    cr_expect_eq(anchor_count, 0);
    struct check_result *checks;
    cr_expect_eq(reference_closings(arena, 0, anchors, &checks), 0);
}

/* A reading is met exactly: level at its time is what was read, whatever the depth did. */
Test(reference, the_level_passes_through_every_reading)
{
    uint64_t state = 3;
    for (int round = 0; round < 200; round++) {
        site.note_count = 0;
        double slope = (double)random_between(&state, -100, 100) / 1e4;
        uint32_t number = 0;
        for (size_t i = 0; i < ROWS; i++) {
            number += random_index(&state, 150) == 0;
            deployment[i] = number;
            depth[i] = 3 + slope * (double)i - 0.08 * number;
        }
        size_t read[6], n = 1 + random_index(&state, 5);
        for (size_t k = 0; k < n; k++) {
            read[k] = random_index(&state, ROWS);
            read_level((double)read[k] * 5, (double)random_between(&state, 100, 500) / 100);
        }
        tie();
        for (size_t k = 0; k < site.note_count; k++) {
            bool is_alone = (k == 0 || site.notes[k - 1].time < site.notes[k].time) &&
                            (k + 1 == site.note_count || site.notes[k + 1].time > site.notes[k].time);
            size_t i = (size_t)((site.notes[k].time - SITE_START) / (5 * MINUTE_MS));
            cr_assert(!is_alone || fabs(depth[i] + offset[i] - site.notes[k].value) < 1e-9, "round %d, row %zu", round,
                      i);
            cr_assert(!is_borrowed[i]);
        }
    }
}

/* ---- hand readings that cannot be right ---- */

static struct reading_set_aside *aside;
static size_t aside_count;

/* Every reading known to 2 mm: 6 standard uncertainties of a difference are 17 mm. */
static void judge(double limit)
{
    anchor_count =
        reference_anchors(arena, &site.station, site.note_count, site.notes, rows, time, depth, deployment, &anchors);
    for (size_t k = 0; k < anchor_count; k++) {
        anchors[k].uncertainty = 0.002;
        anchors[k].salinity_uncertainty = 0;
    }
    anchor_count = reference_set_aside(arena, limit, anchor_count, anchors, &aside, &aside_count);
}

/* 18 inches are 0.4572 m: common practice of the trade to read the wrong foot plate. */
Test(reference, a_reading_that_stands_out_from_both_neighbours_is_set_aside)
{
    read_level(300, 3.25);
    read_level(900, 3.254 + 0.4572);
    read_level(1500, 3.257);
    judge(6);
    cr_assert_eq(aside_count, 1);
    cr_expect_eq(aside[0].anchor.note, 2);
    cr_expect_float_eq(aside[0].expected, 3.257, 1e-9, "from the nearer of the two in height");
    cr_expect_float_eq(aside[0].uncertainty, 0.002 * sqrt(2), 1e-9);
    cr_assert_eq(anchor_count, 2);
    cr_expect(anchors[0].note == 1 && anchors[1].note == 3);
}

Test(reference, a_reading_within_the_stated_number_of_standard_uncertainties_stays)
{
    read_level(300, 3.25);
    read_level(900, 3.25 + 0.016);
    read_level(1500, 3.25);
    judge(6);
    cr_expect_eq(aside_count, 0);
    judge(5);
    cr_expect_eq(aside_count, 1, "16 mm are 5.7 times the 2.8 mm of the difference");
    judge(0);
    cr_expect_eq(aside_count, 0, "0: nothing is ever set aside");
}

Test(reference, a_logger_that_was_moved_is_no_misreading)
{
    read_level(200, 3.25);
    read_level(600, 3.25);
    read_level(1000, 3.55);
    read_level(1400, 3.55);
    judge(6);
    cr_expect_eq(aside_count, 0);
    cr_expect_eq(anchor_count, 4);
}

Test(reference, the_newest_reading_is_judged_by_two_that_agree)
{
    read_level(300, 3.25);
    read_level(900, 3.25);
    read_level(1500, 3.75);
    judge(6);
    cr_assert_eq(aside_count, 1);
    cr_expect_eq(aside[0].anchor.note, 3);
    read_level(1800, 3.75);
    judge(6);
    cr_expect_eq(aside_count, 0, "the next one proves it right");
}

Test(reference, of_two_readings_that_differ_nobody_can_say_which_is_wrong)
{
    read_level(300, 3.25);
    read_level(900, 3.75);
    judge(6);
    cr_expect_eq(aside_count, 0);
}

Test(reference, a_reading_at_a_visit_is_judged_by_the_stay_before_and_the_stay_after)
{
    for (size_t i = row_at(1000); i < ROWS; i++) {
        deployment[i] = 1;
        depth[i] = 1.7; /* hung 0.3 m higher */
    }
    read_level(300, 3.25);
    read_level(1000, 3.25 + 0.4572);
    read_level(1600, 3.25);
    judge(6);
    cr_assert_eq(aside_count, 1, "once, though it had tied both");
    cr_expect_eq(aside[0].anchor.note, 2);
    cr_assert_eq(anchor_count, 2);
    cr_expect(anchors[0].deployment == 0 && anchors[1].deployment == 1);
}

Test(reference, what_depth_owes_to_an_unsure_salinity_is_no_misreading)
{
    for (size_t i = row_at(600); i < row_at(1200); i++)
        depth[i] = 32; /* 30 m more, 0.076 % of it a unit of salinity: 23 mm */
    read_level(300, 3.25);
    read_level(900, 33.25 + 0.03);
    read_level(1500, 3.25);
    judge(6);
    cr_expect_eq(aside_count, 1);
    anchor_count =
        reference_anchors(arena, &site.station, site.note_count, site.notes, rows, time, depth, deployment, &anchors);
    for (size_t k = 0; k < anchor_count; k++) {
        anchors[k].uncertainty = 0.002;
        anchors[k].salinity_uncertainty = 1;
    }
    reference_set_aside(arena, 6, anchor_count, anchors, &aside, &aside_count);
    cr_expect_eq(aside_count, 0);
}
