/* SPDX-License-Identifier: MIT */
#include "base/random.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "store/database.h"
#include "store/state.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct state state;
static uint32_t place, other;

static void make_state(void)
{
    state_make(&state);
    place = state_place(&state, "sallow-mouth");
    other = state_place(&state, "alder-creek");
    state_begin(&state);
}

static void remove_state(void)
{
    state_done(&state);
}

TestSuite(series, .init = make_state, .fini = remove_state);

#define FIRST_DAY INT64_C(20000) /* 2024-10-04 */
#define COLUMNS (1u << QUANTITY_TEMPERATURE | 1u << QUANTITY_WATER_PRESSURE | 1u << QUANTITY_OXYGEN)

static const struct span always = {TIME_NONE, TIME_FOREVER};

static bool is_same(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

/* ---- readings ---- */

/* `n` rows from FIRST_DAY on, some minutes or some days apart. */
static struct readings random_readings(size_t n, uint64_t *state_of_random)
{
    struct readings r;
    readings_init(&r, state.arena, n, COLUMNS);
    r.unread = arena_array(state.arena, n, sizeof *r.unread);
    int64_t time = FIRST_DAY * DAY_MS + random_between(state_of_random, 0, DAY_MS);
    for (size_t i = 0; i < n; i++) {
        r.time[i] = time;
        time += random_index(state_of_random, 30) ? random_between(state_of_random, 1, 3 * HOUR_MS)
                                                  : random_between(state_of_random, 1, 9) * DAY_MS;
        r.drop[i] = (uint32_t)(1 + i / 50);
        r.line[i] = (uint32_t)random_bits(state_of_random);
        r.unread[i] = random_index(state_of_random, 40) ? 0 : 1u << QUANTITY_OXYGEN;
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
            if (r.value[q] && random_index(state_of_random, 5))
                r.value[q][i] = (double)random_between(state_of_random, -1000000, 1000000) / 1009.0;
    }
    return r;
}

static void expect_same_readings(const struct readings *got, const struct readings *expected)
{
    cr_assert_eq(got->n, expected->n, "%zu rows, expected %zu", got->n, expected->n);
    for (size_t i = 0; i < got->n; i++) {
        cr_assert_eq(got->time[i], expected->time[i]);
        cr_assert(got->drop[i] == expected->drop[i] && got->line[i] == expected->line[i]);
        cr_assert_eq(got->unread ? got->unread[i] : 0, expected->unread ? expected->unread[i] : 0);
        for (unsigned q = 0; q < QUANTITY_COUNT; q++) {
            double x = got->value[q] ? got->value[q][i] : NAN, y = expected->value[q] ? expected->value[q][i] : NAN;
            cr_assert(is_same(x, y), "row %zu: %.17g, expected %.17g", i, x, y);
        }
    }
}

static struct readings load_readings(uint32_t of, struct span span)
{
    struct readings r;
    OK(&state, store_readings_load(state.store, of, span, state.arena, &r, &state.error));
    return r;
}

static void save_readings(uint32_t of, const struct readings *r)
{
    OK(&state, store_readings_save(state.store, of, r, &state.error));
}

Test(series, readings_come_back_to_the_bit)
{
    uint64_t random = 1;
    struct readings all = random_readings(600, &random);
    save_readings(place, &all);
    for (int i = 0; i < 300; i++) {
        int64_t from = random_between(&random, all.time[0] - DAY_MS, all.time[599] + DAY_MS);
        struct span span = {from, random_between(&random, from, all.time[599] + 2 * DAY_MS)};
        if (i < 100) { /* exactly at rows */
            span.from = all.time[random_index(&random, 600)];
            span.to = all.time[random_index(&random, 600)];
        }
        struct readings expected = readings_between(&all, span.from, span.to), got = load_readings(place, span);
        expect_same_readings(&got, &expected);
    }
    struct readings got = load_readings(place, always);
    expect_same_readings(&got, &all);
    cr_expect_eq(load_readings(other, always).n, 0, "of another place");
    cr_expect_eq(load_readings(place, (struct span){5, 5}).n, 0);
    state_commit(&state);
    state_close(&state);
    state_open(&state);
    got = load_readings(place, always);
    expect_same_readings(&got, &all);
}

/* Days in any order, each in a call of its own. */
Test(series, readings_saved_in_pieces_equal_readings_saved_at_once)
{
    uint64_t random = 2;
    struct readings all = random_readings(400, &random);
    save_readings(other, &all);
    struct readings pieces[400];
    size_t count = 0;
    for (size_t i = 0; i < all.n; i += pieces[count++].n) {
        int64_t day = all.time[i] / DAY_MS;
        pieces[count] = readings_between(&all, day * DAY_MS, (day + 1 + (int64_t)random_index(&random, 3)) * DAY_MS);
    }
    for (size_t k = count; k > 0; k--) {
        size_t pick = random_index(&random, k);
        save_readings(place, &pieces[pick]);
        pieces[pick] = pieces[k - 1];
    }
    struct readings a = load_readings(place, always), b = load_readings(other, always);
    expect_same_readings(&a, &all);
    expect_same_readings(&b, &all);
    struct place_fact one, two;
    OK(&state, store_place_find(state.store, "sallow-mouth", state.arena, &one, &state.error));
    OK(&state, store_place_find(state.store, "alder-creek", state.arena, &two, &state.error));
    cr_expect(one.first_time == all.time[0] && one.last_time == all.time[all.n - 1]);
    cr_expect(two.first_time == all.time[0] && two.last_time == all.time[all.n - 1]);
}

Test(series, a_day_saved_again_is_replaced_and_its_neighbours_stay)
{
    uint64_t random = 3;
    struct readings all = random_readings(100, &random), day, shorter;
    save_readings(place, &all);
    int64_t start = timestamp_floor(all.time[50], DAY_MS);
    day = readings_between(&all, start, start + DAY_MS);
    shorter = day;
    shorter.n = 1;
    save_readings(place, &shorter);
    struct readings got = load_readings(place, (struct span){start, start + DAY_MS});
    expect_same_readings(&got, &shorter);
    cr_expect_eq(load_readings(place, always).n, all.n - day.n + 1);
    struct readings none = {0};
    save_readings(place, &none);
    cr_expect_eq(load_readings(place, always).n, all.n - day.n + 1);
}

Test(series, columns_that_only_some_days_have_are_missing_on_the_others)
{
    struct readings a, b;
    readings_init(&a, state.arena, 1, 1u << QUANTITY_LEVEL);
    readings_init(&b, state.arena, 1, 1u << QUANTITY_BATTERY);
    a.time[0] = 20000 * DAY_MS;
    b.time[0] = 20003 * DAY_MS + DAY_MS - 1;
    a.value[QUANTITY_LEVEL][0] = 1;
    b.value[QUANTITY_BATTERY][0] = 3.6;
    save_readings(place, &a);
    save_readings(place, &b);
    struct readings got = load_readings(place, always);
    cr_assert_eq(got.n, 2);
    cr_expect(got.value[QUANTITY_LEVEL][0] == 1 && isnan(got.value[QUANTITY_LEVEL][1]));
    cr_expect(isnan(got.value[QUANTITY_BATTERY][0]) && got.value[QUANTITY_BATTERY][1] == 3.6);
    cr_expect_eq(got.time[1], b.time[0]);
}

Test(series, the_nearest_reading_before_and_after_is_found_over_any_pause)
{
    uint64_t random = 4;
    struct readings all = random_readings(150, &random), far = random_readings(1, &random);
    far.time[0] = all.time[149] + 4000 * DAY_MS;
    save_readings(place, &all);
    save_readings(place, &far);
    struct readings later = random_readings(3, &random); /* of the next place, whose keys follow */
    save_readings(other, &later);
    int64_t times[151];
    memcpy(times, all.time, 150 * sizeof *times);
    times[150] = far.time[0];
    for (int i = 0; i < 2000; i++) {
        int64_t time = i % 2 ? times[random_index(&random, 151)] + random_between(&random, -1, 1)
                             : random_between(&random, times[0] - 20 * DAY_MS, times[150] + 20 * DAY_MS);
        if (i == 0 || i == 2 || i == 4 || i == 6)
            time = i == 0 ? TIME_NONE : i == 2 ? TIME_FOREVER : i == 4 ? 0 : -DAY_MS;
        int64_t before = TIME_NONE, after = TIME_NONE, got;
        for (size_t k = 0; k < 151; k++) {
            if (times[k] < time)
                before = times[k];
            if (times[k] >= time && after == TIME_NONE)
                after = times[k];
        }
        OK(&state, store_reading_before(state.store, place, time, &got, &state.error));
        cr_assert_eq(got, before, "before %lld: %lld, expected %lld", (long long)time, (long long)got,
                     (long long)before);
        OK(&state, store_reading_after(state.store, place, time, &got, &state.error));
        cr_assert_eq(got, after, "after %lld: %lld, expected %lld", (long long)time, (long long)got, (long long)after);
    }
    int64_t got = 0;
    OK(&state, store_reading_before(state.store, 999, TIME_FOREVER, &got, &state.error));
    cr_expect_eq(got, TIME_NONE, "a place without readings");
}

/* The first day of all, where nothing lies before. */
Test(series, readings_of_the_first_day_of_1970_are_readings_too)
{
    struct readings r;
    readings_init(&r, state.arena, 1, 1u << QUANTITY_LEVEL);
    r.time[0] = 5;
    save_readings(place, &r);
    int64_t got;
    OK(&state, store_reading_before(state.store, place, 5, &got, &state.error));
    cr_expect_eq(got, TIME_NONE);
    OK(&state, store_reading_before(state.store, place, 6, &got, &state.error));
    cr_expect_eq(got, 5);
    OK(&state, store_reading_after(state.store, place, TIME_NONE, &got, &state.error));
    cr_expect_eq(got, 5);
}

/* ---- records ---- */

/* One row an hour over DAYS days; an oracle holds what each hour should have. */
enum { DAYS = 6, HOURS = DAYS * 24 };

static int64_t time_of(size_t hour)
{
    return FIRST_DAY * DAY_MS + (int64_t)hour * HOUR_MS + 1;
}

/* A row for each hour of [from, to) whose value is not 0. */
static struct record record_of(const int *values, size_t from, size_t to)
{
    size_t n = 0;
    for (size_t hour = from; hour < to; hour++)
        n += values[hour] != 0;
    struct record r;
    record_init(&r, state.arena, n, COLUMNS);
    record_add_uncertainty(&r, state.arena, QUANTITY_OXYGEN);
    size_t i = 0;
    for (size_t hour = from; hour < to; hour++) {
        int value = values[hour];
        if (value == 0)
            continue;
        r.time[i] = time_of(hour);
        r.raw_time[i] = time_of(hour) - value % 1000;
        r.barometer[i] = (uint32_t)value % 3;
        r.value[QUANTITY_OXYGEN][i] = value * 1e-3;
        r.flag[QUANTITY_OXYGEN][i] = value % 2 ? FLAG_PASS : FLAG_SUSPECT;
        r.tests[QUANTITY_OXYGEN][i] = value % 5 ? 0 : TEST_SPIKE;
        r.uncertainty[QUANTITY_OXYGEN][i] = value % 7 ? 0.125 * value : NAN;
        r.flag[QUANTITY_TEMPERATURE][i] = FLAG_MISSING;
        r.value[QUANTITY_WATER_PRESSURE][i] = 100000 + value * 0.1;
        i++;
    }
    return r;
}

static void expect_same_records(struct record *got, struct record *expected)
{
    record_round(expected);
    cr_assert_eq(got->n, expected->n, "%zu rows, expected %zu", got->n, expected->n);
    for (size_t i = 0; i < got->n; i++) {
        cr_assert(got->time[i] == expected->time[i] && got->raw_time[i] == expected->raw_time[i]);
        cr_assert_eq(got->barometer[i], expected->barometer[i]);
        for (unsigned q = 0; q < QUANTITY_COUNT; q++) {
            cr_assert_eq(!got->value[q], !expected->value[q]);
            if (!got->value[q])
                continue;
            cr_assert(is_same(got->value[q][i], expected->value[q][i]), "%.17g, expected %.17g", got->value[q][i],
                      expected->value[q][i]);
            cr_assert_eq(got->flag[q][i], expected->flag[q][i]);
            cr_assert_eq(got->tests[q][i], expected->tests[q][i]);
            double x = got->uncertainty[q] ? got->uncertainty[q][i] : NAN,
                   y = expected->uncertainty[q] ? expected->uncertainty[q][i] : NAN;
            cr_assert(is_same(x, y), "%.17g, expected %.17g", x, y);
        }
    }
}

static struct record load_record(uint32_t of, struct span span)
{
    struct record r;
    OK(&state, store_record_load(state.store, of, span, state.arena, &r, &state.error));
    return r;
}

static void save_record(uint32_t of, struct span span, const struct record *r)
{
    OK(&state, store_record_save(state.store, of, span, r, &state.error));
}

/* Spans of hours, most of them with edges within a day. */
Test(series, a_record_saved_over_a_span_replaces_it_and_keeps_the_rest)
{
    uint64_t random = 5;
    int oracle[HOURS] = {0};
    for (int round = 0; round < 400; round++) {
        size_t from = random_index(&random, HOURS), to = from + 1 + random_index(&random, HOURS - from);
        if (round % 2)
            to = from + 1 + random_index(&random, 10) < HOURS ? from + 1 + random_index(&random, 10) : HOURS;
        to = to > HOURS ? HOURS : to;
        for (size_t hour = from; hour < to; hour++)
            oracle[hour] = random_index(&random, 4) ? (int)random_between(&random, 1, 30000) : 0;
        struct record part = record_of(oracle, from, to);
        save_record(place, (struct span){time_of(from), time_of(to)}, &part);
        struct record got = load_record(place, always), expected = record_of(oracle, 0, HOURS);
        if (expected.n > 0)
            expect_same_records(&got, &expected);
        size_t low = random_index(&random, HOURS), high = low + random_index(&random, HOURS - low);
        got = load_record(place, (struct span){time_of(low), time_of(high)});
        expected = record_of(oracle, low, high);
        cr_assert_eq(got.n, expected.n);
        arena_reset(state.arena);
    }
}

Test(series, a_record_saved_in_pieces_in_any_order_equals_one_saved_at_once)
{
    uint64_t random = 6;
    for (int round = 0; round < 20; round++) {
        int values[HOURS];
        for (size_t hour = 0; hour < HOURS; hour++)
            values[hour] = random_index(&random, 5) ? (int)random_between(&random, 1, 30000) : 0;
        size_t edges[HOURS + 1], count = 0;
        for (size_t hour = 0; hour < HOURS; hour += 1 + random_index(&random, 40))
            edges[count++] = hour;
        edges[count] = HOURS;
        size_t order[HOURS];
        for (size_t k = 0; k < count; k++)
            order[k] = k;
        for (size_t k = count; k > 0; k--) {
            size_t pick = random_index(&random, k), piece = order[pick];
            order[pick] = order[k - 1];
            struct record part = record_of(values, edges[piece], edges[piece + 1]);
            save_record(place, (struct span){time_of(edges[piece]), time_of(edges[piece + 1])}, &part);
        }
        struct record whole = record_of(values, 0, HOURS);
        save_record(other, (struct span){time_of(0), time_of(HOURS)}, &whole);
        struct record a = load_record(place, always), b = load_record(other, always);
        expect_same_records(&a, &whole);
        expect_same_records(&b, &whole);
        arena_reset(state.arena);
    }
}

Test(series, an_empty_record_takes_the_rows_of_its_span_away)
{
    int values[HOURS];
    for (size_t hour = 0; hour < HOURS; hour++)
        values[hour] = 1;
    struct record whole = record_of(values, 0, HOURS), none = {0};
    save_record(place, (struct span){time_of(0), time_of(HOURS)}, &whole);
    save_record(place, (struct span){time_of(30), time_of(30)}, &none);
    cr_expect_eq(load_record(place, always).n, HOURS, "an empty span");
    save_record(place, (struct span){time_of(30), time_of(90)}, &none);
    struct record got = load_record(place, always);
    cr_expect(got.n == HOURS - 60 && got.time[29] == time_of(29) && got.time[30] == time_of(90));
    save_record(place, always, &none);
    cr_expect_eq(load_record(place, always).n, 0);
    state_commit(&state);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM record_chunk"), 0);
}

static int statements;

static int count_statement(unsigned kind, void *context, void *statement, void *text)
{
    (void)kind, (void)context, (void)statement, (void)text;
    statements++;
    return 0;
}

/* Work follows the days with rows, not the years between them. */
Test(series, a_span_over_empty_years_takes_few_statements)
{
    int values[HOURS] = {[0] = 7, [1] = 9};
    struct record two = record_of(values, 0, 2);
    two.time[1] = two.raw_time[1] = two.time[0] + 20000 * DAY_MS;
    sqlite3_trace_v2(state.store->database, SQLITE_TRACE_STMT, count_statement, NULL);
    save_record(place, (struct span){0, time_of(0) + 30000 * DAY_MS}, &two);
    cr_expect_eq(load_record(place, always).n, 2);
    cr_expect_lt(statements, 20, "%d statements", statements);
    statements = 0;
    struct record none = {0};
    save_record(place, always, &none);
    cr_expect_lt(statements, 20, "%d statements", statements);
    sqlite3_trace_v2(state.store->database, 0, NULL, NULL);
    cr_expect_eq(load_record(place, always).n, 0);
}

Test(series, columns_that_only_some_rows_have_are_missing_on_the_others)
{
    struct record a, b;
    record_init(&a, state.arena, 1, 1u << QUANTITY_LEVEL);
    record_init(&b, state.arena, 1, 1u << QUANTITY_SALINITY);
    a.time[0] = a.raw_time[0] = time_of(0);
    b.time[0] = b.raw_time[0] = time_of(1);
    a.value[QUANTITY_LEVEL][0] = 1.25;
    a.flag[QUANTITY_LEVEL][0] = FLAG_PASS;
    save_record(place, (struct span){time_of(0), time_of(1)}, &a);
    save_record(place, (struct span){time_of(1), time_of(2)}, &b);
    struct record got = load_record(place, always);
    cr_assert_eq(got.n, 2);
    cr_expect(got.value[QUANTITY_LEVEL][0] == 1.25 && got.flag[QUANTITY_LEVEL][0] == FLAG_PASS);
    cr_expect(isnan(got.value[QUANTITY_LEVEL][1]) && got.flag[QUANTITY_LEVEL][1] == FLAG_MISSING);
    cr_expect(isnan(got.value[QUANTITY_SALINITY][0]) && got.flag[QUANTITY_SALINITY][0] == FLAG_MISSING);
    cr_expect_null(got.uncertainty[QUANTITY_LEVEL]);
}

/* ---- rounding ---- */

static struct record random_record(size_t n, uint64_t *random)
{
    struct record r;
    record_init(&r, state.arena, n, (1u << QUANTITY_COUNT) - 1);
    for (size_t i = 0; i < n; i++) {
        r.time[i] = r.raw_time[i] = time_of(0) + (int64_t)i;
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
            const struct quantity_info *info = quantity_info(q);
            double steps = (double)random_between(random, INT64_C(-2000000000000), INT64_C(2000000000000)) / 1009;
            r.value[q][i] = steps / pow(10, info->decimals) / info->scale;
            r.flag[q][i] = FLAG_PASS;
        }
    }
    return r;
}

Test(series, what_is_kept_is_what_rounding_in_memory_gives)
{
    uint64_t random = 7;
    struct record r = random_record(500, &random);
    const double odd[] = {NAN, 0.0, 1e30, -1e38, INFINITY, -INFINITY, 1e9, -0.0};
    for (size_t i = 0; i < COUNT_OF(odd); i++)
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
            r.value[q][i] = odd[i];
            r.flag[q][i] = i == 0 ? FLAG_MISSING : FLAG_FAIL;
        }
    save_record(place, always, &r);
    struct record got = load_record(place, always);
    expect_same_records(&got, &r);
    cr_expect(isnan(r.value[QUANTITY_LEVEL][2]) && r.flag[QUANTITY_LEVEL][2] == FLAG_MISSING, "no sensor gives 1e30");
    record_round(&r);
    expect_same_records(&got, &r);
}

/* The written value of a kept one is a whole number of steps of its last decimal. */
Test(series, what_is_kept_is_printed_without_a_rest)
{
    uint64_t random = 8;
    struct record r = random_record(500, &random);
    record_round(&r);
    for (size_t i = 0; i < r.n; i++)
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
            double written = quantity_to_written(q, r.value[q][i]), read;
            struct text text;
            text_init(&text, 100);
            text_number(&text, written, quantity_info(q)->decimals);
            cr_assert(text_parse_number(text.bytes, text.length, '.', &read));
            cr_assert_float_eq(read, written, 1e-12 * fabs(written) + 1e-300, "%s: %s is %.17g", quantity_info(q)->key,
                               text.bytes, written);
            text_done(&text);
        }
}

/* ---- damage ---- */

static void put_chunk(const char *sql, const void *bytes, size_t length)
{
    sqlite3_stmt *statement;
    cr_assert_eq(sqlite3_prepare_v2(state.store->database, sql, -1, &statement, NULL), SQLITE_OK);
    sqlite3_bind_blob64(statement, 1, length ? bytes : "", length, SQLITE_STATIC);
    cr_assert_eq(sqlite3_step(statement), SQLITE_DONE);
    sqlite3_finalize(statement);
}

static char *get_chunk(const char *sql, size_t *ret_length)
{
    sqlite3_stmt *row;
    cr_assert_eq(sqlite3_prepare_v2(state.store->database, sql, -1, &row, NULL), SQLITE_OK);
    cr_assert_eq(sqlite3_step(row), SQLITE_ROW);
    *ret_length = (size_t)sqlite3_column_bytes(row, 0);
    char *bytes = x_strndup(sqlite3_column_blob(row, 0), *ret_length);
    sqlite3_finalize(row);
    return bytes;
}

static bool loads_readings(void)
{
    struct readings r;
    return store_readings_load(state.store, place, always, state.arena, &r, &state.error);
}

static bool loads_record(void)
{
    struct record r;
    return store_record_load(state.store, place, always, state.arena, &r, &state.error);
}

static void expect_damage_found(const char *get, const char *set, bool (*loads)(void))
{
    size_t length, refused = 0;
    char *bytes = get_chunk(get, &length);
    for (size_t cut = 0; cut < length; cut++) {
        state.error = (struct error){0};
        put_chunk(set, bytes, cut);
        cr_assert(!loads(), "cut at %zu of %zu", cut, length);
        cr_assert_eq(state.error.kind, ERROR_STORAGE);
        arena_reset(state.arena);
    }
    uint64_t random = 9;
    for (int i = 0; i < 3000; i++) {
        char *changed = x_strndup(bytes, length);
        for (size_t k = 1 + random_index(&random, 4); k-- > 0;)
            changed[random_index(&random, random_index(&random, 2) ? 16 : length)] = (char)random_bits(&random);
        put_chunk(set, changed, length);
        free(changed);
        state.error = (struct error){0};
        if (!loads()) {
            refused++;
            cr_assert_eq(state.error.kind, ERROR_STORAGE, "%s", state.error.text);
        }
        arena_reset(state.arena);
    }
    cr_expect_gt(refused, 500);
    put_chunk(set, bytes, length);
    OK(&state, loads());
    free(bytes);
}

Test(series, a_damaged_chunk_of_readings_is_an_error_of_storage)
{
    uint64_t random = 10;
    struct readings all = random_readings(40, &random), day;
    day = readings_between(&all, timestamp_floor(all.time[20], DAY_MS), timestamp_floor(all.time[20], DAY_MS) + DAY_MS);
    save_readings(place, &day);
    expect_damage_found("SELECT bytes FROM reading_chunk", "UPDATE reading_chunk SET bytes = ?1", loads_readings);
}

Test(series, a_damaged_chunk_of_a_record_is_an_error_of_storage)
{
    int values[HOURS];
    for (size_t hour = 0; hour < HOURS; hour++)
        values[hour] = (int)hour + 1;
    struct record day = record_of(values, 0, 20);
    save_record(place, always, &day);
    expect_damage_found("SELECT bytes FROM record_chunk", "UPDATE record_chunk SET bytes = ?1", loads_record);
}
