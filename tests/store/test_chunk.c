/* SPDX-License-Identifier: MIT */
#include "store/chunk.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

enum { DAY = 20000, ROWS = 288 };

static struct arena *arena;
static struct text bytes;

static void start(void)
{
    arena = arena_new();
    text_init(&bytes, 1 << 24);
}

static void finish(void)
{
    text_done(&bytes);
    arena_free(arena);
}

TestSuite(chunk, .init = start, .fini = finish);

static struct readings a_day(double (*value)(size_t row))
{
    struct readings readings;
    readings_init(&readings, arena, ROWS, 1u << QUANTITY_TEMPERATURE);
    for (size_t i = 0; i < ROWS; i++) {
        readings.time[i] = DAY * DAY_MS + (int64_t)i * 5 * MINUTE_MS;
        readings.drop[i] = 3;
        readings.line[i] = (uint32_t)i + 2;
        readings.value[QUANTITY_TEMPERATURE][i] = value(i);
    }
    return readings;
}

static size_t length_of(double (*value)(size_t row))
{
    struct readings put = a_day(value), got;
    text_clear(&bytes);
    chunk_put_readings(&bytes, DAY, &put, arena);
    cr_assert(chunk_take_readings(bytes.bytes, bytes.length, DAY, arena, &got));
    cr_assert_eq(got.n, ROWS);
    cr_expect_eq(memcmp(got.time, put.time, sizeof(int64_t) * ROWS), 0);
    cr_expect_eq(memcmp(got.drop, put.drop, sizeof(uint32_t) * ROWS), 0);
    cr_expect_eq(memcmp(got.line, put.line, sizeof(uint32_t) * ROWS), 0);
    for (size_t i = 0; i < ROWS; i++) {
        double a = put.value[QUANTITY_TEMPERATURE][i], b = got.value[QUANTITY_TEMPERATURE][i];
        cr_assert(isnan(a) ? isnan(b) : memcmp(&a, &b, sizeof a) == 0, "row %zu: %a came back as %a", i, a, b);
    }
    return bytes.length;
}

static double slow_hundredths(size_t row) { return (double)(1100 + row % 90) / 100; }
static double wild_hundredths(size_t row) { return (double)(row * 7919 % 30000) / 100; }
static double leaping_hundredths(size_t row) { return (double)(row % 2 * 10000000) / 100; }
static double of_kilopascal(size_t row) { return (double)(113036 + row) / 1000 * 1000; }
static double of_microsiemens(size_t row) { return (double)(248289 + row) / 10 * 0.001; }
static double with_gaps(size_t row) { return row % 7 ? slow_hundredths(row) : NAN; }
static double all_missing(size_t row) { (void)row; return NAN; }
static double of_no_decimal(size_t row) { return sqrt((double)row + 2); }
static double with_one_stray(size_t row) { return row == 200 ? M_PI : slow_hundredths(row); }
static double negative_zero(size_t row) { return row == 9 ? -0.0 : slow_hundredths(row); }

Test(chunk, readings_of_a_file_take_a_byte_or_two_and_all_come_back_to_the_bit)
{
    cr_expect_lt(length_of(slow_hundredths), ROWS + 100);
    cr_expect_lt(length_of(of_kilopascal), ROWS + 100);
    cr_expect_lt(length_of(of_microsiemens), ROWS + 100);
    cr_expect_lt(length_of(wild_hundredths), 2 * ROWS + 100);
    cr_expect_lt(length_of(leaping_hundredths), 4 * ROWS + 100);
    cr_expect_lt(length_of(with_gaps), 4 * ROWS + 100);
    length_of(all_missing);
    length_of(of_no_decimal);
    length_of(with_one_stray);
    length_of(negative_zero);
}

Test(chunk, uneven_clocks_and_lines_come_back)
{
    struct readings put = a_day(slow_hundredths), got;
    for (size_t i = 0; i < ROWS; i++) {
        put.time[i] += (int64_t)(i * i % 1000);
        put.line[i] = (uint32_t)(i * 2654435761u);
    }
    chunk_put_readings(&bytes, DAY, &put, arena);
    cr_assert(chunk_take_readings(bytes.bytes, bytes.length, DAY, arena, &got));
    cr_expect_eq(memcmp(got.time, put.time, sizeof(int64_t) * ROWS), 0);
    cr_expect_eq(memcmp(got.line, put.line, sizeof(uint32_t) * ROWS), 0);
}

static void put(const void *from, size_t length)
{
    text_add(&bytes, from, length);
}

static void put_words(const uint32_t *words, size_t n)
{
    put(words, n * sizeof *words);
}

/* Two rows, byte by byte as the first release wrote them. */
Test(chunk, what_the_first_version_wrote_is_still_read)
{
    static const double values[] = {11.57, 11.54};
    put_words((const uint32_t[]){1, 2, 1u << QUANTITY_TEMPERATURE, 0, 300000, 2, 3, 2, 5, 2, 0}, 11);
    put(values, sizeof values);
    struct readings readings;
    cr_assert(chunk_take_readings(bytes.bytes, bytes.length, DAY, arena, &readings));
    cr_expect_eq(readings.time[1], DAY * DAY_MS + 300000);
    cr_expect_eq(readings.drop[1], 3);
    cr_expect(readings.line[0] == 2 && readings.line[1] == 5);
    cr_expect_eq(readings.value[QUANTITY_TEMPERATURE][1], 11.54);

    text_clear(&bytes);
    const float uncertainty[] = {0.25f, 0.5f};
    put_words((const uint32_t[]){1, 2, 1u << QUANTITY_TEMPERATURE, 0, 300000, 0, (uint32_t)-2000, 2, 7}, 9);
    put_words((const uint32_t[]){11570, 11540, 1, FLAG_PASS, 1, FLAG_SUSPECT, 2, 4, 1}, 9);
    put(uncertainty, sizeof uncertainty);
    struct record record;
    uint32_t rows, columns;
    cr_assert(chunk_head_of_record(bytes.bytes, bytes.length, &rows, &columns));
    cr_assert(rows == 2 && columns == 1u << QUANTITY_TEMPERATURE);
    record_init(&record, arena, rows, columns);
    cr_assert(chunk_take_record(bytes.bytes, bytes.length, DAY, arena, &record, 0));
    cr_expect_eq(record.time[1], DAY * DAY_MS + 300000);
    cr_expect_eq(record.raw_time[1], record.time[1] - 2000);
    cr_expect_eq(record.barometer[0], 7);
    cr_expect_float_eq(record.value[QUANTITY_TEMPERATURE][0], 11.57, 1e-12);
    cr_expect(record.flag[QUANTITY_TEMPERATURE][0] == FLAG_PASS && record.flag[QUANTITY_TEMPERATURE][1] == FLAG_SUSPECT);
    cr_expect_eq(record.tests[QUANTITY_TEMPERATURE][1], 4);
    cr_expect_eq(record.uncertainty[QUANTITY_TEMPERATURE][1], 0.5);
}

Test(chunk, damaged_bytes_do_not_ask_for_memory_that_they_could_not_fill)
{
    struct readings readings;
    put_words((const uint32_t[]){2, 80000000, 1u << QUANTITY_TEMPERATURE, 0, 79999999, 1}, 6);
    cr_expect_not(chunk_take_readings(bytes.bytes, bytes.length, DAY, arena, &readings));
}
