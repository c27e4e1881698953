/* SPDX-License-Identifier: MIT */
/* The tests of quality/quality.c, each by a table, and the promises that they make about history. Values of the manual:
 * U.S. IOOS, Manual for Real-Time Quality Control of Water Level Data, version 2.1 (March 2021), example thresholds. */
#include "quality/quality.h"

#include "base/memory.h"
#include "base/random.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define STEP (6 * MINUTE_MS) /* the sampling of the manual's examples */
#define QUANTITY QUANTITY_LEVEL
#define LONGEST_SERIES 64

static struct arena *arena;
static struct config config;
static struct station station;

static void set_up(void)
{
    arena = arena_new();
    station = (struct station){.id = "heron-creek", .name = "Heron Creek"};
    config = (struct config){.stations = &station, .station_count = 1};
    for (unsigned q = 0; q < QUANTITY_COUNT; q++)
        config.quality[q] = quality_off;
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(quality, .init = set_up, .fini = tear_down);

/* "1.0 1.1 - ~30 1.2": level every 6 min; `-` missing, `~n`: the next stands n minutes after the one before. */
static struct record series(const char *text);
/* One digit a row: "1132". */
static const char *flags_of(const struct record *record);
/* One letter a row: the bit of `test` set (x) or not (.). */
static const char *bits_of(const struct record *record, uint32_t test);
static void judge(struct record *record);
static struct record random_history(uint64_t *state, size_t n, int64_t step);
static void set_random_limits(uint64_t *state, int64_t step);
static void copy_record(struct record *to, const struct record *from, size_t first, size_t last);

struct example {
    const char *what, *series, *flags;
};

static void expect_examples(const struct example *rows, size_t n, uint32_t test)
{
    for (size_t k = 0; k < n; k++) {
        struct record record = series(rows[k].series);
        judge(&record);
        cr_expect_str_eq(flags_of(&record), rows[k].flags, "%s: '%s' is flagged %s, expected %s", rows[k].what,
                         rows[k].series, flags_of(&record), rows[k].flags);
        for (size_t i = 0; i < record.n; i++) {
            uint8_t flag = record.flag[QUANTITY][i];
            bool is_marked = record.tests[QUANTITY][i] & test;
            cr_expect_eq(is_marked, flag == FLAG_SUSPECT || flag == FLAG_FAIL, "%s: row %zu", rows[k].what, i);
        }
    }
}

/* Example thresholds of test 4: sensor -0.5..10 m, user -0.5..5 m. */
/* Range, spike, rate and flat line at once. */
static void every_test(int64_t flat_suspect, int64_t flat_fail)
{
    config.quality[QUANTITY] = (struct quality_limits){.sensor_min = -1,
                                                       .sensor_max = 10,
                                                       .usual_min = 0,
                                                       .usual_max = 5,
                                                       .spike_suspect = 0.1,
                                                       .spike_fail = 0.2,
                                                       .rate = 1,
                                                       .flat_tolerance = 0.001,
                                                       .flat_suspect = flat_suspect,
                                                       .flat_fail = flat_fail};
}

Test(quality, a_value_outside_the_sensors_range_fails_and_outside_the_usual_is_suspect)
{
    config.quality[QUANTITY] = (struct quality_limits){.sensor_min = -0.5,
                                                       .sensor_max = 10,
                                                       .usual_min = -0.5,
                                                       .usual_max = 5,
                                                       .spike_suspect = NAN,
                                                       .spike_fail = NAN,
                                                       .rate = NAN};
    const struct example rows[] = {
        {"manual: above the user's range", "5.1", "3"},
        {"manual: above the sensor's range", "10.2", "4"},
        {"on the user's limit", "5.0", "1"},
        {"on the sensor's limits", "10 -0.5", "31"},
        {"below both", "-0.51", "4"},
        {"missing stays missing", "1 - 1", "191"},
    };
    expect_examples(rows, COUNT_OF(rows), TEST_GROSS_RANGE);
}

Test(quality, a_range_may_be_open_on_one_side)
{
    config.quality[QUANTITY].sensor_max = 10;
    config.quality[QUANTITY].usual_min = 0;
    const struct example rows[] = {{"open below for the sensor", "-99 0 10 10.5", "3114"}};
    expect_examples(rows, COUNT_OF(rows), TEST_GROSS_RANGE);
}

/* Example thresholds of test 6: 0.1 and 0.2 m. */
Test(quality, a_spike_stands_out_from_the_mean_of_its_neighbours)
{
    config.quality[QUANTITY].spike_suspect = 0.1;
    config.quality[QUANTITY].spike_fail = 0.2;
    const struct example rows[] = {
        {"manual: suspect", "1.00 1.16 1.02", "232"},
        {"manual: fail", "1.00 1.26 1.02", "242"},
        {"manual: downward", "3 2.7 3.1", "242"},
        {"a steady rise is none, however fast", "1 2 3 4", "2112"},
        {"the ends have one neighbour only", "9 1", "22"},
        {"no neighbour across a missing value", "1 - 1.5 1", "2922"},
        {"a pause of three intervals is bridged", "1 ~18 1.16 ~18 1.02", "232"},
        {"a longer one before is not", "1 ~19 1.26 1.02", "222"},
        {"nor one behind", "1 1.26 ~19 1.02", "222"},
        {"a pause and a short step are no pass together", "1 ~1 1.26 ~30 1.02", "222"},
    };
    expect_examples(rows, COUNT_OF(rows), TEST_SPIKE);
}

/* Test 5; the manual's example is -2..4 m in spring. Months are those of the station's standard time. */
Test(quality, a_value_outside_its_months_range_is_suspect_and_never_worse)
{
    struct climatology months = {.is_off = false};
    for (size_t i = 0; i < COUNT_OF(months.range); i++) {
        months.range[i][0] = -INFINITY;
        months.range[i][1] = INFINITY;
    }
    months.range[8][0] = -2; /* day 1000 after 1970 is 1972-09-27 */
    months.range[8][1] = 4;
    config.quality[QUANTITY].months = &months;
    const struct example rows[] = {{"the manual's limits", "4.1 4 -2 -2.1 - 99", "311393"}};
    expect_examples(rows, COUNT_OF(rows), TEST_CLIMATOLOGY);
    struct record october = series("9 9");
    for (size_t i = 0; i < october.n; i++)
        october.time[i] += 5 * DAY_MS;
    judge(&october);
    cr_expect_str_eq(flags_of(&october), "22", "a month without a range is not evaluated");
    station.utc_offset = -12 * HOUR_MS; /* and before noon of the first of October it is still September here */
    struct record eve = series("9");
    eve.time[0] = timestamp_from_civil(&(struct civil){.year = 1972, .month = 10, .day = 1, .hour = 11});
    judge(&eve);
    cr_expect_str_eq(flags_of(&eve), "3");
}

/* Test 10, by largest less smallest value; the manual's example limits 0.5 and 0.1 m over a window of two samples here.
 */
Test(quality, a_signal_that_varies_too_little_is_attenuated)
{
    const struct attenuation limits = {.window = 2 * STEP, .suspect = 0.5, .fail = 0.1};
    config.quality[QUANTITY].attenuated = &limits;
    const struct example rows[] = {
        {"manual: varies by 0.3, suspect", "1.0 1.3 1.1", "223"},
        {"manual: varies by 0.08, fails", "1.0 1.05 1.08", "224"},
        {"varies by 0.5, on the limit", "1.0 1.5 1.1", "221"},
        {"a longer pause says nothing", "1.0 ~30 1.0 1.0 1.0", "2224"},
        {"nor does a missing value within", "1.0 - 1.0 1.0 1.0", "29224"},
    };
    expect_examples(rows, COUNT_OF(rows), TEST_ATTENUATED);
}

/* Largest of the manual's station values of test 7: 0.50 m in 6 min. */
Test(quality, a_change_is_judged_by_the_time_it_took)
{
    config.quality[QUANTITY].rate = 5; /* per hour */
    const struct example rows[] = {
        {"at the limit", "1 1.5", "21"},
        {"above it", "1 1.51", "23"},
        {"fall counts as rise does", "1 0.49 0.48", "231"},
        {"the same step in twice the time", "1 ~12 1.51", "21"},
        {"in half of it", "1 ~3 1.26", "23"},
        {"never across a pause", "1 ~19 9", "22"},
        {"nor across a missing value", "1 - 9 9", "2921"},
    };
    expect_examples(rows, COUNT_OF(rows), TEST_RATE);
}

/* Example of test 8: 3 equal values suspect, 5 fail, tolerance 0.001 m; at 6 min those are 12 and 24 min. */
Test(quality, a_flat_line_is_equal_values_for_too_long)
{
    config.quality[QUANTITY].flat_tolerance = 0.001;
    config.quality[QUANTITY].flat_suspect = 2 * STEP;
    config.quality[QUANTITY].flat_fail = 4 * STEP;
    const struct example rows[] = {
        {"manual: three", "1.2 1.2 1.2", "113"},
        {"manual: five", "1.2 1.2 1.2 1.2 1.2", "11334"},
        {"manual: four after another", "1.3 1.2 1.2 1.2 1.2", "11133"},
        {"manual: a falling series is none", "1.5 1.4 1.3 1.2 1.1", "11111"},
        {"within the tolerance of the present value", "1.2 1.2004 1.2008 1.2003 1.2007", "11334"},
        {"a slow drift is none", "1.2 1.2008 1.2016 1.2024 1.2032", "11111"},
        {"a missing value breaks it", "1.2 1.2 - 1.2 1.2 1.2", "119113"},
        {"and so does a pause", "1.2 1.2 ~19 1.2 1.2 1.2", "11113"},
        {"by time, not by count", "1.2 ~1 1.2 ~1 1.2 ~1 1.2 ~9 1.2", "11113"},
        {"a change begins anew", "1.2 1.2 1.2 1.3 1.3 1.2", "113111"},
    };
    expect_examples(rows, COUNT_OF(rows), TEST_FLAT);
}

Test(quality, the_flat_test_can_fail_without_being_suspect_first)
{
    config.quality[QUANTITY].flat_tolerance = 0.001;
    config.quality[QUANTITY].flat_fail = 2 * STEP;
    const struct example rows[] = {{"fail only", "1.2 1.2 1.2", "114"}};
    expect_examples(rows, COUNT_OF(rows), TEST_FLAT);
}

/* Of random series around and across the tolerance, each row against the test's own words. */
Test(quality, a_flat_line_is_what_its_words_say_wherever_the_window_begins_anew)
{
    uint64_t state = 5;
    config.quality[QUANTITY].flat_tolerance = 0.01;
    config.quality[QUANTITY].flat_suspect = 3 * STEP;
    for (int round = 0; round < 300; round++) {
        struct record record;
        record_init(&record, arena, LONGEST_SERIES, 1u << QUANTITY);
        double *value = record.value[QUANTITY];
        for (size_t i = 0; i < record.n; i++) {
            record.time[i] = (int64_t)i * STEP;
            value[i] = i > 0 && random_index(&state, 3) > 0 ? value[i - 1] : 0.005 * (double)random_index(&state, 8);
        }
        judge(&record);
        for (size_t i = 0; i < record.n; i++) {
            bool is_flat = i >= 3;
            for (size_t k = i - 3; is_flat && k < i; k++)
                is_flat = fabs(value[k] - value[i]) <= 0.01;
            cr_assert_eq(record.flag[QUANTITY][i] == FLAG_SUSPECT, is_flat, "round %d, row %zu", round, i);
        }
    }
}

Test(quality, a_pause_is_marked_and_says_nothing_about_the_value_behind_it)
{
    config.quality[QUANTITY].usual_max = 5;
    struct record record = series("1 1 ~18 1 ~19 1 - 1");
    judge(&record);
    cr_expect_str_eq(bits_of(&record, TEST_GAP), "x..x..");
    cr_expect_str_eq(flags_of(&record), "111191");
}

Test(quality, what_no_test_looks_at_is_not_evaluated)
{
    struct record record = series("1 900 -");
    judge(&record);
    cr_expect_str_eq(flags_of(&record), "229");
    cr_expect_str_eq(bits_of(&record, ~(uint32_t)TEST_GAP), "...");
}

Test(quality, the_worst_of_several_tests_stands_and_each_leaves_its_mark)
{
    config.quality[QUANTITY].sensor_max = 10;
    config.quality[QUANTITY].spike_suspect = 1;
    config.quality[QUANTITY].spike_fail = 100;
    config.quality[QUANTITY].rate = 5;
    struct record record = series("1 20 1");
    judge(&record);
    cr_expect_str_eq(flags_of(&record), "143");
    cr_expect_eq(record.tests[QUANTITY][1], TEST_GROSS_RANGE | TEST_SPIKE | TEST_RATE);
    cr_expect_eq(record.tests[QUANTITY][2], TEST_RATE);
}

Test(quality, earlier_marks_are_worsened_never_improved)
{
    config.quality[QUANTITY].usual_max = 5;
    struct record record = series("1 1 9");
    record.flag[QUANTITY][0] = FLAG_FAIL;
    record.tests[QUANTITY][0] = TEST_TOO_MUCH_DRIFT;
    record.flag[QUANTITY][1] = FLAG_SUSPECT;
    record.tests[QUANTITY][1] = TEST_SETTLING;
    judge(&record);
    cr_expect_str_eq(flags_of(&record), "433");
    cr_expect_eq(record.tests[QUANTITY][0] & ~(uint32_t)TEST_GAP, TEST_TOO_MUCH_DRIFT);
    cr_expect_eq(record.tests[QUANTITY][1], TEST_SETTLING);
}

Test(quality, rows_that_failed_in_air_are_left_as_they_are_and_judge_no_neighbour)
{
    every_test(2 * STEP, 4 * STEP);
    struct record record = series("1 99 99 99 1 1.001");
    for (size_t i = 1; i < 4; i++) {
        record.flag[QUANTITY][i] = FLAG_FAIL;
        record.tests[QUANTITY][i] = TEST_IN_AIR;
    }
    judge(&record);
    cr_expect_str_eq(flags_of(&record), "144411");
    for (size_t i = 1; i < 4; i++)
        cr_expect_eq(record.tests[QUANTITY][i], TEST_IN_AIR, "row %zu", i);
}

Test(quality, rows_only_doubted_to_be_in_air_are_judged_as_all_others)
{
    config.quality[QUANTITY].sensor_max = 10;
    struct record record = series("1 99 1");
    for (size_t i = 0; i < 3; i++) {
        record.flag[QUANTITY][i] = FLAG_SUSPECT;
        record.tests[QUANTITY][i] = TEST_IN_AIR;
    }
    judge(&record);
    cr_expect_str_eq(flags_of(&record), "343");
}

Test(quality, what_a_person_struck_judges_no_neighbour)
{
    config.quality[QUANTITY].spike_suspect = 0.1;
    config.quality[QUANTITY].spike_fail = 0.2;
    struct record record = series("1 1 9 1 1 1");
    record.flag[QUANTITY][2] = FLAG_FAIL;
    record.tests[QUANTITY][2] = TEST_PERSON_STRUCK;
    judge(&record);
    cr_expect_str_eq(flags_of(&record), "224212");
    cr_expect_eq(record.tests[QUANTITY][2], TEST_PERSON_STRUCK);
}

Test(quality, what_a_person_restored_keeps_its_flag_and_shows_which_test_objected)
{
    config.quality[QUANTITY].sensor_max = 5;
    struct record record = series("1 9 1");
    record.flag[QUANTITY][1] = FLAG_PASS;
    record.tests[QUANTITY][1] = TEST_PERSON_RESTORED;
    judge(&record);
    cr_expect_str_eq(flags_of(&record), "111");
    cr_expect_eq(record.tests[QUANTITY][1], TEST_PERSON_RESTORED | TEST_GROSS_RANGE);
}

Test(quality, before_the_chain_only_range_and_missing_are_tested)
{
    every_test(STEP, 2 * STEP);
    struct record record = series("1 1 1 3 1 - 6 20");
    quality_before(&config, &station, &record);
    cr_expect_str_eq(flags_of(&record), "11111934");
    cr_expect_str_eq(bits_of(&record, TEST_GROSS_RANGE), "......xx");
    cr_expect_str_eq(bits_of(&record, ~(uint32_t)TEST_GROSS_RANGE), "........");
}

Test(quality, a_station_has_its_own_limits)
{
    config.quality[QUANTITY].usual_max = 5;
    struct quality_override own = {QUANTITY, quality_inherited};
    own.limits.usual_max = 2;
    station.quality = &own;
    station.quality_count = 1;
    struct record record = series("1 3 6");
    judge(&record);
    cr_expect_str_eq(flags_of(&record), "133");
}

Test(quality, no_rows_and_one_row_are_fine)
{
    every_test(STEP, 2 * STEP);
    struct record none = series(""), one = series("1");
    judge(&none);
    judge(&one);
    cr_expect_str_eq(flags_of(&none), "");
    cr_expect_str_eq(flags_of(&one), "1");
}

Test(quality, the_lead_in_reaches_beyond_the_longest_flat_test)
{
    config.quality[QUANTITY].flat_suspect = 24 * HOUR_MS;
    config.quality[QUANTITY_TEMPERATURE].flat_fail = 72 * HOUR_MS;
    cr_expect_geq(quality_lead_in(&config, &station), 72 * HOUR_MS + 3 * STEP);
    struct quality_override own = {QUANTITY_TEMPERATURE, quality_inherited};
    own.limits.flat_fail = 0;
    station.quality = &own;
    station.quality_count = 1;
    int64_t shorter = quality_lead_in(&config, &station);
    cr_expect(shorter >= 24 * HOUR_MS + 3 * STEP && shorter < 72 * HOUR_MS);
}

/* The promise that lets a span be derived without the years before it. */
Test(quality, a_lead_in_gives_the_same_flags_as_the_whole_history)
{
    uint64_t state = 20260301;
    size_t compared = 0, flat = 0;
    for (int round = 0; round < 400; round++) {
        arena_reset(arena);
        const int64_t steps[] = {MINUTE_MS, 5 * MINUTE_MS, 15 * MINUTE_MS, HOUR_MS, 3 * HOUR_MS};
        int64_t step = steps[random_index(&state, COUNT_OF(steps))];
        set_random_limits(&state, step);
        struct record history = random_history(&state, 400, step), whole, part;
        copy_record(&whole, &history, 0, history.n);
        quality_after(&config, &station, step, NULL, &whole);
        for (int look = 0; look < 5; look++) {
            size_t at = random_index(&state, history.n);
            size_t first = record_at_or_after(&history, history.time[at] - quality_lead_in(&config, &station));
            size_t last = record_at_or_after(&history, history.time[at] + quality_lead_out() + 1);
            copy_record(&part, &history, first, last);
            quality_after(&config, &station, step, NULL, &part);
            cr_assert_eq(part.flag[QUANTITY][at - first], whole.flag[QUANTITY][at], "round %d, row %zu", round, at);
            cr_assert_eq(part.tests[QUANTITY][at - first], whole.tests[QUANTITY][at], "round %d, row %zu", round, at);
            compared += first > 0;
            flat += (whole.tests[QUANTITY][at] & TEST_FLAT) != 0;
        }
    }
    cr_expect_gt(compared, 500);
    cr_expect_gt(flat, 50);
}

/* Growing records: only the last row may still be judged, by what follows it. */
Test(quality, one_more_sample_changes_no_flag_but_the_spike_of_the_one_before)
{
    uint64_t state = 77;
    size_t changed = 0;
    for (int round = 0; round < 60; round++) {
        arena_reset(arena);
        int64_t step = 5 * MINUTE_MS;
        set_random_limits(&state, step);
        struct record history = random_history(&state, 120, step), before, after;
        copy_record(&before, &history, 0, 1);
        quality_after(&config, &station, step, NULL, &before);
        for (size_t n = 2; n <= history.n; n++) {
            copy_record(&after, &history, 0, n);
            quality_after(&config, &station, step, NULL, &after);
            size_t same = n - 2; /* rows that have had their next sample */
            cr_assert(memcmp(before.flag[QUANTITY], after.flag[QUANTITY], same) == 0, "round %d, %zu rows", round, n);
            cr_assert(memcmp(before.tests[QUANTITY], after.tests[QUANTITY], same * sizeof(uint32_t)) == 0);
            uint32_t newly = before.tests[QUANTITY][same] ^ after.tests[QUANTITY][same];
            cr_assert_eq(newly & ~(uint32_t)TEST_SPIKE, 0, "round %d, %zu rows", round, n);
            changed += newly != 0;
            before = after;
        }
    }
    cr_expect_gt(changed, 20);
}

static struct record series(const char *text)
{
    struct record record;
    record_init(&record, arena, LONGEST_SERIES, 1u << QUANTITY);
    size_t n = 0;
    int64_t next = 1000 * DAY_MS;
    while (*text) {
        if (*text == ' ') {
            text++;
            continue;
        }
        char *end;
        if (*text == '~') {
            next = record.time[n - 1] + strtol(text + 1, &end, 10) * MINUTE_MS;
            text = end;
            continue;
        }
        cr_assert_lt(n, (size_t)LONGEST_SERIES);
        record.value[QUANTITY][n] = strtod(text, &end);
        if (end == text) {
            record.value[QUANTITY][n] = NAN;
            end++;
        }
        record.time[n++] = next;
        next += STEP;
        text = end;
    }
    record.n = n;
    return record;
}

static const char *flags_of(const struct record *record)
{
    char *text = arena_alloc(arena, record->n + 1);
    for (size_t i = 0; i < record->n; i++)
        text[i] = (char)('0' + record->flag[QUANTITY][i]);
    return text;
}

static const char *bits_of(const struct record *record, uint32_t test)
{
    char *text = arena_alloc(arena, record->n + 1);
    for (size_t i = 0; i < record->n; i++)
        text[i] = record->tests[QUANTITY][i] & test ? 'x' : '.';
    return text;
}

static void judge(struct record *record)
{
    quality_after(&config, &station, STEP, NULL, record);
}

/* Runs of equal and nearly equal values, jumps, missing values, pauses, and rows marked by the steps before. */
static struct record random_history(uint64_t *state, size_t n, int64_t step)
{
    struct record record;
    record_init(&record, arena, n, 1u << QUANTITY);
    int64_t time = 1000 * DAY_MS;
    double value = 1;
    for (size_t i = 0; i < n; i++) {
        record.time[i] = time;
        time += random_index(state, 15) == 0 ? random_between(state, 1, 8 * step) : step;
        size_t what = random_index(state, 30);
        if (what == 0)
            value = (double)random_between(state, -20, 80) / 10;
        else if (what < 12)
            value += (double)random_between(state, -10, 10) / 10000;
        bool is_missing = random_index(state, 40) == 0;
        record.value[QUANTITY][i] = is_missing ? NAN : value + (random_index(state, 25) == 0 ? 0.15 : 0);
        if (random_index(state, 40) == 0) {
            const uint32_t marks[] = {TEST_IN_AIR, TEST_PERSON_STRUCK, TEST_SETTLING, TEST_PERSON_RESTORED};
            size_t mark = random_index(state, COUNT_OF(marks));
            record.tests[QUANTITY][i] = marks[mark];
            record.flag[QUANTITY][i] = mark < 2 ? FLAG_FAIL : mark == 2 ? FLAG_SUSPECT : FLAG_PASS;
        }
    }
    return record;
}

static void set_random_limits(uint64_t *state, int64_t step)
{
    config.quality[QUANTITY] = (struct quality_limits){.sensor_min = -1,
                                                       .sensor_max = 7,
                                                       .usual_min = 0,
                                                       .usual_max = 5,
                                                       .spike_suspect = 0.05,
                                                       .spike_fail = 0.2,
                                                       .rate = 3,
                                                       .flat_tolerance = random_index(state, 4) == 0 ? 0 : 0.0012,
                                                       .flat_suspect = random_between(state, 0, 12) * step,
                                                       .flat_fail = random_between(state, 0, 30) * step};
    static struct attenuation attenuated;
    attenuated = (struct attenuation){
        .window = random_between(state, 1, 40) * step, .suspect = 0.1, .fail = random_index(state, 2) ? 0.01 : 0};
    config.quality[QUANTITY].attenuated = random_index(state, 3) ? &attenuated : NULL;
}

static void copy_record(struct record *to, const struct record *from, size_t first, size_t last)
{
    record_init(to, arena, last - first, 1u << QUANTITY);
    for (size_t i = first; i < last; i++) {
        to->time[i - first] = from->time[i];
        to->value[QUANTITY][i - first] = from->value[QUANTITY][i];
        to->flag[QUANTITY][i - first] = from->flag[QUANTITY][i];
        to->tests[QUANTITY][i - first] = from->tests[QUANTITY][i];
    }
}
