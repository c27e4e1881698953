/* SPDX-License-Identifier: MIT */
#include "settings.h"

#include "base/file.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct arena *arena;
static struct config *config;
static struct batch batch;
static struct error error;

static void start(void)
{
    arena = arena_new();
    config = settings_make(arena);
    error = (struct error){0};
}

static void finish(void)
{
    arena_free(arena);
}

TestSuite(intake, .init = start, .fini = finish);

static bool take(const char *path, const char *text)
{
    error = (struct error){0};
    return settings_read(arena, config, path, text, &batch, &error);
}

static void expect_error(const char *path, const char *text, const char *expected)
{
    cr_assert_not(take(path, text));
    cr_expect_eq(error.kind, ERROR_INPUT);
    cr_expect_str_eq(error.text, expected);
}

/* With RILLWARD_WRITE_EXPECTED set, the texts are written anew, to be looked at before they are kept. */
static void check_case(const char *name)
{
    char path[4096];
    CLEANUP(cleanup_free) char *bytes = NULL;
    CLEANUP(cleanup_free) char *expected = NULL;
    size_t length, expected_length;
    snprintf(path, sizeof path, "%s/tests/intake/cases/%s", settings_root(), name);
    cr_assert(file_read(path, 1 << 20, &bytes, &length, &error), "%s", error.text);
    struct text text;
    text_init(&text, 1 << 20);
    error = (struct error){0};
    intake_read(arena, config, name, bytes, length, settings_now(), false, &batch, &error);
    settings_print(config, &batch, &error, &text);
    snprintf(path + strlen(path) - 4, 16, ".expected");
    if (getenv("RILLWARD_WRITE_EXPECTED"))
        cr_assert(file_write_whole(path, text.bytes, text.length, &error), "%s", error.text);
    cr_assert(file_read(path, 1 << 20, &expected, &expected_length, &error), "%s", error.text);
    cr_expect_str_eq(text.bytes, expected, "%s: got\n%s\nexpected\n%s", name, text.bytes, expected);
    text_done(&text);
}

Test(intake, reads_every_case_as_expected)
{
    if (!settings_has_zones())
        cr_skip_test("skipped, no time zones");
    char path[4096];
    snprintf(path, sizeof path, "%s/tests/intake/cases", settings_root());
    DIR *folder = opendir(path);
    cr_assert(folder, "%s: set RILLWARD_SOURCE_ROOT", path);
    size_t cases = 0;
    for (struct dirent *entry; (entry = readdir(folder));) {
        if (!text_ends_with(entry->d_name, ".csv"))
            continue;
        check_case(entry->d_name);
        cases++;
    }
    closedir(folder);
    cr_expect_gt(cases, 20);
}

Test(intake, waits_for_the_last_line_end)
{
    cr_assert(take("heron.csv", "Time,Temp (C),DO (mg/L)\n2026-03-01 00:00,5.1,9.0\n2026-03-01 00:05,5.2,9"));
    cr_expect(batch.ends_open);
    cr_expect_eq(batch.readings.n, 0);
    cr_expect_eq(batch.rows, 0);
    cr_assert(take("heron.csv", "Time,Temp (C),DO (mg/L)\n2026-03-01 00:00,5.1,9.0\n\"2026-03-01 00:05\",5.2,\"9\n"));
    cr_expect(batch.ends_open, "a quoted cell is not closed");
}

Test(intake, waits_where_not_even_the_header_is_whole)
{
    cr_assert(take("heron.csv", "Time,Temp (C),DO (m"));
    cr_expect(batch.ends_open);
    cr_expect_null(batch.layout);
}

Test(intake, takes_an_open_end_where_that_is_fine)
{
    const char *text = "Time,Temp (C),DO (mg/L)\n2026-03-01 00:00,5.1,9.0\n2026-03-01 00:05,5.2,9.1";
    cr_assert(intake_read(arena, config, "heron.csv", text, strlen(text), settings_now(), true, &batch, &error));
    cr_expect_eq(batch.readings.n, 2);
    cr_expect_not(batch.ends_open);
    settings_layout(config, "sonde")->may_end_open = true;
    cr_assert(take("heron.csv", text));
    cr_expect_eq(batch.readings.n, 2);
}

Test(intake, refuses_a_last_row_that_lacks_cells)
{
    const char *text = "Time,Temp (C),DO (mg/L)\n2026-03-01 00:00,5.1,9.0\n2026-03-01 00:05,5.";
    cr_assert(intake_read(arena, config, "heron.csv", text, strlen(text), settings_now(), true, &batch, &error));
    cr_expect_eq(batch.readings.n, 1);
    cr_assert_eq(batch.complaint_count, 1);
    cr_expect_str_eq(batch.complaints[0].text, "line 3: the last row is cut off: it has 2 of 3 cells");
}

Test(intake, refuses_a_last_row_that_is_cut_inside_quotes)
{
    const char *text = "Time,Temp (C),DO (mg/L)\n2026-03-01 00:00,5.1,9.0\n2026-03-01 00:05,5.2,\"9";
    cr_assert(intake_read(arena, config, "heron.csv", text, strlen(text), settings_now(), true, &batch, &error));
    cr_expect_eq(batch.readings.n, 1);
    cr_assert_eq(batch.complaint_count, 1);
    cr_expect_str_eq(batch.complaints[0].text, "line 3: the last row is cut off inside a quoted cell");
}

/* Each value of a cut file is the value of the whole file at that time. */
static void check_cut(const struct batch *whole, size_t length)
{
    for (size_t i = 0; i < batch.readings.n; i++) {
        size_t k = 0;
        while (k < whole->readings.n && whole->readings.time[k] != batch.readings.time[i])
            k++;
        cr_assert_lt(k, whole->readings.n, "cut at %zu: a time that is not in the file", length);
        for (unsigned q = 0; q < QUANTITY_COUNT; q++) {
            if (!batch.readings.value[q] || isnan(batch.readings.value[q][i]))
                continue;
            cr_assert_eq(batch.readings.value[q][i], whole->readings.value[q][k], "cut at %zu: a wrong value", length);
        }
    }
}

Test(intake, never_reads_a_wrong_value_from_a_cut_file)
{
    const char *text = "Notes \xC2\xB0,\"two\nlines, here\"\r\nTime,Temp [\xC2\xB0"
                       "C],DO (mg/L),Station\r\n"
                       "2026-03-01 00:00,5.125,\"9.04\",HC-1\r\n2026-03-01 00:05,-1.5,8.75,\"Heron Cr\"\r\n"
                       "2026-03-01 00:10,6,7e0,HC-1\r\n\"2026-03-01 00:15\",12.5,NA,HC-1\r\n";
    cr_assert(take("heron.csv", text), "%s", error.text);
    struct batch whole = batch;
    cr_assert_eq(whole.readings.n, 4);
    size_t waits = 0, reads = 0;
    for (size_t length = 0; length < strlen(text); length++) {
        error = (struct error){0};
        if (!intake_read(arena, config, "heron.csv", text, length, settings_now(), false, &batch, &error)) {
            cr_expect_eq(error.kind, ERROR_INPUT);
            continue;
        }
        waits += batch.ends_open;
        reads += !batch.ends_open;
        cr_expect(!batch.ends_open || batch.readings.n == 0);
        check_cut(&whole, length);
    }
    cr_expect_gt(waits, 150, "%zu", waits);
    cr_expect_eq(reads, 7, "at each CR and LF behind a data row but the last LF, got %zu", reads);
}

Test(intake, says_what_a_file_is_that_is_no_table)
{
    expect_error("a.ods", "PK\3\4..........................mimetypeapplication/vnd.oasis.opendocument.spreadsheet",
                 "it is a spreadsheet (ODS): save it as XLSX or CSV");
    expect_error(
        "a.xlsx", "PK\3\4....heron.csv",
        "it is a workbook or archive that is damaged or was not copied completely (Not a zip archive): copy it "
        "again");
    expect_error("a.xls", "\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1",
                 "it is an old spreadsheet or document (XLS, DOC): save it as XLSX or CSV");
    const char secret[] = "\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1..E\0n\0c\0r\0y\0p\0t\0e\0d\0P\0a\0c\0k\0a\0g\0e\0";
    cr_expect_not(intake_read(arena, config, "a.xlsx", secret, sizeof secret, 0, false, &batch, &error));
    cr_expect_str_eq(error.text,
                     "it is a workbook with a password (encrypted): take the password off and save it again");
    expect_error("a.pdf", "%PDF-1.7", "it is a PDF document: export the values as CSV instead");
    expect_error("a.jpg", "\xFF\xD8\xFF\xE0",
                 "it is a picture (JPEG): write the notes into a table and save it as XLSX or CSV");
    expect_error("a.png", "\x89PNG\r\n",
                 "it is a picture (PNG): write the notes into a table and save it as XLSX or CSV");
    expect_error("a.csv", "\n<!DOCTYPE html><title>Sign in</title>",
                 "it is a web page (HTML), perhaps a sign-in page saved in place of the file: download it again");
    expect_error("a.csv", "", "the file is empty");
}

Test(intake, names_the_offset_of_zero_bytes)
{
    const char inside[] = "Time,Temp (C)\n2026\0-03";
    cr_assert_not(intake_read(arena, config, "a.csv", inside, sizeof inside - 1, 0, false, &batch, &error));
    cr_expect_str_eq(error.text, "zero byte at byte 18 (line 2): the file is damaged or not text; copy it again");
    const char tail[] = "Time,Temp (C)\n\0\0\0";
    cr_assert_not(intake_read(arena, config, "a.csv", tail, sizeof tail - 1, 0, false, &batch, &error));
    cr_expect_str_eq(error.text,
                     "the file ends in 3 zero bytes from byte 14 on: it was not copied completely; copy it again");
}

Test(intake, sets_aside_a_file_without_data)
{
    expect_error("heron.csv", "Time,Temp (C),DO (mg/L)\n", "no data row stands below the header in line 1");
    expect_error("heron.csv", "Time,Temp (C),DO (mg/L)\n2026-03-01 00:00,,\n",
                 "no row below the header in line 1 holds a value");
}

Test(intake, sets_aside_a_file_of_which_most_rows_are_of_no_use)
{
    expect_error(
        "heron.csv", "Time,Temp (C),DO (mg/L)\n01.03.2026 00:00,5,9\n01.03.2026 00:05,5,9\n2026-03-01 00:10,5,9\n",
        "2 of 3 data rows cannot be used; line 2: time '01.03.2026 00:00' is not written as 'YYYY-MM-DD hh:mm': "
        "correct 'format' in layout 'sonde', or the row");
    expect_error(
        "heron.csv", "Time;Temp (C);DO (mg/L)\n2026-03-01 00:00;5,1;9,0\n",
        "1 of 1 data rows cannot be used; line 2: column 'DO (mg/L)': '9,0' is no number with the decimal mark "
        "'.': marks between thousands are not accepted; if ',' is the decimal mark, set 'decimal: \",\"' in layout "
        "'sonde'");
}

Test(intake, keeps_a_limited_number_of_complaints)
{
    struct text text;
    text_init(&text, 1 << 20);
    text_puts(&text, "Time,Temp (C),DO (mg/L)\n");
    for (int i = 0; i < 400; i++)
        text_printf(&text, "2026-03-%02d %02d:00,5,#REF!\n", 1 + i / 24, i % 24);
    cr_assert(take("heron.csv", text.bytes), "%s", error.text);
    cr_expect_eq(batch.complaint_count, INTAKE_MOST_COMPLAINTS);
    cr_expect_eq(batch.complaint_total, 400);
    cr_expect_eq(batch.readings.n, 400);
    text_done(&text);
}

Test(intake, checks_a_layout_before_any_file_comes)
{
    struct layout *layout = settings_layout(config, "sonde");
    cr_expect(intake_check_layout(layout, &error));
    layout->time_format = "YYYY-MM-DD HH:mm";
    cr_expect_not(intake_check_layout(layout, &error));
    cr_expect_eq(error.kind, ERROR_CONFIG);
}

static const char *open_data(void)
{
    static char path[4096];
    const char *folder = getenv("RILLWARD_OPEN_DATA");
    const char *name = "usgs-springcreek-waterml/usgs_08068500_iv_flat.csv";
    if (folder && *folder)
        snprintf(path, sizeof path, "%s/%s", folder, name);
    else
        snprintf(path, sizeof path, "%s/../shared/data/%s", settings_root(), name);
    return file_exists(path) ? path : NULL;
}

/* U.S. Geological Survey 08068500, 2011-11-05 to 2011-11-18: local times with their offset, daylight saving ends
 * inside. */
Test(intake, reads_open_data_over_the_end_of_daylight_saving_at_a_constant_step)
{
    if (!open_data())
        cr_skip_test("skipped, no open data");
    struct column columns[] = {
        {.header = "00010", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE, .unit = "degC"},
        {.header = "00095", .role = COLUMN_QUANTITY, .quantity = QUANTITY_SPECIFIC_CONDUCTANCE, .unit = "uS/cm"},
        {.header = "00300", .role = COLUMN_QUANTITY, .quantity = QUANTITY_OXYGEN, .unit = "mg/L"},
    };
    struct layout layout = {.id = "flat",
                            .decimal = '.',
                            .comment = "",
                            .time_columns = {"dateTime"},
                            .time_format = "iso",
                            .zone_name = "station",
                            .columns = columns,
                            .column_count = COUNT_OF(columns)};
    config->layouts = &layout;
    config->layout_count = 1;
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length;
    cr_assert(file_read(open_data(), 1 << 20, &bytes, &length, &error), "%s", error.text);
    cr_assert(intake_read(arena, config, "heron.csv", bytes, length, settings_now(), false, &batch, &error), "%s",
              error.text);
    cr_assert_eq(batch.readings.n, 1253);
    cr_expect_eq(batch.refused_rows, 0);
    cr_expect_eq(batch.complaint_total, 0);
    cr_expect_eq(batch.readings.time[0], settings_time("2011-11-05T05:00:00Z"));
    size_t missing = 0;
    for (size_t i = 0; i < batch.readings.n; i++) {
        missing += isnan(batch.readings.value[QUANTITY_SPECIFIC_CONDUCTANCE][i]) ? 1 : 0;
        if (i > 0)
            cr_assert_eq(batch.readings.time[i] - batch.readings.time[i - 1], 15 * MINUTE_MS, "row %zu", i);
    }
    cr_expect_eq(missing, 5);
    cr_expect_float_eq(batch.readings.value[QUANTITY_SPECIFIC_CONDUCTANCE][0], 0.757, 1e-12);
}
