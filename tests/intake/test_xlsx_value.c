/* SPDX-License-Identifier: MIT */
/* Serial numbers and number formats: ISO/IEC 29500-1, 18.8.30 and 18.17.4. */
#include "intake/xlsx_value.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

TestSuite(xlsx_value);

static char written[XLSX_VALUE_SIZE];

static void expect(struct cell cell, enum cell_kind kind, const char *text)
{
    cr_expect_eq(cell.kind, kind, "%s is of kind %d", text, cell.kind);
    cr_expect(cell_equals(cell, cell_from(text)), "'%.*s' is not '%s'", (int)cell.length, cell.text, text);
}

static void expect_number(const char *raw, const char *text)
{
    expect(xlsx_number(raw, strlen(raw), XLSX_PLAIN, false, written), CELL_NUMBER, text);
}

static void expect_date(const char *raw, enum cell_kind kind, const char *text)
{
    expect(xlsx_number(raw, strlen(raw), XLSX_DATE, false, written), kind, text);
}

Test(xlsx_value, writes_numbers_as_the_shortest_text_of_the_same_value)
{
    expect_number("15.5313", "15.5313");
    expect_number("-0.25", "-0.25");
    expect_number("15.531300000000000", "15.5313");
    expect_number("0.30000000000000004", "0.30000000000000004");
    expect_number("0.10000000000000001", "0.1");
    expect_number("1E+05", "100000");
    expect_number("1.2345678901234501E+16", "12345678901234500");
    expect_number("20417", "20417");
    expect_number("1e-7", "1e-07");
    expect_number("-0", "-0");
}

Test(xlsx_value, leaves_what_is_no_number)
{
    expect(xlsx_number("abc", 3, XLSX_PLAIN, false, written), CELL_TEXT, "abc");
    expect(xlsx_number("1.", 2, XLSX_PLAIN, false, written), CELL_NUMBER, "1");
    expect(xlsx_number("nan", 3, XLSX_DATE, false, written), CELL_TEXT, "nan");
    expect(xlsx_number("1e999", 5, XLSX_DATE, false, written), CELL_TEXT, "1e999");
}

Test(xlsx_value, shows_percentages_as_the_sheet_does)
{
    expect(xlsx_number("0.965", 5, XLSX_PERCENT, false, written), CELL_PERCENT, "96.5");
}

Test(xlsx_value, reads_dates_of_the_1900_system)
{
    expect_date("46118", CELL_CIVIL, "2026-04-06");
    expect_date("46118.576388888891", CELL_CIVIL, "2026-04-06 13:50:00");
    expect_date("25569", CELL_CIVIL, "1970-01-01");
    expect_date("61", CELL_CIVIL, "1900-03-01");
    expect_date("59", CELL_CIVIL, "1900-02-28");
    expect_date("1", CELL_CIVIL, "1900-01-01");
    expect_date("2958465", CELL_CIVIL, "9999-12-31");
}

Test(xlsx_value, reads_dates_of_the_1904_system)
{
    expect(xlsx_number("44656", 5, XLSX_DATE, true, written), CELL_CIVIL, "2026-04-06");
    expect(xlsx_number("1", 1, XLSX_DATE, true, written), CELL_CIVIL, "1904-01-02");
}

Test(xlsx_value, leaves_days_that_never_were_as_numbers)
{
    expect_date("60", CELL_NUMBER, "60");
    expect_date("60.5", CELL_NUMBER, "60.5");
    expect_date("-1", CELL_NUMBER, "-1");
    expect_date("2958466", CELL_NUMBER, "2958466");
}

Test(xlsx_value, reads_fractions_of_a_day_as_times)
{
    expect_date("0", CELL_TIME, "00:00:00");
    expect_date("0.57638888888888884", CELL_TIME, "13:50:00");
    expect_date("0.5000028935185185", CELL_TIME, "12:00:00.250");
}

/* 46118 and 100,000 times 1/288 added up in doubles, as sheets do that are filled down. */
Test(xlsx_value, rounds_away_what_adding_steps_leaves)
{
    double serial = 46118;
    for (int i = 0; i < 100000; i++)
        serial += 1.0 / 288;
    char raw[40];
    int length = snprintf(raw, sizeof raw, "%.17g", serial);
    expect(xlsx_number(raw, (size_t)length, XLSX_DATE, false, written), CELL_CIVIL, "2027-03-19 05:20:00");
}

Test(xlsx_value, tells_date_formats_from_others)
{
    const char *dates[] = {"yyyy\\-mm\\-dd", "dd/mm/yyyy hh:mm", "[h]:mm",  "[$-409]m/d/yy h:mm AM/PM", "mmm",
                           "ss.0",           "[Red]d",           "D.M.YYYY"};
    for (size_t i = 0; i < COUNT_OF(dates); i++)
        cr_expect_eq(xlsx_style_of_code(dates[i]), XLSX_DATE, "%s", dates[i]);
    const char *numbers[] = {"General", "0.00E+00",   "[Red]0", "0.0\\ \\m", "0.00 \"mS\"",
                             "0_d",     "#,##0;yyyy", "@",      "*d0"};
    for (size_t i = 0; i < COUNT_OF(numbers); i++)
        cr_expect_eq(xlsx_style_of_code(numbers[i]), XLSX_PLAIN, "%s", numbers[i]);
    cr_expect_eq(xlsx_style_of_code("0.0%"), XLSX_PERCENT);
    cr_expect_eq(xlsx_style_of_code("\"%\"0"), XLSX_PLAIN);
}

Test(xlsx_value, knows_the_built_in_formats)
{
    cr_expect_eq(xlsx_style_built_in(0), XLSX_PLAIN);
    cr_expect_eq(xlsx_style_built_in(9), XLSX_PERCENT);
    cr_expect_eq(xlsx_style_built_in(14), XLSX_DATE);
    cr_expect_eq(xlsx_style_built_in(22), XLSX_DATE);
    cr_expect_eq(xlsx_style_built_in(23), XLSX_PLAIN);
    cr_expect_eq(xlsx_style_built_in(47), XLSX_DATE);
    cr_expect_eq(xlsx_style_built_in(48), XLSX_PLAIN);
    cr_expect_eq(xlsx_style_built_in(57), XLSX_DATE);
}

Test(xlsx_value, reads_iso_cells)
{
    expect(xlsx_iso("2026-04-06T13:50:00", 19, written), CELL_CIVIL, "2026-04-06T13:50:00");
    expect(xlsx_iso("2026-04-06", 10, written), CELL_CIVIL, "2026-04-06");
    expect(xlsx_iso("2026-04-06T13:50:00Z", 20, written), CELL_CIVIL, "2026-04-06T13:50:00Z");
    expect(xlsx_iso("T13:50:00", 9, written), CELL_TIME, "13:50:00");
    expect(xlsx_iso("13:50", 5, written), CELL_TIME, "13:50");
    expect(xlsx_iso("2026-02-30", 10, written), CELL_TEXT, "2026-02-30");
}

static void expect_unescaped(const char *raw, const char *text)
{
    char bytes[64];
    strcpy(bytes, raw);
    size_t length = xlsx_unescape(bytes, strlen(raw));
    cr_expect_eq(length, strlen(text), "%s", raw);
    cr_expect_arr_eq(bytes, text, length, "%s", raw);
}

Test(xlsx_value, undoes_escapes)
{
    expect_unescaped("a_x0041_b", "aAb");
    expect_unescaped("_x005F_x0041_", "_x0041_");
    expect_unescaped("_xD83D__xDE00_", "\xF0\x9F\x98\x80");
    expect_unescaped("_xD83D_x", "\xEF\xBF\xBDx");
    expect_unescaped("_x0000_", "\xEF\xBF\xBD");
    expect_unescaped("_x00_ _xzzzz_ _x004", "_x00_ _xzzzz_ _x004");
}

Test(xlsx_value, finds_columns)
{
    cr_expect_eq(xlsx_column("A1"), 0);
    cr_expect_eq(xlsx_column("Z10"), 25);
    cr_expect_eq(xlsx_column("AB12"), 27);
    cr_expect_eq(xlsx_column("XFD1"), 16383);
    cr_expect_eq(xlsx_column("XFE1"), UINT32_MAX);
    cr_expect_eq(xlsx_column("A"), UINT32_MAX);
    cr_expect_eq(xlsx_column("12"), UINT32_MAX);
    cr_expect_eq(xlsx_column("a1"), UINT32_MAX);
    cr_expect_eq(xlsx_column(""), UINT32_MAX);
}
