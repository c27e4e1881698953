/* SPDX-License-Identifier: MIT */
#include "archive/write_csv.h"

#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <stdlib.h>
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

TestSuite(write_csv, .init = start, .fini = finish);

static const char *line_of(size_t number)
{
    char *copy = arena_strdup(arena, text.bytes);
    char *at = copy;
    while (number-- > 1)
        at = strstr(at, "\r\n") + 2;
    *strstr(at, "\r\n") = '\0';
    return at;
}

Test(write_csv, equals_the_golden_month_byte_by_byte)
{
    write_csv(fixture_month(arena), &text);
    const char *golden = fixture_read(arena, fixture_here(), "golden/heron-creek_2026-03.csv");
    cr_assert_not_null(golden);
    cr_assert_str_eq(text.bytes, golden);
}

Test(write_csv, writes_the_same_bytes_twice)
{
    write_csv(fixture_month(arena), &text);
    char *first = arena_strdup(arena, text.bytes);
    text_clear(&text);
    write_csv(fixture_month(arena), &text);
    cr_assert_str_eq(text.bytes, first);
}

Test(write_csv, leaves_missing_values_empty_and_their_flag_9)
{
    write_csv(fixture_month(arena), &text);
    cr_assert_str_eq(line_of(4), "2026-03-01T00:00:00Z,,9,4096,0.0061,18.220,1,0,8.880,3,65552,152.2,2,0,,"
                                 "2026-03-01T00:00:00Z,18.220,,41,11");
}

Test(write_csv, writes_no_minus_before_zero)
{
    write_csv(fixture_month(arena), &text);
    cr_assert_not_null(strstr(line_of(5), "Z,0.0000,1,"));
}

Test(write_csv, writes_a_header_alone_for_a_month_without_rows)
{
    struct dataset *dataset = fixture_month(arena);
    dataset->record.n = dataset->raw.n = 0;
    write_csv(dataset, &text);
    cr_assert_eq(strstr(text.bytes, "\r\n") + 2, text.bytes + text.length);
}

Test(write_csv, prints_every_time_as_the_calendar_does)
{
    enum { N = 5000 };
    struct dataset *dataset = fixture_long_month(arena, N);
    int64_t time = fixture_time("1969-12-30T23:59:58Z");
    for (size_t i = 0; i < N; i++) {
        dataset->record.time[i] = time;
        time += (int64_t)(1 + i * 7919 % 4099) * (i % 3 == 0 ? SECOND_MS : i % 3 == 1 ? 1 : HOUR_MS);
    }
    write_csv(dataset, &text);
    const char *at = strstr(text.bytes, "\r\n") + 2;
    for (size_t i = 0; i < N; i++) {
        char expected[TIMESTAMP_SIZE];
        timestamp_print(dataset->record.time[i], expected);
        cr_assert_eq(strncmp(at, expected, strlen(expected)), 0, "row %zu", i);
        at = strstr(at, "\r\n") + 2;
    }
}

Test(write_csv, writes_values_that_read_back_within_half_a_last_digit)
{
    enum { N = 400 };
    struct dataset *dataset = fixture_long_month(arena, N);
    write_csv(dataset, &text);
    const char *at = strstr(text.bytes, "\r\n") + 2;
    for (size_t i = 0; i < N; i++) {
        double level = strtod(strchr(at, ',') + 1, NULL);
        cr_assert_float_eq(level, dataset->record.value[QUANTITY_LEVEL][i], 0.500001e-4, "row %zu", i);
        at = strstr(at, "\r\n") + 2;
    }
}

Test(write_csv, tells_when_the_text_had_no_room)
{
    text_done(&text);
    text_init(&text, 1000);
    write_csv(fixture_long_month(arena, 100), &text);
    cr_assert(text.is_full);
}
