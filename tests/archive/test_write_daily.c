/* SPDX-License-Identifier: MIT */
#include "archive/write_daily.h"

#include "archive/daily_table.h"
#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static struct text text;

static void start(void)
{
    arena = arena_new();
    text_init(&text, 1 << 24);
}

static void finish(void)
{
    text_done(&text);
    arena_free(arena);
}

TestSuite(write_daily, .init = start, .fini = finish);

Test(write_daily, equals_the_golden_month_byte_by_byte)
{
    write_daily_csv(fixture_month(arena), &text);
    const char *golden = fixture_read(arena, fixture_here(), "golden/heron-creek_2026-03_daily.csv");
    cr_assert_not_null(golden);
    cr_expect_str_eq(text.bytes, golden);
    text_clear(&text);
    write_daily_csvw(fixture_month(arena), &text);
    golden = fixture_read(arena, fixture_here(), "golden/heron-creek_2026-03_daily.csv-metadata.json");
    cr_assert_not_null(golden);
    cr_expect_str_eq(text.bytes, golden);
}

Test(write_daily, holds_what_its_metadata_promises)
{
    char *folder = fixture_make_folder();
    struct dataset *dataset = fixture_month(arena);
    fixture_write_month(dataset, folder);
    cr_expect_eq(fixture_check("check_csvw.py", fixture_month_path(arena, dataset, folder, "_daily.csv")), 0);
    fixture_remove_folder(folder);
}

Test(write_daily, names_columns_by_their_limits)
{
    struct daily_column columns[DAILY_COLUMNS_MAX];
    struct daily daily = {.columns = 1u << QUANTITY_OXYGEN, .limits = {0.25, 2, 10}, .limit_count = 3};
    size_t n = daily_table_columns(&daily, columns);
    cr_expect_str_eq(columns[0].name, "date");
    cr_expect_str_eq(columns[n - 3].name, "hours_oxygen_below_0_25_mg_l");
    cr_expect_str_eq(columns[n - 2].name, "hours_oxygen_below_2_mg_l");
    cr_expect_str_eq(columns[n - 1].name, "hours_oxygen_below_10_mg_l");
}

Test(write_daily, dates_are_those_of_the_station)
{
    struct dataset *dataset = fixture_month(arena);
    write_daily_csv(dataset, &text);
    const char *row = strstr(text.bytes, "\r\n") + 2;
    cr_expect(text_starts_with(row, "2026-03-01,2026-02-28T14:00:00Z,6,288,"));
    cr_expect_not_null(strstr(text.bytes, "\r\n2026-03-31,"));
    cr_expect_null(strstr(text.bytes, "\r\n2026-04-01,"));
}
