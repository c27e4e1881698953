/* SPDX-License-Identifier: MIT */
#include "model/record.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>

#define COLUMNS (1u << QUANTITY_LEVEL | 1u << QUANTITY_SALINITY)

static struct arena *arena;

static void make_arena(void)
{
    arena = arena_new();
}

static void free_arena(void)
{
    arena_free(arena);
}

TestSuite(record, .init = make_arena, .fini = free_arena);

static struct record make_record(size_t n)
{
    struct record record;
    record_init(&record, arena, n, COLUMNS);
    for (size_t i = 0; i < n; i++) {
        record.time[i] = (int64_t)i * 10;
        record.raw_time[i] = (int64_t)i * 10 + 3;
        record.value[QUANTITY_LEVEL][i] = (double)i;
    }
    return record;
}

Test(record, a_new_one_is_missing_and_not_evaluated)
{
    struct record record;
    record_init(&record, arena, 3, COLUMNS);
    cr_expect_eq(record.n, 3);
    cr_expect_eq(record_columns(&record), COLUMNS);
    for (size_t i = 0; i < 3; i++) {
        cr_expect(isnan(record.value[QUANTITY_LEVEL][i]) && isnan(record.value[QUANTITY_SALINITY][i]));
        cr_expect_eq(record.flag[QUANTITY_LEVEL][i], FLAG_NOT_EVALUATED);
        cr_expect_eq(record.tests[QUANTITY_LEVEL][i], 0);
        cr_expect_eq(record.barometer[i], NO_BAROMETER);
    }
    cr_expect_null(record.value[QUANTITY_OXYGEN]);
    cr_expect_null(record.flag[QUANTITY_OXYGEN]);
    cr_expect_null(record.uncertainty[QUANTITY_LEVEL]);
}

Test(record, what_does_not_exist_in_some_rows_is_missing_there)
{
    struct record record;
    record_room(&record, arena, 3, COLUMNS);
    cr_expect(record.n == 3 && record_columns(&record) == COLUMNS && !record.uncertainty[QUANTITY_LEVEL]);
    for (size_t i = 0; i < 3; i++) {
        record.value[QUANTITY_LEVEL][i] = 1;
        record.flag[QUANTITY_LEVEL][i] = FLAG_PASS;
        record.tests[QUANTITY_LEVEL][i] = TEST_CORRECTED;
    }
    record_leave_out(&record, QUANTITY_LEVEL, 1, 2);
    record_leave_out(&record, QUANTITY_OXYGEN, 1, 2); /* which it has not */
    cr_expect_eq(record.value[QUANTITY_LEVEL][0], 1);
    cr_expect(record.flag[QUANTITY_LEVEL][0] == FLAG_PASS && record.tests[QUANTITY_LEVEL][0] == TEST_CORRECTED);
    for (size_t i = 1; i < 3; i++) {
        cr_expect(isnan(record.value[QUANTITY_LEVEL][i]));
        cr_expect(record.flag[QUANTITY_LEVEL][i] == FLAG_MISSING && record.tests[QUANTITY_LEVEL][i] == 0);
    }
}

Test(record, adding_a_column_again_keeps_what_is_in_it)
{
    struct record record = make_record(2);
    record_add_column(&record, arena, QUANTITY_LEVEL);
    cr_expect_eq(record.value[QUANTITY_LEVEL][1], 1);
    record_add_column(&record, arena, QUANTITY_OXYGEN);
    cr_expect(isnan(record.value[QUANTITY_OXYGEN][0]));
    cr_expect_eq(record_columns(&record), COLUMNS | 1u << QUANTITY_OXYGEN);
    record_add_uncertainty(&record, arena, QUANTITY_LEVEL);
    cr_expect(isnan(record.uncertainty[QUANTITY_LEVEL][1]));
    record.uncertainty[QUANTITY_LEVEL][1] = 0.003;
    record_add_uncertainty(&record, arena, QUANTITY_LEVEL);
    cr_expect_eq(record.uncertainty[QUANTITY_LEVEL][1], 0.003);
}

Test(record, a_view_holds_from_and_leaves_out_to)
{
    struct record record = make_record(5); /* 0 10 20 30 40 */
    record_add_uncertainty(&record, arena, QUANTITY_LEVEL);
    const struct {
        int64_t from, to;
        size_t first, n;
    } rows[] = {{0, 41, 0, 5},
                {0, 40, 0, 4},
                {1, 40, 1, 3},
                {10, 30, 1, 2},
                {10, 10, 1, 0},
                {11, 20, 2, 0},
                {30, 10, 3, 0},
                {40, 41, 4, 1},
                {41, 99, 5, 0},
                {-9, 0, 0, 0},
                {TIME_NONE, TIME_FOREVER, 0, 5}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct record view = record_between(&record, rows[i].from, rows[i].to);
        cr_assert_eq(view.n, rows[i].n, "row %zu: %zu", i, view.n);
        if (view.n == 0)
            continue;
        cr_expect_eq(view.time, record.time + rows[i].first);
        cr_expect_eq(view.raw_time, record.raw_time + rows[i].first);
        cr_expect_eq(view.barometer, record.barometer + rows[i].first);
        cr_expect_eq(view.value[QUANTITY_LEVEL], record.value[QUANTITY_LEVEL] + rows[i].first);
        cr_expect_eq(view.flag[QUANTITY_SALINITY], record.flag[QUANTITY_SALINITY] + rows[i].first);
        cr_expect_eq(view.tests[QUANTITY_SALINITY], record.tests[QUANTITY_SALINITY] + rows[i].first);
        cr_expect_eq(view.uncertainty[QUANTITY_LEVEL], record.uncertainty[QUANTITY_LEVEL] + rows[i].first);
        cr_expect_null(view.uncertainty[QUANTITY_SALINITY]);
        cr_expect_null(view.value[QUANTITY_OXYGEN]);
    }
}

Test(record, the_first_row_at_or_after_a_time_is_found)
{
    struct record record = make_record(5);
    for (int64_t time = -1; time <= 41; time++) {
        size_t expected = 0;
        while (expected < 5 && record.time[expected] < time)
            expected++;
        cr_expect_eq(record_at_or_after(&record, time), expected);
    }
}

/* Levels 0 1 2 3 4 at 0 10 20 30 40, of which some are struck out. */
Test(record, a_value_between_rows_is_on_the_line_between_the_usable_ones)
{
    struct record record = make_record(5);
    for (size_t i = 0; i < 5; i++)
        record.flag[QUANTITY_LEVEL][i] = FLAG_PASS;
    record.flag[QUANTITY_LEVEL][2] = FLAG_FAIL;
    record.value[QUANTITY_LEVEL][2] = 99;
    record.value[QUANTITY_LEVEL][4] = NAN;
    record.flag[QUANTITY_LEVEL][1] = FLAG_SUSPECT;
    const struct {
        int64_t time, reach;
        double expected;
    } rows[] = {{0, 10, 0},   {5, 10, 0.5}, {10, 10, 1}, {20, 10, 2},   {25, 20, 2.5}, {25, 10, 3},  {15, 10, 1},
                {20, 9, NAN}, {35, 5, 3},   {40, 10, 3}, {41, 10, NAN}, {-5, 5, 0},    {-6, 5, NAN}, {5, 4, NAN}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        double got = record_value_at(&record, QUANTITY_LEVEL, rows[i].time, rows[i].reach);
        cr_expect(isnan(rows[i].expected) ? isnan(got) : fabs(got - rows[i].expected) < 1e-12, "row %zu: %g", i, got);
    }
    cr_expect(isnan(record_value_at(&record, QUANTITY_SALINITY, 10, 10)), "all missing");
    cr_expect(isnan(record_value_at(&record, QUANTITY_OXYGEN, 10, 10)), "no such column");
}

Test(record, an_empty_one_has_empty_views)
{
    struct record empty = {0}, record;
    cr_expect_eq(record_between(&empty, 0, 10).n, 0);
    cr_expect_eq(record_at_or_after(&empty, 0), 0);
    cr_expect_eq(record_columns(&empty), 0);
    record_init(&record, arena, 0, COLUMNS);
    cr_expect_eq(record_between(&record, TIME_NONE, TIME_FOREVER).n, 0);
}
