/* SPDX-License-Identifier: MIT */
#include "archive/write_xlsx.h"

#include "archive/sheet.h"
#include "archive/sheet_chart.h"
#include "archive/zip_writer.h"
#include "base/memory.h"
#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static struct arena *arena;
static struct text text;
static char *folder;

static void start(void)
{
    arena = arena_new();
    text_init(&text, 1 << 26);
    folder = fixture_make_folder();
}

static void finish(void)
{
    fixture_remove_folder(folder);
    text_done(&text);
    arena_free(arena);
}

TestSuite(write_xlsx, .init = start, .fini = finish);

static void expect_one_story(const struct dataset *dataset)
{
    fixture_write_month(dataset, folder);
    cr_expect_eq(fixture_check("read_back.py", fixture_month_path(arena, dataset, folder, "")), 0);
}

Test(write_xlsx, and_all_other_formats_say_what_the_csv_says)
{
    expect_one_story(fixture_month(arena));
}

Test(write_xlsx, and_all_other_formats_agree_on_a_whole_month_with_holes)
{
    struct dataset *dataset = fixture_long_month(arena, 8928);
    struct record *record = &dataset->record;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        for (size_t i = 0; record->value[q] && i < record->n; i++) {
            size_t kind = (i * 7919 + q * 131) % 97;
            record->flag[q][i] = kind < 5 ? FLAG_MISSING : kind < 15 ? FLAG_SUSPECT : kind < 20 ? FLAG_FAIL : FLAG_PASS;
            if (kind < 5)
                record->value[q][i] = NAN;
        }
    }
    for (size_t i = 3000; i < record->n; i++) /* a pause of almost two days */
        record->time[i] = record->raw_time[i] = record->time[i] + 500 * 5 * MINUTE_MS;
    record->n = dataset->raw.n = 8300;
    expect_one_story(dataset);
}

Test(write_xlsx, and_all_other_formats_agree_on_an_hourly_station_without_level)
{
    struct dataset *dataset = fixture_long_month(arena, 700);
    dataset->record.value[QUANTITY_LEVEL] = NULL;
    dataset->record.flag[QUANTITY_LEVEL] = NULL;
    dataset->record.tests[QUANTITY_LEVEL] = NULL;
    for (size_t i = 0; i < 700; i++)
        dataset->record.time[i] = dataset->record.raw_time[i] = dataset->span.from + (int64_t)i * HOUR_MS;
    expect_one_story(dataset);
}

Test(write_xlsx, writes_the_same_bytes_twice)
{
    struct text other;
    text_init(&other, 1 << 26);
    write_xlsx(fixture_long_month(arena, 2000), &text);
    write_xlsx(fixture_long_month(arena, 2000), &other);
    cr_assert_eq(text.length, other.length);
    cr_expect_eq(memcmp(text.bytes, other.bytes, text.length), 0);
    text_done(&other);
}

Test(write_xlsx, is_a_sound_zip_that_begins_with_its_kind)
{
    struct dataset *dataset = fixture_month(arena);
    fixture_write_month(dataset, folder);
    cr_expect_eq(fixture_run("/usr/bin/python3 -c 'import sys, zipfile, xml.dom.minidom as x\n"
                             "z = zipfile.ZipFile(sys.argv[1])\n"
                             "assert z.testzip() is None and z.namelist()[0] == \"[Content_Types].xml\"\n"
                             "assert all(i.date_time[0] == 1980 for i in z.infolist())\n"
                             "for n in z.namelist(): x.parseString(z.read(n))' '%s' >&2",
                             fixture_month_path(arena, dataset, folder, ".xlsx")),
                 0);
}

Test(write_xlsx, a_month_without_rows_is_a_workbook_still)
{
    struct dataset *dataset = fixture_month(arena);
    dataset->record.n = dataset->raw.n = 0;
    write_xlsx(dataset, &text);
    cr_expect(text_starts_with(text.bytes, "PK\3\4"));
}

Test(write_xlsx, text_is_never_a_formula_and_reads_back_as_it_was)
{
    sheet_put_text(&text, "=1+1 <b>");
    cr_expect_str_eq(text.bytes,
                     "<c t=\"inlineStr\" s=\"0\"><is><t xml:space=\"preserve\">=1+1 &lt;b&gt;</t></is></c>");
    text_clear(&text);
    sheet_put_text(&text, "a_x0041_b_x00");
    cr_expect_not_null(strstr(text.bytes, ">a_x005F_x0041_b_x00</t>"));
    text_clear(&text);
    sheet_put_text(&text, "_x0041_");
    cr_expect_not_null(strstr(text.bytes, ">_x005F_x0041_</t>"));
}

Test(write_xlsx, text_beyond_the_limit_of_a_cell_is_cut_at_a_whole_character)
{
    char *longer = arena_alloc(arena, 40000);
    memset(longer, 'x', 39000);
    memcpy(longer + 32766, "\xC2\xB5", 2);
    sheet_put_text(&text, longer);
    cr_expect_not_null(strstr(text.bytes, "xxx</t>"));
    cr_expect_lt(text.length, 32900);
}

Test(write_xlsx, times_are_days_since_1900_by_its_calendar)
{
    sheet_put_time(&text, fixture_time("2026-01-01T12:00:00Z"));
    cr_expect_str_eq(text.bytes, "<c s=\"2\"><v>46023.50000000000</v></c>");
    text_clear(&text);
    sheet_put_time(&text, fixture_time("2026-02-28T14:00:00Z")); /* 0.58333...: never below the second */
    cr_expect_not_null(strstr(text.bytes, "<v>46081.58333333334</v>"));
    text_clear(&text);
    sheet_put_time(&text, fixture_time("1969-12-31T23:59:59.999Z"));
    cr_expect_not_null(strstr(text.bytes, "<v>25568.99999998843</v>"));
    text_clear(&text);
    sheet_put_date(&text, fixture_time("2026-03-01T23:59:59Z"));
    cr_expect_str_eq(text.bytes, "<c s=\"3\"><v>46082</v></c>");
    text_clear(&text);
    sheet_put_time(&text, TIME_NONE);
    cr_expect_str_eq(text.bytes, "<c/>");
    text_clear(&text);
    sheet_put_number(&text, NAN, 2);
    cr_expect_str_eq(text.bytes, "<c/>");
}

Test(write_xlsx, columns_have_the_names_of_office_programs)
{
    char name[8];
    cr_expect_str_eq(sheet_column_name(0, name), "A");
    cr_expect_str_eq(sheet_column_name(25, name), "Z");
    cr_expect_str_eq(sheet_column_name(26, name), "AA");
    cr_expect_str_eq(sheet_column_name(701, name), "ZZ");
    cr_expect_str_eq(sheet_column_name(16383, name), "XFD");
}
