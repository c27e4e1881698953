/* SPDX-License-Identifier: MIT */
#include "base/timestamp.h"

#include "base/memory.h"
#include "base/random.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

/* 0001-01-01T00:00:00Z and 9999-12-31T23:59:59.999Z */
#define FIRST_TIME INT64_C(-62135596800000)
#define LAST_TIME INT64_C(253402300799999)

static void expect_as_library(int64_t time)
{
    struct civil c = timestamp_to_civil(time);
    int64_t whole = timestamp_floor(time, 1000);
    time_t seconds = (time_t)(whole / 1000);
    struct tm tm;
    cr_assert_not_null(gmtime_r(&seconds, &tm));
    cr_assert(c.year == tm.tm_year + 1900 && c.month == tm.tm_mon + 1 && c.day == tm.tm_mday && c.hour == tm.tm_hour &&
                  c.minute == tm.tm_min && c.second == tm.tm_sec && c.millisecond == time - whole,
              "%lld", (long long)time);
    cr_assert(civil_is_valid(&c));
    cr_assert_eq(timestamp_from_civil(&c), time);
    cr_assert_eq(timestamp_from_civil(&c), (int64_t)timegm(&tm) * 1000 + c.millisecond);
}

Test(timestamp, civil_dates_are_those_of_the_library_in_all_years)
{
    for (int64_t day = FIRST_TIME / DAY_MS; day <= LAST_TIME / DAY_MS; day += 7)
        expect_as_library(day * DAY_MS);
    uint64_t state = 1;
    for (int i = 0; i < 200000; i++)
        expect_as_library(random_between(&state, FIRST_TIME, LAST_TIME));
    expect_as_library(FIRST_TIME);
    expect_as_library(LAST_TIME);
    expect_as_library(-1);
    expect_as_library(0);
}

Test(timestamp, days_out_of_the_calendar_are_no_dates)
{
    const struct civil wrong[] = {
        {2026, 2, 29, 0, 0, 0, 0}, {2024, 2, 30, 0, 0, 0, 0},   {1900, 2, 29, 0, 0, 0, 0}, {2026, 4, 31, 0, 0, 0, 0},
        {2026, 0, 1, 0, 0, 0, 0},  {2026, 13, 1, 0, 0, 0, 0},   {2026, 1, 0, 0, 0, 0, 0},  {2026, 1, 32, 0, 0, 0, 0},
        {0, 1, 1, 0, 0, 0, 0},     {10000, 1, 1, 0, 0, 0, 0},   {2026, 1, 1, 24, 0, 0, 0}, {2026, 1, 1, 0, 60, 0, 0},
        {2026, 1, 1, 0, 0, 60, 0}, {2026, 1, 1, 0, 0, 0, 1000}, {2026, 1, 1, -1, 0, 0, 0}, {2026, 1, 1, 0, 0, 0, -1},
    };
    for (size_t i = 0; i < COUNT_OF(wrong); i++)
        cr_expect(!civil_is_valid(&wrong[i]), "row %zu", i);
    cr_expect_eq(civil_days_in_month(2000, 2), 29);
    cr_expect_eq(civil_days_in_month(1900, 2), 28);
    cr_expect_eq(civil_days_in_month(2024, 2), 29);
    cr_expect_eq(civil_days_in_month(2026, 12), 31);
}

Test(timestamp, the_floor_is_below_also_before_1970)
{
    const struct {
        int64_t time, step, expected;
    } rows[] = {{0, 10, 0}, {9, 10, 0}, {10, 10, 10}, {-1, 10, -10}, {-10, 10, -10}, {-11, 10, -20}};
    for (size_t i = 0; i < COUNT_OF(rows); i++)
        cr_expect_eq(timestamp_floor(rows[i].time, rows[i].step), rows[i].expected);
}

Test(timestamp, months_begin_and_end_by_the_clock_of_the_place)
{
    uint64_t state = 2;
    const int64_t offsets[] = {0, 10 * HOUR_MS, -5 * HOUR_MS, 345 * MINUTE_MS, -210 * MINUTE_MS, 14 * HOUR_MS};
    for (int i = 0; i < 50000; i++) {
        int64_t time = random_between(&state, FIRST_TIME + 100 * DAY_MS, LAST_TIME - 100 * DAY_MS);
        int64_t offset = offsets[random_index(&state, COUNT_OF(offsets))];
        int64_t start = timestamp_month_start(time, offset), next = timestamp_next_month(time, offset);
        cr_assert(start <= time && time < next);
        struct civil first = timestamp_to_civil(start + offset), now = timestamp_to_civil(time + offset),
                     following = timestamp_to_civil(next + offset);
        cr_assert(first.day == 1 && first.hour == 0 && first.minute == 0 && first.second == 0 &&
                  first.millisecond == 0);
        cr_assert(first.month == now.month && first.year == now.year && following.day == 1 && following.hour == 0);
        cr_assert_eq(following.year * 12 + following.month, now.year * 12 + now.month + 1);
        cr_assert_eq(next - start, civil_days_in_month(now.year, now.month) * DAY_MS);
        cr_assert_eq(timestamp_month_start(start, offset), start);
        cr_assert_eq(timestamp_month_start(start - 1, offset), timestamp_month_start(start - DAY_MS, offset));
    }
}

static int64_t parse(const char *string)
{
    int64_t time = TIME_NONE;
    cr_expect(timestamp_parse(string, strlen(string), &time), "'%s'", string);
    return time;
}

Test(timestamp, what_is_printed_is_read_back)
{
    uint64_t state = 3;
    char text[TIMESTAMP_SIZE];
    for (int i = 0; i < 50000; i++) {
        int64_t time = random_between(&state, FIRST_TIME + DAY_MS, LAST_TIME - DAY_MS);
        if (i % 2)
            time = timestamp_floor(time, 1000);
        cr_assert_eq(parse(timestamp_print(time, text)), time, "%s", text);
        int64_t offset = random_between(&state, -18 * 60, 18 * 60) * MINUTE_MS;
        cr_assert_eq(parse(timestamp_print_offset(time, offset, text)), time, "%s", text);
    }
}

Test(timestamp, times_are_printed_in_the_form_of_rfc_3339)
{
    char text[TIMESTAMP_SIZE];
    int64_t time = parse("2026-03-01T00:00:00Z");
    cr_expect_str_eq(timestamp_print(time, text), "2026-03-01T00:00:00Z");
    cr_expect_str_eq(timestamp_print(time + 250, text), "2026-03-01T00:00:00.250Z");
    cr_expect_str_eq(timestamp_print(time - 1, text), "2026-02-28T23:59:59.999Z");
    cr_expect_str_eq(timestamp_print_offset(time, 10 * HOUR_MS, text), "2026-03-01T10:00:00+10:00");
    cr_expect_str_eq(timestamp_print_offset(time, -210 * MINUTE_MS, text), "2026-02-28T20:30:00-03:30");
    cr_expect_str_eq(timestamp_print_offset(time + 5, 0, text), "2026-03-01T00:00:00.005+00:00");
    cr_expect_str_eq(timestamp_print(TIME_NONE, text), "-");
    cr_expect_str_eq(timestamp_print(TIME_FOREVER, text), "-");
    cr_expect_str_eq(timestamp_print_offset(TIME_NONE, HOUR_MS, text), "-");
    cr_expect_str_eq(timestamp_print_offset(TIME_FOREVER, HOUR_MS, text), "-");
    cr_expect_str_eq(timestamp_print(FIRST_TIME, text), "0001-01-01T00:00:00Z");
}

Test(timestamp, times_are_read_with_every_zone_and_fraction)
{
    int64_t time = parse("2026-03-01T00:00:00Z");
    cr_expect_eq(parse("2026-03-01 00:00:00Z"), time);
    cr_expect_eq(parse("2026-03-01T10:00:00+10:00"), time);
    cr_expect_eq(parse("2026-02-28T20:30:00-03:30"), time);
    cr_expect_eq(parse("2026-02-28T20:30:00-0330"), time);
    cr_expect_eq(parse("2026-03-01T00:00:00-00:00"), time);
    cr_expect_eq(parse("2026-03-01T00:00:00.5Z"), time + 500);
    cr_expect_eq(parse("2026-03-01T00:00:00.123999999Z"), time + 123, "cut, not rounded");
    cr_expect_eq(parse("2016-12-31T23:59:60Z"), parse("2017-01-01T00:00:00Z"), "a leap second is the next second");
    cr_expect_eq(parse("2016-12-31T23:59:60.5Z"), parse("2017-01-01T00:00:00.5Z"));
}

Test(timestamp, what_is_no_full_time_is_refused)
{
    static const char *const refused[] = {
        "",
        "2026",
        "2026-03-01",
        "2026-03-01T00:00:00",
        "2026-03-01T00:00Z",
        "2026-3-1T00:00:00Z",
        "26-03-01T00:00:00Z",
        "2026-02-29T00:00:00Z",
        "2026-13-01T00:00:00Z",
        "2026-03-01T24:00:00Z",
        "2026-03-01T00:60:00Z",
        "2026-03-01T00:00:61Z",
        "0000-01-01T00:00:00Z",
        "2026-03-01T00:00:00.Z",
        "2026-03-01T00:00:00,5Z",
        "2026-03-01T00:00:00Zx",
        " 2026-03-01T00:00:00Z",
        "2026-03-01T00:00:00 Z",
        "2026-03-01  00:00:00Z",
        "2026-03-01T00:00:00+",
        "2026-03-01T00:00:00+1",
        "2026-03-01T00:00:00+10:",
        "2026-03-01T00:00:00+10:0",
        "2026-03-01T00:00:00+10:60",
        "2026-03-01T00:00:00+19:00",
        "2026/03/01T00:00:00Z",
        "+026-03-01T00:00:00Z",
    };
    for (size_t i = 0; i < COUNT_OF(refused); i++) {
        int64_t time = 77;
        cr_expect(!timestamp_parse(refused[i], strlen(refused[i]), &time), "'%s'", refused[i]);
        cr_expect_eq(time, 77, "'%s'", refused[i]);
    }
    const char whole[] = "2026-03-01T00:00:00.250+10:00";
    for (size_t length = 0; length < strlen(whole); length++) {
        int64_t time;
        bool is_whole = length == strlen(whole) - 3; /* "+10" is an offset */
        cr_expect_eq(timestamp_parse(whole, length, &time), is_whole, "'%.*s'", (int)length, whole);
    }
}

Test(timestamp, offsets_are_read_within_18_hours)
{
    const struct {
        const char *string;
        int64_t minutes;
    } rows[] = {{"Z", 0},     {"z", 0},      {"UTC", 0},     {"+10:00", 600},  {"-0330", -210},
                {"+05", 300}, {"+00:00", 0}, {"-00:01", -1}, {"+18:00", 1080}, {"-18:00", -1080}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        int64_t offset = 77;
        cr_expect(timestamp_parse_offset(rows[i].string, strlen(rows[i].string), &offset), "'%s'", rows[i].string);
        cr_expect_eq(offset, rows[i].minutes * MINUTE_MS, "'%s'", rows[i].string);
    }
    static const char *const refused[] = {"",        "+",      "10:00",  "+1",     "+1:00", "+10:", "+10:0",  "+100",
                                          "+10:00x", "+18:01", "-18:59", "+19:00", "utc",   "GMT",  "+10-00", "+ 1:00"};
    for (size_t i = 0; i < COUNT_OF(refused); i++) {
        int64_t offset = 77;
        cr_expect(!timestamp_parse_offset(refused[i], strlen(refused[i]), &offset), "'%s'", refused[i]);
        cr_expect_eq(offset, 77, "'%s'", refused[i]);
    }
}

Test(timestamp, durations_are_written_for_people)
{
    const struct {
        int64_t duration;
        const char *expected;
    } rows[] = {{0, "0 s"},
                {45 * SECOND_MS + 999, "45 s"},
                {MINUTE_MS, "1 min"},
                {30 * MINUTE_MS + 59 * SECOND_MS, "30 min"},
                {2 * HOUR_MS, "2 h"},
                {125 * MINUTE_MS, "2 h 5 min"},
                {DAY_MS, "1 d"},
                {3 * DAY_MS + 4 * HOUR_MS + 59 * MINUTE_MS, "3 d 4 h"},
                {-90 * MINUTE_MS, "-1 h 30 min"}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        char text[TIMESTAMP_SIZE];
        cr_expect_str_eq(duration_print(rows[i].duration, text), rows[i].expected);
    }
}

Test(timestamp, the_clocks_go_on)
{
    int64_t wall = clock_wall(), monotonic = clock_monotonic();
    cr_expect_gt(wall, parse("2024-01-01T00:00:00Z"));
    cr_expect_geq(clock_monotonic(), monotonic);
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    cr_expect_geq((int64_t)now.tv_sec * 1000 + 999, wall, "milliseconds, not seconds");
}
