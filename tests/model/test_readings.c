/* SPDX-License-Identifier: MIT */
#include "model/readings.h"

#include "base/random.h"
#include "base/timestamp.h"
#include "model/rows.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static struct arena *arena;

static void make_arena(void)
{
    arena = arena_new();
}

static void free_arena(void)
{
    arena_free(arena);
}

TestSuite(readings, .init = make_arena, .fini = free_arena);

static struct merge_result expect_merged(const char *older, const char *newer, const char *expected)
{
    struct readings a = rows_read(arena, 1, older), b = rows_read(arena, 2, newer), merged;
    struct merge_result result;
    readings_merge(&a, &b, arena, &merged, &result);
    cr_expect_str_eq(rows_print(arena, &merged), expected);
    cr_expect_eq(result.added + result.repeated + result.filled + result.disagreed, b.n, "each newer row counts once");
    cr_expect_eq(merged.n, a.n + result.added);
    return result;
}

static bool is_unchanged(const struct merge_result *result)
{
    return result->changed_from > result->changed_to && result->first_disagreement == TIME_NONE;
}

/* ---- merging ---- */

Test(readings, new_times_are_added_between_the_old)
{
    struct merge_result r = expect_merged("10 1 1; 30 3 3", "5 9 9; 20 8 8; 40 7 7",
                                          "5 9 9@2.1; 10 1 1@1.1; 20 8 8@2.2; 30 3 3@1.2; 40 7 7@2.3");
    cr_expect_eq(r.added, 3);
    cr_expect(r.changed_from == 5 && r.changed_to == 40);
    cr_expect_eq(r.first_disagreement, TIME_NONE);
}

Test(readings, the_same_rows_again_change_nothing)
{
    struct merge_result r = expect_merged("10 1 -; 20 2 2", "10 1 -; 20 2 2", "10 1 -@1.1; 20 2 2@1.2");
    cr_expect_eq(r.repeated, 2);
    cr_expect(is_unchanged(&r));
}

Test(readings, a_missing_value_is_filled_in)
{
    struct merge_result r = expect_merged("10 1 -; 20 2 2", "10 1 5; 20 2 2", "10 1 5@2.1; 20 2 2@1.2");
    cr_expect(r.filled == 1 && r.repeated == 1);
    cr_expect(r.changed_from == 10 && r.changed_to == 10);
}

Test(readings, a_missing_value_never_replaces_a_number)
{
    struct merge_result r = expect_merged("10 1 2; 20 3 4", "10 - 2; 20 - -", "10 1 2@1.1; 20 3 4@1.2");
    cr_expect_eq(r.repeated, 2);
    cr_expect(is_unchanged(&r));
}

Test(readings, where_two_drops_disagree_the_newer_wins_and_it_is_said)
{
    struct merge_result r =
        expect_merged("10 1 1; 20 2 2; 30 3 3", "20 2 9; 30 8 3", "10 1 1@1.1; 20 2 9@2.1; 30 8 3@2.2");
    cr_expect_eq(r.disagreed, 2);
    cr_expect_eq(r.first_disagreement, 20);
    cr_expect_eq(r.other_drop, 1);
    cr_expect(r.changed_from == 20 && r.changed_to == 30);
}

Test(readings, a_row_that_fills_and_disagrees_counts_as_a_disagreement)
{
    struct merge_result r = expect_merged("10 1 -", "10 2 5", "10 2 5@2.1");
    cr_expect(r.disagreed == 1 && r.filled == 0);
}

Test(readings, rows_missing_from_the_newer_drop_stay)
{
    struct merge_result r = expect_merged("10 1 1; 20 2 2", "", "10 1 1@1.1; 20 2 2@1.2");
    cr_expect(is_unchanged(&r));
    r = expect_merged("", "10 1 1", "10 1 1@2.1");
    cr_expect(r.added == 1 && r.changed_from == 10 && r.changed_to == 10);
    r = expect_merged("", "", "");
    cr_expect(is_unchanged(&r));
}

Test(readings, a_number_takes_away_the_mark_of_a_cell_that_could_not_be_read)
{
    expect_merged("10 ! 1; 20 ! 2", "10 5 1; 20 - 2", "10 5 1@2.1; 20 ! 2@1.2");
    expect_merged("10 1 1", "20 ! 2", "10 1 1@1.1; 20 ! 2@2.1");
    expect_merged("10 7 1", "10 ! 1", "10 7 1@1.1");
}

Test(readings, columns_of_both_are_there)
{
    struct readings level, temperature, merged;
    readings_init(&level, arena, 1, 1u << QUANTITY_LEVEL);
    readings_init(&temperature, arena, 1, 1u << QUANTITY_TEMPERATURE);
    level.value[QUANTITY_LEVEL][0] = 1;
    temperature.value[QUANTITY_TEMPERATURE][0] = 2;
    struct merge_result result;
    readings_merge(&level, &temperature, arena, &merged, &result);
    cr_expect_eq(readings_columns(&merged), 1u << QUANTITY_LEVEL | 1u << QUANTITY_TEMPERATURE);
    cr_expect(result.filled == 1 && merged.n == 1);
    cr_expect(merged.value[QUANTITY_LEVEL][0] == 1 && merged.value[QUANTITY_TEMPERATURE][0] == 2);
}

static struct readings merge(const struct readings *older, const struct readings *newer)
{
    struct readings merged;
    struct merge_result result;
    readings_merge(older, newer, arena, &merged, &result);
    return merged;
}

static void expect_same_values(const struct readings *a, const struct readings *b)
{
    cr_assert_eq(a->n, b->n);
    cr_assert_eq(readings_columns(a), readings_columns(b));
    for (size_t i = 0; i < a->n; i++) {
        cr_assert_eq(a->time[i], b->time[i]);
        for (unsigned q = 0; q < QUANTITY_COUNT; q++) {
            double x = a->value[q] ? a->value[q][i] : NAN, y = b->value[q] ? b->value[q][i] : NAN;
            cr_assert(x == y || (isnan(x) && isnan(y)), "%g, %g", x, y);
        }
    }
}

/* Values and times; not which drop is named: of two drops that say the same, the one that said it first. */
Test(readings, three_drops_give_the_same_values_however_they_are_grouped)
{
    uint64_t state = 1;
    for (int round = 0; round < 2000; round++) {
        struct readings a = rows_random(arena, 1, 12, &state), b = rows_random(arena, 2, 12, &state),
                        c = rows_random(arena, 3, 12, &state);
        struct readings ab = merge(&a, &b), bc = merge(&b, &c), left = merge(&ab, &c), right = merge(&a, &bc);
        expect_same_values(&left, &right);
        arena_reset(arena);
    }
}

/* At each time: the newest number of those that any drop gave. */
Test(readings, a_merge_is_the_newest_number_at_each_time)
{
    uint64_t state = 2;
    for (int round = 0; round < 2000; round++) {
        struct readings older = rows_random(arena, 1, 15, &state), newer = rows_random(arena, 2, 15, &state);
        struct readings merged = merge(&older, &newer), again = merge(&older, &newer), twice = merge(&merged, &newer);
        cr_assert_str_eq(rows_print(arena, &merged), rows_print(arena, &again), "same inputs, same result");
        cr_assert_str_eq(rows_print(arena, &merged), rows_print(arena, &twice), "once more changes nothing");
        for (size_t i = 0; i < merged.n; i++) {
            size_t k = readings_at_or_after(&older, merged.time[i]), m = readings_at_or_after(&newer, merged.time[i]);
            bool in_older = k < older.n && older.time[k] == merged.time[i],
                 in_newer = m < newer.n && newer.time[m] == merged.time[i];
            cr_assert(in_older || in_newer);
            cr_assert(i == 0 || merged.time[i] > merged.time[i - 1]);
            for (unsigned q = 0; q < QUANTITY_COUNT; q++) {
                double x = in_older && older.value[q] ? older.value[q][k] : NAN;
                double y = in_newer && newer.value[q] ? newer.value[q][m] : NAN;
                double expected = isnan(y) ? x : y, got = merged.value[q] ? merged.value[q][i] : NAN;
                cr_assert(got == expected || (isnan(got) && isnan(expected)));
            }
        }
        arena_reset(arena);
    }
}

/* ---- sorting ---- */

static void expect_sorted(const char *rows, const char *expected, size_t folded)
{
    struct readings readings = rows_read(arena, 1, rows);
    cr_expect_eq(readings_sort(&readings, arena), folded);
    cr_expect_str_eq(rows_print(arena, &readings), expected);
}

Test(readings, rows_are_put_in_order_and_keep_their_lines)
{
    expect_sorted("30 3 3; 10 1 1; 20 2 2", "10 1 1@1.2; 20 2 2@1.3; 30 3 3@1.1", 0);
    expect_sorted("10 1 1; 20 2 2", "10 1 1@1.1; 20 2 2@1.2", 0);
    expect_sorted("10 ! 1; 5 2 2", "5 2 2@1.2; 10 ! 1@1.1", 0);
    expect_sorted("", "", 0);
}

Test(readings, of_rows_with_the_same_time_the_later_one_fills_in_or_wins)
{
    expect_sorted("10 1 -; 10 - 2", "10 1 2@1.2", 1);
    expect_sorted("10 1 1; 10 5 -; 10 - 7", "10 5 7@1.3", 2);
    expect_sorted("20 2 2; 10 1 1; 20 - 9; 10 1 1", "10 1 1@1.2; 20 2 9@1.3", 2);
    expect_sorted("10 1 1; 10 1 1", "10 1 1@1.1", 1);
}

Test(readings, sorting_random_rows_is_merging_them_one_by_one)
{
    uint64_t state = 3;
    for (int round = 0; round < 1000; round++) {
        struct readings mixed, merged = {0};
        readings_init(&mixed, arena, 20, 1u << QUANTITY_LEVEL);
        for (size_t i = 0; i < mixed.n; i++) {
            mixed.time[i] = random_between(&state, 0, 12);
            mixed.line[i] = (uint32_t)i + 1;
            if (random_index(&state, 4))
                mixed.value[QUANTITY_LEVEL][i] = (double)random_index(&state, 3);
        }
        for (size_t i = 0; i < mixed.n; i++) {
            struct readings one = {.n = 1, .time = mixed.time + i, .drop = mixed.drop + i, .line = mixed.line + i};
            one.value[QUANTITY_LEVEL] = mixed.value[QUANTITY_LEVEL] + i;
            merged = merge(&merged, &one);
        }
        size_t folded = readings_sort(&mixed, arena);
        cr_assert_eq(mixed.n + folded, 20);
        cr_assert_str_eq(rows_print(arena, &mixed), rows_print(arena, &merged));
        arena_reset(arena);
    }
}

/* ---- views ---- */

Test(readings, a_view_holds_from_and_leaves_out_to)
{
    struct readings rows = rows_read(arena, 1, "0 0 0; 10 1 1; 20 2 !; 30 3 3; 40 4 4");
    const struct {
        int64_t from, to;
        const char *expected;
    } cases[] = {
        {0, 11, "0 0 0@1.1; 10 1 1@1.2"},
        {0, 10, "0 0 0@1.1"},
        {1, 21, "10 1 1@1.2; 20 2 !@1.3"},
        {20, 20, ""},
        {30, 10, ""},
        {40, 41, "40 4 4@1.5"},
        {41, 99, ""},
        {-9, 0, ""},
        {11, 20, ""},
        {TIME_NONE, 1, "0 0 0@1.1"},
        {40, TIME_FOREVER, "40 4 4@1.5"},
    };
    for (size_t i = 0; i < COUNT_OF(cases); i++) {
        struct readings view = readings_between(&rows, cases[i].from, cases[i].to);
        cr_expect_str_eq(rows_print(arena, &view), cases[i].expected, "case %zu: %s", i, rows_print(arena, &view));
    }
    struct readings view = readings_between(&rows, 10, 30);
    cr_expect_eq(view.time, rows.time + 1, "it shares memory");
}

Test(readings, no_rows_have_no_views)
{
    struct readings none = {0};
    cr_expect_eq(readings_between(&none, TIME_NONE, TIME_FOREVER).n, 0);
    cr_expect_eq(readings_at_or_after(&none, 0), 0);
    cr_expect_eq(readings_columns(&none), 0);
}
