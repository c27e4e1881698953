/* SPDX-License-Identifier: MIT */
#include "archive/month_table.h"

#include "fixture.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static struct month_column columns[MONTH_COLUMNS_MAX];

static void start(void)
{
    arena = arena_new();
}

static void finish(void)
{
    arena_free(arena);
}

TestSuite(month_table, .init = start, .fini = finish);

Test(month_table, lists_columns_in_the_order_of_the_quantities)
{
    /* clang-format off */
    static const char *const expected[] = {
        "time_utc", "level_m", "level_flag", "level_tests", "level_uncertainty", "temperature_degc",
        "temperature_flag", "temperature_tests", "oxygen_mg_l", "oxygen_flag", "oxygen_tests",
        "specific_conductance_us_cm", "specific_conductance_flag", "specific_conductance_tests", "barometer",
        "raw_time_utc", "raw_temperature_degc", "raw_water_pressure_kpa", "drop", "line"};
    /* clang-format on */
    size_t n = month_table_columns(fixture_month(arena), columns);
    cr_assert_eq(n, COUNT_OF(expected));
    for (size_t i = 0; i < n; i++)
        cr_expect_str_eq(columns[i].name, expected[i]);
}

Test(month_table, leaves_raw_time_out_where_no_clock_was_corrected)
{
    struct dataset *dataset = fixture_month(arena);
    memcpy(dataset->record.raw_time, dataset->record.time, dataset->record.n * sizeof *dataset->record.time);
    size_t n = month_table_columns(dataset, columns);
    for (size_t i = 0; i < n; i++)
        cr_expect_neq(columns[i].cell, CELL_RAW_TIME);
}

Test(month_table, has_room_for_every_quantity_with_everything)
{
    struct dataset *dataset = fixture_month(arena);
    uint32_t all = (1u << QUANTITY_COUNT) - 1;
    record_init(&dataset->record, arena, 1, all);
    readings_init(&dataset->raw, arena, 1, all);
    dataset->record.raw_time[0] = 1;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        record_add_uncertainty(&dataset->record, arena, q);
    cr_assert_eq(month_table_columns(dataset, columns), MONTH_COLUMNS_MAX);
    for (size_t i = 0; i < MONTH_COLUMNS_MAX; i++)
        for (size_t j = 0; j < i; j++)
            cr_expect_str_neq(columns[i].name, columns[j].name);
}
