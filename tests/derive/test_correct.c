/* SPDX-License-Identifier: MIT */
#include "derive/correct.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>

/* The worked example of a conductance sensor after 30 days (numbers computed by hand from the formulas of USGS TM 1-D3,
 * which stand in science/correction.h): before cleaning 640 beside a meter at 655, after cleaning 668 beside 659, then
 * 1392 in a standard of 1413 uS/cm. */
enum { DAYS = 30, STEPS = DAYS * 24 + 1 };

static struct arena *arena;
static struct record record;

static void set_up(void)
{
    arena = arena_new();
    record_init(&record, arena, STEPS, 1u << QUANTITY_SPECIFIC_CONDUCTANCE | 1u << QUANTITY_TEMPERATURE);
    for (size_t i = 0; i < STEPS; i++) {
        record.time[i] = record.raw_time[i] = (int64_t)i * HOUR_MS;
        record.value[QUANTITY_SPECIFIC_CONDUCTANCE][i] = 0.600;
        record.value[QUANTITY_TEMPERATURE][i] = 10;
    }
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(correct, .init = set_up, .fini = tear_down);

static struct note a_note(enum note_kind kind, int64_t time, enum quantity quantity, double value, double reference)
{
    return (struct note){.kind = kind,
                         .time = time,
                         .until = TIME_NONE,
                         .quantity = quantity,
                         .value = value,
                         .reference = reference,
                         .text = "",
                         .station = ""};
}

static const int64_t visit = DAYS * DAY_MS;

Test(correct, the_worked_example_comes_out)
{
    struct note notes[] = {
        a_note(NOTE_IN_WATER, 0, QUANTITY_COUNT, NAN, NAN),
        a_note(NOTE_CHECK, visit, QUANTITY_SPECIFIC_CONDUCTANCE, 0.640, 0.655),
        a_note(NOTE_CHECK_CLEANED, visit + HOUR_MS, QUANTITY_SPECIFIC_CONDUCTANCE, 0.668, 0.659),
        a_note(NOTE_STANDARD, visit + 2 * HOUR_MS, QUANTITY_SPECIFIC_CONDUCTANCE, 1.392, 1.413),
    };
    struct correction *list;
    cr_assert_eq(corrections_find(arena, QUANTITY_SPECIFIC_CONDUCTANCE, &record, 4, notes, HOUR_MS, &list), 1);
    cr_expect_float_eq(list[0].fouling, 3.75, 1e-9);
    cr_expect(list[0].is_applied, "5.26 %% is more than the criterion of 3 %%");
    cr_expect_eq(list[0].rating, CORRECTION_GOOD);
    corrections_apply(1, list, &record);
    cr_expect_float_eq(record.value[QUANTITY_SPECIFIC_CONDUCTANCE][10 * 24], 0.610555, 5e-7,
                       "600 reads 610.555 on day 10");
    cr_expect_eq(record.value[QUANTITY_SPECIFIC_CONDUCTANCE][0], 0.600, "nothing at the beginning");
    cr_expect(record.tests[QUANTITY_SPECIFIC_CONDUCTANCE][24] & TEST_CORRECTED);
}

Test(correct, a_small_error_is_found_and_left)
{
    struct note notes[] = {a_note(NOTE_IN_WATER, 0, QUANTITY_COUNT, NAN, NAN),
                           a_note(NOTE_CHECK, visit, QUANTITY_TEMPERATURE, 10.0, 10.15)};
    struct correction *list;
    cr_assert_eq(corrections_find(arena, QUANTITY_TEMPERATURE, &record, 2, notes, HOUR_MS, &list), 1);
    cr_expect_not(list[0].is_applied, "0.15 degC is within the criterion of 0.2");
    corrections_apply(1, list, &record);
    cr_expect_eq(record.value[QUANTITY_TEMPERATURE][STEPS - 1], 10.0);
    cr_expect_eq(record.tests[QUANTITY_TEMPERATURE][STEPS - 1], 0);
}

Test(correct, a_constant_error_of_temperature_is_added_not_multiplied)
{
    struct note notes[] = {a_note(NOTE_IN_WATER, 0, QUANTITY_COUNT, NAN, NAN),
                           a_note(NOTE_CHECK, visit, QUANTITY_TEMPERATURE, NAN, 10.6)};
    struct correction *list;
    size_t n = corrections_find(arena, QUANTITY_TEMPERATURE, &record, 2, notes, HOUR_MS, &list);
    corrections_apply(n, list, &record);
    cr_expect_float_eq(record.value[QUANTITY_TEMPERATURE][15 * 24], 10.3, 1e-9, "half of it after half the time");
    cr_expect_float_eq(record.value[QUANTITY_TEMPERATURE][STEPS - 1], 10.6, 1e-9);
}

Test(correct, without_a_known_beginning_nothing_is_corrected)
{
    struct note check = a_note(NOTE_CHECK, visit, QUANTITY_SPECIFIC_CONDUCTANCE, 0.5, 0.6);
    struct correction *list;
    cr_expect_eq(corrections_find(arena, QUANTITY_SPECIFIC_CONDUCTANCE, &record, 1, &check, HOUR_MS, &list), 0);
}

Test(correct, each_visit_begins_anew)
{
    struct note notes[] = {
        a_note(NOTE_IN_WATER, 0, QUANTITY_COUNT, NAN, NAN),
        a_note(NOTE_CHECK, 10 * DAY_MS, QUANTITY_SPECIFIC_CONDUCTANCE, 0.5, 0.6),
        a_note(NOTE_CHECK_CLEANED, 10 * DAY_MS + HOUR_MS, QUANTITY_SPECIFIC_CONDUCTANCE, 0.6, 0.6),
        a_note(NOTE_CHECK, 20 * DAY_MS, QUANTITY_SPECIFIC_CONDUCTANCE, 0.6, 0.6),
    };
    struct correction *list;
    cr_assert_eq(corrections_find(arena, QUANTITY_SPECIFIC_CONDUCTANCE, &record, 4, notes, HOUR_MS, &list), 2);
    cr_expect_eq(list[1].from, 10 * DAY_MS + HOUR_MS);
    cr_expect_eq(list[1].size, 0);
    corrections_apply(2, list, &record);
    cr_expect_float_eq(record.value[QUANTITY_SPECIFIC_CONDUCTANCE][240], 0.72, 1e-9, "20 %% at the end of the first");
    cr_expect_eq(record.value[QUANTITY_SPECIFIC_CONDUCTANCE][245], 0.600, "none after cleaning");
    cr_expect_null(corrections_at(2, list, 0));
    cr_expect_eq(corrections_at(2, list, 10 * DAY_MS), &list[0]);
}

Test(correct, a_visit_whose_checks_are_out_of_order_corrects_nothing_and_is_named)
{
    struct note notes[] = {
        a_note(NOTE_IN_WATER, 0, QUANTITY_COUNT, NAN, NAN),
        a_note(NOTE_CHECK_CLEANED, visit - HOUR_MS, QUANTITY_SPECIFIC_CONDUCTANCE, 0.668, 0.659),
        a_note(NOTE_CHECK, visit, QUANTITY_SPECIFIC_CONDUCTANCE, 0.500, 0.655),
    };
    struct correction *list;
    struct checks_disordered *named;
    cr_expect_eq(corrections_find(arena, QUANTITY_SPECIFIC_CONDUCTANCE, &record, 3, notes, HOUR_MS, &list), 0);
    cr_assert_eq(corrections_disordered(arena, QUANTITY_SPECIFIC_CONDUCTANCE, &record, 3, notes, HOUR_MS, &named), 1);
    cr_expect(named[0].cleaned == visit - HOUR_MS && named[0].found == visit);
    notes[1].time = visit; /* within the same minute they are in order */
    cr_expect_eq(corrections_find(arena, QUANTITY_SPECIFIC_CONDUCTANCE, &record, 3, notes, HOUR_MS, &list), 1);
    cr_expect_eq(corrections_disordered(arena, QUANTITY_SPECIFIC_CONDUCTANCE, &record, 3, notes, HOUR_MS, &named), 0);
    notes[1].time = visit - VISIT_LENGTH - 1; /* of the visit before */
    cr_expect_eq(corrections_disordered(arena, QUANTITY_SPECIFIC_CONDUCTANCE, &record, 3, notes, HOUR_MS, &named), 0);
}

Test(correct, more_than_may_be_published_fails_the_values)
{
    struct note notes[] = {a_note(NOTE_IN_WATER, 0, QUANTITY_COUNT, NAN, NAN),
                           a_note(NOTE_CHECK, visit, QUANTITY_SPECIFIC_CONDUCTANCE, 0.3, 0.6)};
    struct correction *list;
    size_t n = corrections_find(arena, QUANTITY_SPECIFIC_CONDUCTANCE, &record, 2, notes, HOUR_MS, &list);
    corrections_apply(n, list, &record);
    cr_expect_eq(record.flag[QUANTITY_SPECIFIC_CONDUCTANCE][STEPS - 1], FLAG_FAIL);
    cr_expect(record.tests[QUANTITY_SPECIFIC_CONDUCTANCE][STEPS - 1] & TEST_TOO_MUCH_DRIFT);
    cr_expect_neq(record.flag[QUANTITY_SPECIFIC_CONDUCTANCE][24], FLAG_FAIL, "still small on the first day");
}

Test(correct, two_standards_bracket_the_reading)
{
    struct note notes[] = {
        a_note(NOTE_IN_WATER, 0, QUANTITY_COUNT, NAN, NAN),
        a_note(NOTE_CHECK, visit, QUANTITY_SPECIFIC_CONDUCTANCE, 0.6, 0.6),
        a_note(NOTE_STANDARD, visit + HOUR_MS, QUANTITY_SPECIFIC_CONDUCTANCE, 0.990, 1.000),
        a_note(NOTE_STANDARD, visit + 2 * HOUR_MS, QUANTITY_SPECIFIC_CONDUCTANCE, 0.098, 0.100),
    };
    struct correction *list;
    cr_assert_eq(corrections_find(arena, QUANTITY_SPECIFIC_CONDUCTANCE, &record, 4, notes, HOUR_MS, &list), 1);
    cr_expect_eq(list[0].standard_count, 2);
    cr_expect_eq(list[0].readings[0], 0.098, "ascending, however they were written");
    cr_expect_not(list[0].is_applied, "6.5 uS/cm of 600 is below 3 %%");
}
