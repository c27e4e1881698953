/* SPDX-License-Identifier: MIT */
/* A logger's clock that is wrong by hours: found on made-up weeks whose truth is known, and looked for in vain where
 * the clock is right, the waves are high or the barometer is coarse. No published source. */
#include "derive/clock_watch.h"

#include "base/random.h"
#include "base/timestamp.h"
#include "derive/pair.h"
#include "derive/sheet.h"
#include "support/world.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define START (INT64_C(2900) * PAIR_WEEK + 4 * DAY_MS) /* a Monday */
#define LOCAL (-5 * HOUR_MS)                           /* Apalachicola keeps Eastern Standard Time */
#define MINE 7                                         /* number of the barometer */
enum { WEEKS = 8, MOST_NOTES = 16 };

/* What the water does, and how well it is measured. */
struct creek {
    int64_t interval;
    double gust;         /* of the air in 15 min, standard deviation [Pa] */
    double tide, waves;  /* Pa: amplitude; standard deviation of each sample */
    double resolution;   /* of the barometer [Pa] */
    double distance;     /* of the barometer [m] */
    int64_t ahead, lead; /* of the logger's clock; of the weather at the barometer [ms] */
};

static const struct creek estuary = {.interval = 15 * MINUTE_MS, .gust = 7, .tide = 3500, .waves = 4, .resolution = 1};

static struct arena *arena;
static struct record record;
static struct note notes[MOST_NOTES];
static size_t note_count;
static struct watched_barometer barometer;
static struct findings findings;

static void set_up(void)
{
    arena = arena_new();
    note_count = 0;
    findings = (struct findings){0};
    barometer = (struct watched_barometer){MINE, "hill", 0};
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(clock_watch, .init = set_up, .fini = tear_down);

static double noise(uint64_t *state, double deviation)
{
    double sum = 0;
    for (int k = 0; k < 12; k++)
        sum += (double)random_between(state, 0, 1000000) / 1000000;
    return (sum - 6) * deviation;
}

/* Air by the minute of five, from a day before the start on. */
static double *make_air(double gust, uint64_t *state, size_t *ret_n)
{
    *ret_n = (size_t)((WEEKS * PAIR_WEEK + 4 * DAY_MS) / (5 * MINUTE_MS));
    double *air = arena_array(arena, *ret_n, sizeof *air);
    for (size_t i = 1; i < *ret_n; i++)
        air[i] = 0.9997 * air[i - 1] + noise(state, gust / sqrt(3));
    return air;
}

static double air_at(const double *air, size_t n, int64_t since_start)
{
    double at = (double)(since_start + 2 * DAY_MS) / (double)(5 * MINUTE_MS);
    size_t i = (size_t)at;
    cr_assert_lt(i + 1, n);
    return 101325 + air[i] + (at - (double)i) * (air[i + 1] - air[i]);
}

/* Tides as they are in shallow water, with three that are made there. */
static double water_at(const struct creek *creek, int64_t since_start)
{
    double hours = (double)since_start / (double)HOUR_MS, turn = 2 * acos(-1);
    return 12000 + creek->tide * (cos(turn * hours / 12.42) + 0.3 * cos(turn * hours / 12 + 1) +
                                  0.15 * cos(turn * hours / 6.21 + 0.3) + 0.05 * cos(turn * hours / 4.14 + 2));
}

static void make(const struct creek *creek, uint64_t seed)
{
    uint64_t state = seed;
    size_t n, rows = (size_t)(WEEKS * PAIR_WEEK / creek->interval);
    double *air = make_air(creek->gust, &state, &n);
    record_init(&record, arena, rows,
                1u << QUANTITY_WATER_PRESSURE | 1u << QUANTITY_AIR_PRESSURE | 1u << QUANTITY_DEPTH);
    for (size_t i = 0; i < rows; i++) {
        int64_t stamp = (int64_t)i * creek->interval, was = stamp - creek->ahead;
        record.time[i] = START + stamp;
        record.barometer[i] = MINE;
        record.value[QUANTITY_WATER_PRESSURE][i] =
            air_at(air, n, was) + water_at(creek, was) + noise(&state, creek->waves);
        record.value[QUANTITY_AIR_PRESSURE][i] =
            creek->resolution * round(air_at(air, n, stamp + creek->lead) / creek->resolution);
    }
    barometer.distance = creek->distance;
}

static void find_between(int64_t from, int64_t to)
{
    const struct clock_watch_input input = {.record = &record,
                                            .notes = notes,
                                            .note_count = note_count,
                                            .barometers = &barometer,
                                            .barometer_count = 1,
                                            .marks = {from, to}};
    findings = (struct findings){0};
    clock_watch_find(arena, &input, &findings);
}

static void find(void)
{
    find_between(START, START + WEEKS * PAIR_WEEK + 1);
}

/* Weeks that are said to be wrong by `lag`; all of one kind. */
static size_t found(enum finding_kind kind, int64_t lag)
{
    size_t n = 0;
    for (size_t k = 0; k < findings.count; k++)
        n += findings.list[k].kind == kind && llabs((int64_t)findings.list[k].value - lag) <= MINUTE_MS;
    return n;
}

Test(clock_watch, a_clock_that_is_right_is_left_alone)
{
    for (uint64_t seed = 1; seed <= 8; seed++) {
        make(&estuary, seed);
        find();
        cr_expect_eq(findings.count, 0, "seed %d", (int)seed);
    }
}

Test(clock_watch, a_clock_that_is_wrong_is_found_each_week_with_its_lag_and_sign)
{
    const int64_t lags[] = {HOUR_MS,      -HOUR_MS,     30 * MINUTE_MS, -30 * MINUTE_MS, 15 * MINUTE_MS,
                            -5 * HOUR_MS, 10 * HOUR_MS, 12 * HOUR_MS,   345 * MINUTE_MS, -14 * HOUR_MS};
    for (size_t k = 0; k < COUNT_OF(lags); k++) {
        struct creek creek = estuary;
        creek.ahead = lags[k];
        make(&creek, k + 1);
        find();
        cr_expect_eq(found(FINDING_CLOCK_LAG, lags[k]), WEEKS, "moved by %d min: %zu of %zu",
                     (int)(lags[k] / MINUTE_MS), found(FINDING_CLOCK_LAG, lags[k]), findings.count);
        cr_expect_eq(findings.count, WEEKS);
    }
}

Test(clock_watch, the_words_say_lag_sureness_and_what_to_do)
{
    struct creek creek = estuary;
    creek.ahead = HOUR_MS;
    make(&creek, 3);
    find();
    cr_assert_gt(findings.count, 0);
    const struct finding *f = &findings.list[findings.count - 1];
    cr_expect(f->wants_hand && f->quantity == QUANTITY_COUNT && f->span.from == START + WEEKS * PAIR_WEEK);
    cr_expect(strstr(f->text, "'hill' best 1 h later than stamped (sure: correlation 0."), "%s", f->text);
    cr_expect(strstr(f->text, "stands 1 h ahead of the barometer's") && strstr(f->text, "nothing was moved") &&
              strstr(f->text, "next visit") && strstr(f->text, "standard errors"));
    printf("%s\n", f->text);
}

Test(clock_watch, five_minutes_ten_minutes_and_an_hour_between_samples)
{
    const int64_t intervals[] = {5 * MINUTE_MS, 10 * MINUTE_MS, 30 * MINUTE_MS, HOUR_MS};
    for (size_t k = 0; k < COUNT_OF(intervals); k++) {
        struct creek creek = estuary;
        creek.interval = intervals[k];
        creek.gust = 14; /* fewer samples need more air */
        make(&creek, k + 1);
        find();
        cr_expect_eq(findings.count, 0, "every %d min", (int)(intervals[k] / MINUTE_MS));
        creek.ahead = 2 * HOUR_MS;
        make(&creek, k + 1);
        find();
        cr_expect_geq(found(FINDING_CLOCK_LAG, creek.ahead), WEEKS - 1, "every %d min: %zu",
                      (int)(intervals[k] / MINUTE_MS), findings.count);
    }
}

Test(clock_watch, where_waves_drown_the_air_nothing_is_said)
{
    struct creek creek = estuary;
    creek.ahead = HOUR_MS;
    creek.waves = 150;
    make(&creek, 5);
    find();
    cr_expect_eq(findings.count, 0);
}

Test(clock_watch, where_the_air_stands_still_nothing_is_said)
{
    struct creek creek = estuary;
    creek.ahead = HOUR_MS;
    creek.gust = 0;
    make(&creek, 5);
    find();
    cr_expect_eq(findings.count, 0);
}

/* A front passes a barometer 40 km away an hour earlier. */
Test(clock_watch, weather_that_travels_is_no_clock)
{
    struct creek creek = estuary;
    creek.lead = HOUR_MS;
    creek.distance = 40000;
    make(&creek, 6);
    find();
    cr_expect_eq(findings.count, 0);
    barometer.distance = 2000; /* beside the station it is one */
    find();
    cr_expect_eq(found(FINDING_CLOCK_LAG, HOUR_MS), WEEKS);
}

Test(clock_watch, another_air_agrees_at_no_lag)
{
    struct record other;
    make(&estuary, 8);
    other = record;
    make(&estuary, 9);
    record.value[QUANTITY_AIR_PRESSURE] = other.value[QUANTITY_AIR_PRESSURE];
    find();
    cr_expect_eq(findings.count, 0);
}

/* As a service does that is stopped and started: each week judged alone, from no more rows than it looks back on. */
Test(clock_watch, a_week_judged_alone_says_the_same)
{
    struct creek creek = estuary;
    creek.ahead = HOUR_MS;
    make(&creek, 4);
    find();
    const struct findings all = findings;
    const struct record whole = record;
    cr_assert_eq(all.count, WEEKS);
    for (size_t k = 0; k < all.count; k++) {
        int64_t mark = all.list[k].span.from;
        record = record_between(&whole, mark - CLOCK_WATCH_REACH, mark);
        find_between(mark - DAY_MS, mark + 1);
        cr_assert_eq(findings.count, 1);
        cr_expect_str_eq(findings.list[0].text, all.list[k].text);
        record = whole;
    }
}

static struct note *add_note(enum note_kind kind, int64_t time)
{
    cr_assert_lt(note_count, MOST_NOTES);
    notes[note_count] = (struct note){.kind = kind, .time = time, .until = INT64_MIN, .text = ""};
    return &notes[note_count++];
}

/* Rows from `from` to `to` hang in air. */
static void lift(int64_t from, int64_t to)
{
    for (size_t i = record_at_or_after(&record, from); i < record.n && record.time[i] < to; i++)
        record.value[QUANTITY_WATER_PRESSURE][i] = record.value[QUANTITY_AIR_PRESSURE][i] + 40;
}

/* A new deployment keeps right time: what was so before it does not reach across. */
Test(clock_watch, a_clock_set_right_at_a_visit_is_not_blamed_for_before)
{
    struct creek creek = estuary;
    make(&creek, 2);
    struct record right = record;
    creek.ahead = HOUR_MS;
    make(&creek, 2);
    int64_t visit = START + 4 * PAIR_WEEK;
    for (size_t i = record_at_or_after(&record, visit); i < record.n; i++)
        record.value[QUANTITY_WATER_PRESSURE][i] = right.value[QUANTITY_WATER_PRESSURE][i];
    add_note(NOTE_OUT_OF_WATER, visit - HOUR_MS);
    add_note(NOTE_IN_WATER, visit);
    find();
    cr_expect_eq(found(FINDING_CLOCK_LAG, HOUR_MS), 4, "%zu", findings.count);
    cr_expect_eq(findings.count, 4);
}

/* ---- by the notes ---- */

enum { VISITS = 4 };

/* Out for 40 min on Wednesdays; noted to the minute, seen `late` later. */
static void visit(int64_t late)
{
    for (size_t k = 0; k < VISITS; k++) {
        int64_t out = START + (int64_t)k * PAIR_WEEK + 2 * DAY_MS + 15 * HOUR_MS + 7 * MINUTE_MS;
        add_note(NOTE_OUT_OF_WATER, out);
        add_note(NOTE_IN_WATER, out + 40 * MINUTE_MS);
        lift(out + late, out + late + 40 * MINUTE_MS);
    }
}

static void make_still(int64_t interval)
{
    struct creek creek = estuary;
    creek.interval = interval;
    creek.gust = 0;
    make(&creek, 1);
}

Test(clock_watch, moves_at_other_times_than_noted_are_found)
{
    make_still(5 * MINUTE_MS);
    visit(HOUR_MS);
    find();
    cr_expect_eq(found(FINDING_MOVES_LAG, HOUR_MS), findings.count);
    cr_assert_eq(findings.count, VISITS, "%zu", findings.count);
    cr_expect(strstr(findings.list[1].text, "1 h later than noted (4 of 4 moves agree)"), "%s", findings.list[1].text);
    cr_expect(findings.list[0].wants_hand && strstr(findings.list[0].text, "next visit"));
}

Test(clock_watch, moves_as_noted_are_none)
{
    const int64_t late[] = {0, 3 * MINUTE_MS, -6 * MINUTE_MS};
    for (size_t k = 0; k < COUNT_OF(late); k++) {
        note_count = 0;
        make_still(5 * MINUTE_MS);
        visit(late[k]);
        find();
        cr_expect_eq(findings.count, 0, "%d min", (int)(late[k] / MINUTE_MS));
    }
}

Test(clock_watch, moves_that_do_not_agree_are_none)
{
    make_still(5 * MINUTE_MS);
    visit(HOUR_MS);
    for (size_t k = 0; k < note_count; k++)
        notes[k].time -= (int64_t)k * 37 * MINUTE_MS;
    find();
    cr_expect_eq(findings.count, 0);
}

/* A station that falls dry at each low water says nothing about notes that no step stands beside. */
Test(clock_watch, a_station_that_falls_dry_by_itself_is_not_judged)
{
    make_still(5 * MINUTE_MS);
    for (int64_t low = START; low < START + WEEKS * PAIR_WEEK; low += 745 * MINUTE_MS)
        lift(low, low + 90 * MINUTE_MS);
    for (size_t k = 0; k < VISITS; k++) {
        add_note(NOTE_OUT_OF_WATER, START + (int64_t)k * PAIR_WEEK + 2 * DAY_MS + 4 * HOUR_MS);
        add_note(NOTE_IN_WATER, START + (int64_t)k * PAIR_WEEK + 2 * DAY_MS + 5 * HOUR_MS);
    }
    find();
    cr_expect_eq(findings.count, 0);
}

/* ---- rates for the tables of DEVELOPERS.md ---- */

static void report(const char *what, size_t hits, size_t weeks, size_t alarms, size_t right_weeks)
{
    world_add("rate | clock, %s | %zu of %zu (%.1f %%) | %zu of %zu (%.2f %%) |", what, hits, weeks,
              100.0 * (double)hits / (double)weeks, alarms, right_weeks, 100.0 * (double)alarms / (double)right_weeks);
}

/* Weeks found that are wrong by an hour, half an hour and five, and false alarms of a right clock. */
static void rate(const char *what, const struct creek *creek, double least)
{
    const int64_t lags[] = {HOUR_MS, 30 * MINUTE_MS, -5 * HOUR_MS};
    size_t hits = 0, alarms = 0, said = 0;
    enum { SEEDS = 10 };
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct creek moved = *creek;
        make(&moved, seed);
        find();
        alarms += findings.count;
        for (size_t k = 0; k < COUNT_OF(lags); k++) {
            moved.ahead = lags[k];
            make(&moved, seed);
            find();
            hits += found(FINDING_CLOCK_LAG, lags[k]);
            said += findings.count;
        }
    }
    size_t weeks = SEEDS * WEEKS * COUNT_OF(lags);
    report(what, hits, weeks, alarms, (size_t)SEEDS * WEEKS);
    cr_expect_eq(said, hits, "%s: %zu of a wrong lag", what, said - hits);
    cr_expect_eq(alarms, 0, "%s", what);
    cr_expect_geq((double)hits, least * (double)weeks, "%s: %zu of %zu", what, hits, weeks);
}

Test(clock_watch, rates_by_waves_tide_and_barometer)
{
    struct creek creek = estuary;
    rate("made-up estuary, tide 0.35 m", &creek, 1);
    creek.tide = 20000;
    rate("made-up estuary, tide 2 m", &creek, 0.9);
    creek = estuary;
    creek.waves = 20;
    rate("made-up estuary, waves of 2 mm", &creek, 0.8);
    creek = estuary;
    creek.resolution = 10;
    rate("made-up estuary, barometer to 0.1 hPa", &creek, 0.9);
    creek.resolution = 100;
    rate("made-up estuary, barometer to 1 hPa", &creek, 0);
}

/* Public data, CC0: see tests/derive/test_open_data.c. Depth is rounded to 1 cm, air to 1 hPa. */
static void read_estuary(int64_t ahead)
{
    enum { MOST = 36000 };
    struct sheet *sheet = sheet_open("nerrs-apalachicola/apacpwq_2012.csv");
    record_init(&record, arena, MOST, 1u << QUANTITY_WATER_PRESSURE | 1u << QUANTITY_AIR_PRESSURE);
    for (record.n = 0; record.n < MOST && sheet_next(sheet); record.n++) {
        record.time[record.n] = sheet_time(sheet, "datetimestamp", LOCAL) + ahead;
        record.value[QUANTITY_WATER_PRESSURE][record.n] = 100 * (1013 + 100 * sheet_number(sheet, "depth"));
        record.barometer[record.n] = MINE;
    }
    sheet_close(sheet);
    sheet = sheet_open("nerrs-apalachicola/apaebmet_2012.csv");
    while (sheet_next(sheet)) {
        int64_t time = sheet_time(sheet, "datetimestamp", LOCAL);
        size_t i = record_at_or_after(&record, time);
        if (i < record.n && record.time[i] == time)
            record.value[QUANTITY_AIR_PRESSURE][i] = 100 * sheet_number(sheet, "bp");
    }
    sheet_close(sheet);
    find_between(record.time[0], record.time[record.n - 1]);
}

Test(clock_watch, a_real_year_of_coarse_pressure_is_left_alone)
{
    read_estuary(0);
    size_t weeks = (size_t)((record.time[record.n - 1] - record.time[0]) / PAIR_WEEK), alarms = findings.count,
           hits = 0;
    cr_expect_eq(alarms, 0);
    const int64_t lags[] = {HOUR_MS, 30 * MINUTE_MS, -5 * HOUR_MS};
    for (size_t k = 0; k < COUNT_OF(lags); k++) {
        read_estuary(lags[k]);
        hits += found(FINDING_CLOCK_LAG, lags[k]);
        cr_expect_eq(findings.count, found(FINDING_CLOCK_LAG, lags[k]));
    }
    report("estuary 2012, written to 1 cm and 1 hPa", hits, COUNT_OF(lags) * weeks, alarms, weeks);
}
