/* SPDX-License-Identifier: MIT */
#include "settings.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>
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

TestSuite(read_readings, .init = start, .fini = finish);

static bool take(const char *text)
{
    error = (struct error){0};
    return settings_read(arena, config, "heron.csv", text, &batch, &error);
}

#define HEADER "Time,Temp (C),DO (mg/L)\n"

static void expect_complaint(const char *row, const char *expected)
{
    const char *good = "2026-03-01 00:00,5,9\n2026-03-01 00:05,5,9\n";
    cr_assert(take(arena_printf(arena, HEADER "%s%s", good, row)), "%s", error.text);
    cr_assert_eq(batch.complaint_count, 1, "%s: %zu complaints", row, batch.complaint_count);
    cr_expect_str_eq(batch.complaints[0].text, expected);
    cr_expect_eq(batch.complaints[0].line, 4);
}

Test(read_readings, converts_to_the_units_inside)
{
    cr_assert(take("Time,Temp (F),DO (mg/L),Cond (uS/cm)\n2026-03-01 00:00,50,9.1,1500\n"), "%s", error.text);
    cr_assert_eq(batch.readings.n, 1);
    cr_expect_float_eq(batch.readings.value[QUANTITY_TEMPERATURE][0], 10, 1e-12);
    cr_expect_eq(batch.readings.value[QUANTITY_OXYGEN][0], 9.1);
    cr_expect_float_eq(batch.readings.value[QUANTITY_CONDUCTIVITY][0], 1.5, 1e-12);
    cr_expect_eq(batch.readings.time[0], settings_time("2026-03-01T08:00:00Z"), "the station's standard time");
    cr_expect_null(batch.readings.value[QUANTITY_LEVEL]);
    cr_expect_null(batch.readings.unread);
}

Test(read_readings, takes_words_for_no_value_without_complaint)
{
    const char *words[] = {"NA", "-9999"};
    settings_layout(config, "sonde")->missing = (struct word_list){words, 2};
    cr_assert(take(HEADER "2026-03-01 00:00,na,9\n2026-03-01 00:05,-9999.0,\n2026-03-01 00:10,5,9\n"), "%s",
              error.text);
    cr_expect_eq(batch.complaint_total, 0);
    cr_expect_eq(batch.readings.n, 3);
    cr_expect(isnan(batch.readings.value[QUANTITY_TEMPERATURE][0]));
    cr_expect(isnan(batch.readings.value[QUANTITY_TEMPERATURE][1]));
    cr_expect(isnan(batch.readings.value[QUANTITY_OXYGEN][1]));
    cr_expect_null(batch.readings.unread);
}

Test(read_readings, marks_cells_that_are_no_numbers)
{
    static const char *const impossible[] = {"nan",   "inf",  "-inf", "1e400", "0x1F",
                                             "#REF!", "five", "1e",   "--5",   "=1+1"};
    for (size_t i = 0; i < COUNT_OF(impossible); i++) {
        expect_complaint(arena_printf(arena, "2026-03-01 00:10,%s,9\n", impossible[i]),
                         arena_printf(arena,
                                      "line 4: column 'Temp (C)': '%s' is no number: correct it, or add it to "
                                      "'missing' in layout 'sonde'",
                                      impossible[i]));
        cr_assert_eq(batch.readings.n, 3);
        cr_expect(isnan(batch.readings.value[QUANTITY_TEMPERATURE][2]));
        cr_expect_eq(batch.readings.unread[2], 1u << QUANTITY_TEMPERATURE);
        cr_expect_eq(batch.readings.unread[0], 0);
        cr_expect_eq(batch.complaints[0].column, 2);
        cr_expect_eq(batch.refused_rows, 0);
    }
}

Test(read_readings, explains_decimal_marks_and_thousands)
{
    expect_complaint(
        "2026-03-01 00:10,\"1.234,5\",9\n",
        "line 4: column 'Temp (C)': '1.234,5' is no number with the decimal mark '.': marks between thousands are "
        "not accepted; if ',' is the decimal mark, set 'decimal: \",\"' in layout 'sonde'");
    expect_complaint(
        "2026-03-01 00:10,1,5,9\n",
        "line 4: 4 cells where the header has 3: a decimal comma in a comma-separated file needs quotes or "
        "another delimiter");
    cr_expect_eq(batch.refused_rows, 1);
}

Test(read_readings, reads_decimal_commas_where_told)
{
    cr_assert(take("Stamp;Warmth (C);Pressure (kPa)\n1.3.2026 0:00;5,25;101,5\n1.3.2026 0:05;-0,5;101\n1.3.2026 "
                   "0:10;1.5;1e2\n"),
              "%s", error.text);
    cr_expect_eq(batch.readings.value[QUANTITY_TEMPERATURE][0], 5.25);
    cr_expect_eq(batch.readings.value[QUANTITY_WATER_PRESSURE][0], 101500);
    cr_expect_eq(batch.readings.value[QUANTITY_WATER_PRESSURE][2], 100000);
    cr_assert_eq(batch.complaint_count, 1);
    cr_expect_str_eq(
        batch.complaints[0].text,
        "line 4: column 'Warmth (C)': '1.5' is no number with the decimal mark ',': marks between thousands are "
        "not accepted; if '.' is the decimal mark, set 'decimal: \".\"' in layout 'decimal-comma'");
}

Test(read_readings, refuses_rows_without_a_possible_time)
{
    expect_complaint("2026-02-30 00:10,5,9\n",
                     "line 4: time '2026-02-30 00:10' is not written as 'YYYY-MM-DD hh:mm': correct 'format' in layout "
                     "'sonde', or the row");
    cr_expect_eq(batch.refused_rows, 1);
    cr_expect_eq(batch.readings.n, 2);
    expect_complaint(",5,9\n",
                     "line 4: time '' is not written as 'YYYY-MM-DD hh:mm': correct 'format' in layout 'sonde', or "
                     "the row");
    expect_complaint("1904-01-01 00:00,5,9\n",
                     "line 4: time '1904-01-01 00:00' lies before 1970: the logger's clock was not set");
    expect_complaint(
        "2026-06-03 00:00,5,9\n",
        "line 4: time '2026-06-03 00:00' lies in the future: correct 'format' or 'zone' in layout 'sonde', or the "
        "logger's clock was wrong");
    expect_complaint(
        "9999-12-31 00:00,5,9\n",
        "line 4: time '9999-12-31 00:00' lies in the future: correct 'format' or 'zone' in layout 'sonde', or the "
        "logger's clock was wrong");
}

Test(read_readings, refuses_malformed_rows)
{
    expect_complaint("2026-03-01 00:10,\"5\"5,9\n",
                     "line 4: text stands behind a closing quote: write quotes inside a quoted cell twice");
}

Test(read_readings, passes_over_blank_rows_repeated_headers_and_events)
{
    cr_assert(take(HEADER "\n,,\n2026-03-01 00:00,5,9\n" HEADER "2026-03-01 00:05,,\n2026-03-01 00:10,6,9,\n"), "%s",
              error.text);
    cr_expect_eq(batch.readings.n, 2);
    cr_expect_eq(batch.rows, 3);
    cr_expect_eq(batch.refused_rows, 0);
    cr_expect_eq(batch.complaint_total, 0);
    cr_expect_eq(batch.readings.line[1], 7);
}

Test(read_readings, sorts_rows_and_folds_repeated_instants)
{
    cr_assert(take(HEADER "2026-03-01 00:10,6,9\n2026-03-01 00:00,5,\n2026-03-01 00:00,,8\n2026-03-01 00:10,7,9\n"),
              "%s", error.text);
    cr_assert_eq(batch.readings.n, 2);
    cr_expect_eq(batch.folded_rows, 2);
    cr_expect_eq(batch.readings.value[QUANTITY_TEMPERATURE][0], 5);
    cr_expect_eq(batch.readings.value[QUANTITY_OXYGEN][0], 8);
    cr_expect_eq(batch.readings.value[QUANTITY_TEMPERATURE][1], 7, "the later line wins");
    cr_expect_eq(batch.readings.line[1], 5);
}

Test(read_readings, reads_the_repeated_hour_of_a_zone_in_order)
{
    if (!settings_has_zones())
        cr_skip_test("skipped, no time zones");
    cr_assert(take("Local time,Salinity\n2025-11-02 01:30:00,1\n2025-11-02 01:45:00,2\n2025-11-02 01:00:00,3\n"
                   "2025-11-02 01:15:00,4\n2025-11-02 02:00:00,5\n"),
              "%s", error.text);
    cr_assert_eq(batch.readings.n, 5);
    cr_expect_eq(batch.readings.time[0], settings_time("2025-11-02T08:30:00Z"));
    cr_expect_eq(batch.readings.time[2], settings_time("2025-11-02T09:00:00Z"));
    cr_expect_eq(batch.readings.time[4], settings_time("2025-11-02T10:00:00Z"));
    for (size_t i = 0; i < 5; i++)
        cr_expect_eq(batch.readings.value[QUANTITY_SALINITY][i], (double)(i + 1));
}

Test(read_readings, refuses_or_shifts_the_missing_hour)
{
    if (!settings_has_zones())
        cr_skip_test("skipped, no time zones");
    const char *text = "Local time,Salinity\n2026-03-08 01:30:00,1\n2026-03-08 02:30:00,2\n2026-03-08 03:45:00,3\n";
    cr_assert(take(text), "%s", error.text);
    cr_expect_eq(batch.readings.n, 2);
    cr_assert_eq(batch.complaint_count, 1);
    cr_expect_str_eq(
        batch.complaints[0].text,
        "line 3: time '2026-03-08 02:30:00' does not exist in America/Los_Angeles, where clocks went forward: set "
        "'zone' to the offset that the clock keeps, or 'missing_hour: shift', in layout 'local'");
    settings_layout(config, "local")->missing_hour = MISSING_SHIFTED;
    cr_assert(take(text), "%s", error.text);
    cr_assert_eq(batch.readings.n, 3);
    cr_expect_eq(batch.readings.time[1], settings_time("2026-03-08T10:30:00Z"));
}

Test(read_readings, gives_the_same_in_every_encoding_and_line_end)
{
    static const char *const ends[] = {"\n", "\r\n", "\r"};
    for (size_t e = 0; e < COUNT_OF(ends); e++) {
        for (int encoding = 0; encoding < 6; encoding++) {
            const char *degree = encoding == 1 ? "\xB0" : "\xC2\xB0";
            const char *text = arena_printf(arena, "%sTime,Temp (%sC),DO (mg/L)%s2026-03-01 00:00,5.5,9%s",
                                            encoding == 2 ? "\xEF\xBB\xBF" : "", degree, ends[e], ends[e]);
            size_t length = strlen(text);
            if (encoding >= 3) { /* UTF-16: big, little, little without mark */
                char *wide = arena_alloc(arena, 2 * length + 2);
                size_t at = 0;
                if (encoding < 5) {
                    memcpy(wide, encoding == 3 ? "\xFE\xFF" : "\xFF\xFE", 2);
                    at = 2;
                }
                for (const char *c = text; *c; c++) {
                    if (*c == '\xC2')
                        continue;
                    wide[at + (encoding == 3)] = *c;
                    at += 2;
                }
                text = wide;
                length = at;
            }
            error = (struct error){0};
            cr_assert(intake_read(arena, config, "heron.csv", text, length, settings_now(), false, &batch, &error),
                      "encoding %d, end %zu: %s", encoding, e, error.text);
            cr_assert_eq(batch.readings.n, 1);
            cr_expect_eq(batch.readings.value[QUANTITY_TEMPERATURE][0], 5.5);
            cr_expect_eq(batch.readings.line[0], 2);
        }
    }
}

Test(read_readings, gives_the_same_with_every_delimiter)
{
    static const char delimiters[] = {',', ';', '\t', '|'};
    for (size_t d = 0; d < COUNT_OF(delimiters); d++) {
        for (int told = 0; told < 2; told++) {
            char c = delimiters[d];
            settings_layout(config, "sonde")->delimiter = told ? c : 0;
            cr_assert(take(arena_printf(arena, "Time%cTemp (C)%cDO (mg/L)\n2026-03-01 00:00%c5.5%c9\n", c, c, c, c)),
                      "%s", error.text);
            cr_expect_eq(batch.readings.value[QUANTITY_TEMPERATURE][0], 5.5);
        }
    }
}
