/* SPDX-License-Identifier: MIT */
#include "settings.h"

#include "base/timestamp.h"
#include "intake/clock.h"

#include <criterion/criterion.h>
#include <string.h>

TestSuite(clock);

static bool take(const char *format_text, const char *text, struct clock_reading *ret)
{
    struct clock_format format;
    struct error error = {0};
    cr_assert(clock_format_parse(format_text, &format, &error), "%s", error.text);
    return clock_read(&format, text, strlen(text), ret);
}

static void expect_local(const char *format, const char *text, const char *expected)
{
    struct clock_reading reading;
    char printed[TIMESTAMP_SIZE];
    cr_assert(take(format, text, &reading), "'%s' by '%s'", text, format);
    cr_expect_str_eq(timestamp_print(reading.local, printed), expected, "'%s' by '%s': %s", text, format, printed);
}

static void expect_refused(const char *format, const char *text)
{
    struct clock_reading reading;
    cr_expect_not(take(format, text, &reading), "'%s' by '%s'", text, format);
}

Test(clock, reads_each_part_of_a_format)
{
    expect_local("YYYY-MM-DD hh:mm:ss", "2026-03-01 04:05:06", "2026-03-01T04:05:06Z");
    expect_local("DD/MM/YYYY h:mm AM", "13/02/2026 1:05 pm", "2026-02-13T13:05:00Z");
    expect_local("D.M.YYYY hh:mm", "1.3.2026 04:05", "2026-03-01T04:05:00Z");
    expect_local("D-MON-YY hh:mm", "1-Mar-26 04:05", "2026-03-01T04:05:00Z");
    expect_local("MON D, YYYY hh:mm:ss.s", "September 3, 2025 04:05:06.25", "2025-09-03T04:05:06.250Z");
    expect_local("D MON YYYY", "3 Sept 2025", "2025-09-03T00:00:00Z");
    expect_local("YYYYMMDDhhmmss", "20260301040506", "2026-03-01T04:05:06Z");
    expect_local("YYYY-MM-DDThh:mm:ssZ", "2026-03-01T04:05:06+10:00", "2026-03-01T04:05:06Z");
    expect_local("h:mm:s D/M/YYYY", "4:05:6 1/3/2026", "2026-03-01T04:05:06Z");
    expect_local("MM/DD/YYYY hh:mm:ss AM", "03/01/2026   12:00:00 a.m.", "2026-03-01T00:00:00Z");
    expect_local("MM/DD/YYYY hh:mm:ss AM", "03/01/2026 12:00:00 PM", "2026-03-01T12:00:00Z");
}

Test(clock, rounds_a_fraction_to_milliseconds_and_takes_none)
{
    expect_local("YYYY-MM-DD hh:mm:ss.s", "2026-03-01 00:00:59.9996", "2026-03-01T00:01:00Z");
    expect_local("YYYY-MM-DD hh:mm:ss.s", "2026-03-01 00:00:59,001", "2026-03-01T00:00:59.001Z");
    expect_local("YYYY-MM-DD hh:mm:ss.s", "2026-03-01 00:00:59", "2026-03-01T00:00:59Z");
}

Test(clock, reads_iso_times_with_and_without_zone)
{
    struct clock_reading reading;
    expect_local("iso", "2026-03-01T04:05", "2026-03-01T04:05:00Z");
    expect_local("iso", "2026-03-01 04:05:06.5", "2026-03-01T04:05:06.500Z");
    cr_assert(take("iso", "2026-03-01T04:05:06-05:00", &reading));
    cr_expect(reading.has_offset);
    cr_expect_eq(reading.offset, -5 * HOUR_MS);
    cr_assert(take("iso", "2026-03-01T04:05:06Z", &reading));
    cr_expect(reading.has_offset && reading.offset == 0);
    expect_refused("iso", "2026-03-01");
    expect_refused("iso", "2026-03-01T04:05:06 PM");
    expect_refused("iso", "2026-3-1T04:05");
}

Test(clock, puts_two_digit_years_into_1970_to_2069)
{
    expect_local("DD.MM.YY", "01.03.69", "2069-03-01T00:00:00Z");
    expect_local("DD.MM.YY", "01.03.70", "1970-03-01T00:00:00Z");
}

Test(clock, reads_midnight_as_24_and_a_leap_second)
{
    expect_local("YYYY-MM-DD hh:mm", "2026-02-28 24:00", "2026-03-01T00:00:00Z");
    expect_refused("YYYY-MM-DD hh:mm", "2026-02-28 24:01");
    expect_local("YYYY-MM-DD hh:mm:ss", "2016-12-31 23:59:60", "2017-01-01T00:00:00Z");
    expect_refused("YYYY-MM-DD hh:mm:ss", "2016-12-31 23:59:61");
}

Test(clock, is_strict)
{
    expect_refused("DD.MM.YYYY", "31.02.2026");
    expect_refused("DD.MM.YYYY", "29.02.2026");
    expect_refused("MM/DD/YYYY hh:mm", "3/1/2026 04:05");
    expect_refused("MM/DD/YYYY hh:mm", "13/01/2026 04:05");
    expect_refused("MM/DD/YYYY hh:mm AM", "03/01/2026 13:05 PM");
    expect_refused("MM/DD/YYYY hh:mm AM", "03/01/2026 00:05 AM");
    expect_refused("YYYY-MM-DD hh:mm", "2026-03-01 04:05:00");
    expect_refused("YYYY-MM-DD hh:mm", "2026-03-01");
    expect_refused("YYYY-MM-DD hh:mm", "2026-03-01 25:00");
    expect_refused("YYYY-MM-DD hh:mm", "2026-03-01 04:60");
    expect_refused("YYYY-MM-DD hh:mm", "");
    expect_refused("YYYY-MM-DD", "0000-01-01");
    expect_refused("D MON YYYY", "3 Ma 2025");
}

static void expect_unsound(const char *format_text, const char *expected)
{
    struct clock_format format;
    struct error error = {0};
    cr_assert_not(clock_format_parse(format_text, &format, &error));
    cr_expect_eq(error.kind, ERROR_CONFIG);
    cr_expect_str_eq(error.text, expected);
}

Test(clock, says_what_is_wrong_with_a_format)
{
    expect_unsound("YYYY-MM-DD HH:mm",
                   "time format 'YYYY-MM-DD HH:mm': 'H' is no part of it; the parts are YYYY YY MM M MON "
                   "DD D hh h mm ss s .s AM Z, or the format is iso");
    expect_unsound("hh:mm", "time format 'hh:mm' has no year (YYYY or YY)");
    expect_unsound("YYYY-MM-DD mm", "time format 'YYYY-MM-DD mm' has no hour (hh or h)");
    expect_unsound("YYYY-MM-DD hh:ss", "time format 'YYYY-MM-DD hh:ss' has no minute (mm)");
    expect_unsound("YYYY-MM-DD MM", "time format 'YYYY-MM-DD MM' holds 'MM' where that part was given before");
}

Test(clock, reads_a_time_of_day)
{
    int64_t ms;
    cr_assert(clock_read_time_of_day("14:05", 5, &ms));
    cr_expect_eq(ms, 14 * HOUR_MS + 5 * MINUTE_MS);
    cr_assert(clock_read_time_of_day("2:05:30 PM", 10, &ms));
    cr_expect_eq(ms, 14 * HOUR_MS + 5 * MINUTE_MS + 30 * SECOND_MS);
    const char *others[] = {"14h05", "14H05", "1405", "2:05pm", "2:05 p.m.", "0205 PM"};
    for (size_t i = 0; i < COUNT_OF(others); i++) {
        cr_expect(clock_read_time_of_day(others[i], strlen(others[i]), &ms), "%s", others[i]);
        cr_expect_eq(ms, 14 * HOUR_MS + 5 * MINUTE_MS, "%s", others[i]);
    }
    cr_assert(clock_read_time_of_day("14:05:30.250", 12, &ms));
    cr_expect_eq(ms, 14 * HOUR_MS + 5 * MINUTE_MS + 30250);
    cr_assert(clock_read_time_of_day("Noon", 4, &ms));
    cr_expect_eq(ms, 12 * HOUR_MS);
    cr_expect_not(clock_read_time_of_day("140", 3, &ms));
    cr_expect_not(clock_read_time_of_day("14055", 5, &ms));
    cr_expect_not(clock_read_time_of_day("2405", 4, &ms));
    cr_expect_not(clock_read_time_of_day("14", 2, &ms));
    cr_expect_not(clock_read_time_of_day("14:5", 4, &ms));
    cr_expect_not(clock_read_time_of_day("25:05", 5, &ms));
    cr_expect_not(clock_read_time_of_day("14:05 x", 7, &ms));
}

Test(clock, reads_the_dates_of_workbooks)
{
    struct clock_reading reading;
    cr_assert(clock_read_civil("2026-04-06", 10, &reading));
    cr_expect_eq(reading.local, settings_time("2026-04-06T00:00:00Z"));
    cr_assert(clock_read_civil("2026-04-06 13:50:00.250", 23, &reading));
    cr_expect_eq(reading.local, settings_time("2026-04-06T13:50:00.250Z"));
    cr_expect_not(reading.has_offset);
    cr_assert(clock_read_civil("2026-04-06T13:50:00Z", 20, &reading));
    cr_expect(reading.has_offset);
    cr_expect_not(clock_read_civil("2026-02-29", 10, &reading));
    cr_expect_not(clock_read_civil("2026-04-06 ", 11, &reading));
}

/* Local minutes on a day, read one after the other, against UTC minutes. America/Los_Angeles: clocks went back on
 * 2025-11-02 at 02:00 PDT = 09:00Z and forward on 2026-03-08 at 02:00 PST = 10:00Z. */
static struct zone *zone;

static struct clock make_clock(enum repeated_hour repeated, enum missing_hour missing)
{
    zone = zone ? zone : zone_load("America/Los_Angeles", NULL);
    struct layout layout = {.zone = zone, .repeated_hour = repeated, .missing_hour = missing};
    struct clock clock;
    clock_init(&clock, &layout, 0);
    return clock;
}

static void expect_sequence(enum repeated_hour rule, const char *const *locals, const char *const *expected,
                            size_t count)
{
    if (!settings_has_zones())
        cr_skip_test("skipped, no time zones");
    struct clock clock = make_clock(rule, MISSING_REFUSED);
    for (size_t i = 0; i < count; i++) {
        struct clock_reading reading;
        int64_t utc;
        char printed[TIMESTAMP_SIZE];
        cr_assert(take("YYYY-MM-DD hh:mm", locals[i], &reading));
        cr_assert(clock_to_utc(&clock, &reading, &utc));
        cr_expect_str_eq(timestamp_print(utc, printed), expected[i], "%zu: %s is %s", i, locals[i], printed);
    }
}

static const char *const half_hours[] = {"2025-11-02 00:30", "2025-11-02 01:00", "2025-11-02 01:30",
                                         "2025-11-02 01:00", "2025-11-02 01:30", "2025-11-02 02:00"};

Test(clock, takes_the_repeated_hour_in_order)
{
    expect_sequence(REPEATED_IN_ORDER, half_hours,
                    (const char *const[]){"2025-11-02T07:30:00Z", "2025-11-02T08:00:00Z", "2025-11-02T08:30:00Z",
                                          "2025-11-02T09:00:00Z", "2025-11-02T09:30:00Z", "2025-11-02T10:00:00Z"},
                    6);
}

Test(clock, takes_the_repeated_hour_as_first_or_second_where_told)
{
    expect_sequence(REPEATED_FIRST, half_hours,
                    (const char *const[]){"2025-11-02T07:30:00Z", "2025-11-02T08:00:00Z", "2025-11-02T08:30:00Z",
                                          "2025-11-02T08:00:00Z", "2025-11-02T08:30:00Z", "2025-11-02T10:00:00Z"},
                    6);
    expect_sequence(REPEATED_SECOND, half_hours,
                    (const char *const[]){"2025-11-02T07:30:00Z", "2025-11-02T09:00:00Z", "2025-11-02T09:30:00Z",
                                          "2025-11-02T09:00:00Z", "2025-11-02T09:30:00Z", "2025-11-02T10:00:00Z"},
                    6);
}

Test(clock, sees_the_second_pass_of_hourly_samples)
{
    expect_sequence(REPEATED_IN_ORDER,
                    (const char *const[]){"2025-11-01 23:00", "2025-11-02 00:00", "2025-11-02 01:00",
                                          "2025-11-02 01:00", "2025-11-02 02:00"},
                    (const char *const[]){"2025-11-02T06:00:00Z", "2025-11-02T07:00:00Z", "2025-11-02T08:00:00Z",
                                          "2025-11-02T09:00:00Z", "2025-11-02T10:00:00Z"},
                    5);
}

Test(clock, keeps_a_doubled_row_in_the_first_pass)
{
    expect_sequence(REPEATED_IN_ORDER,
                    (const char *const[]){"2025-11-02 00:55", "2025-11-02 01:00", "2025-11-02 01:00",
                                          "2025-11-02 01:05", "2025-11-02 01:00"},
                    (const char *const[]){"2025-11-02T07:55:00Z", "2025-11-02T08:00:00Z", "2025-11-02T08:00:00Z",
                                          "2025-11-02T08:05:00Z", "2025-11-02T09:00:00Z"},
                    5);
}

Test(clock, reads_the_repeated_hour_backwards_in_a_descending_file)
{
    expect_sequence(REPEATED_IN_ORDER,
                    (const char *const[]){"2025-11-02 02:30", "2025-11-02 02:00", "2025-11-02 01:30",
                                          "2025-11-02 01:00", "2025-11-02 01:30", "2025-11-02 01:00",
                                          "2025-11-02 00:30"},
                    (const char *const[]){"2025-11-02T10:30:00Z", "2025-11-02T10:00:00Z", "2025-11-02T09:30:00Z",
                                          "2025-11-02T09:00:00Z", "2025-11-02T08:30:00Z", "2025-11-02T08:00:00Z",
                                          "2025-11-02T07:30:00Z"},
                    7);
}

Test(clock, refuses_or_shifts_the_missing_hour)
{
    if (!settings_has_zones())
        cr_skip_test("skipped, no time zones");
    struct clock_reading reading;
    int64_t utc;
    cr_assert(take("YYYY-MM-DD hh:mm", "2026-03-08 02:30", &reading));
    struct clock clock = make_clock(REPEATED_IN_ORDER, MISSING_REFUSED);
    cr_expect_not(clock_to_utc(&clock, &reading, &utc));
    clock = make_clock(REPEATED_IN_ORDER, MISSING_SHIFTED);
    cr_assert(clock_to_utc(&clock, &reading, &utc));
    cr_expect_eq(utc, settings_time("2026-03-08T10:30:00Z"));
}

Test(clock, agrees_with_the_zone_at_every_half_hour_of_a_year)
{
    if (!settings_has_zones())
        cr_skip_test("skipped, no time zones");
    struct clock clock = make_clock(REPEATED_IN_ORDER, MISSING_REFUSED);
    int64_t from = settings_time("2025-07-01T00:00:00Z");
    for (int64_t time = from; time < from + 366 * DAY_MS; time += 30 * MINUTE_MS) {
        struct clock_reading reading = {.local = time + zone_offset(zone, time)};
        int64_t utc;
        cr_assert(clock_to_utc(&clock, &reading, &utc));
        cr_assert_eq(utc, time);
    }
}

Test(clock, lets_the_offset_in_the_text_count)
{
    struct layout layout = {0};
    struct clock clock;
    clock_init(&clock, &layout, 10 * HOUR_MS);
    struct clock_reading reading = {.local = 0};
    int64_t utc;
    cr_assert(clock_to_utc(&clock, &reading, &utc));
    cr_expect_eq(utc, -10 * HOUR_MS);
    reading = (struct clock_reading){.local = 0, .offset = HOUR_MS, .has_offset = true};
    cr_assert(clock_to_utc(&clock, &reading, &utc));
    cr_expect_eq(utc, -HOUR_MS);
}
