/* SPDX-License-Identifier: MIT */
#include "derive/logger_clock.h"

#include "base/random.h"
#include "base/timestamp.h"
#include "derive/site.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define START SITE_START
#define INTERVAL (15 * MINUTE_MS)

static struct arena *arena;
static struct site site;

static void set_up(void)
{
    arena = arena_new();
    site_init(&site, arena, 1, INTERVAL, 0);
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(logger_clock, .init = set_up, .fini = tear_down);

static int64_t day(double days)
{
    return START + llround(days * (double)DAY_MS);
}

static int64_t true_time(int64_t raw)
{
    int64_t ret;
    logger_clock_correct(arena, 1, &raw, site.note_count, site.notes, INTERVAL, &ret);
    return ret;
}

/* At true time `days` the logger showed so many seconds more. */
static void check_at(double days, int64_t fast)
{
    site_clock_check(&site, day(days), day(days) + fast * SECOND_MS);
}

static void expect_error(double days, int64_t fast, const char *what)
{
    int64_t raw = day(days), got = raw - true_time(raw);
    cr_expect(llabs(got - fast * SECOND_MS) <= 50, "%s: day %g is corrected by %lld ms, expected %lld s", what, days,
              (long long)got, (long long)fast);
}

Test(logger_clock, without_notes_nothing_changes)
{
    expect_error(0, 0, "no notes");
    site_note(&site, NOTE_REMARK, day(1), NAN);
    site_note(&site, NOTE_LEVEL, day(2), 1.2);
    expect_error(3, 0, "other notes");
}

Test(logger_clock, the_error_is_linear_between_two_checks_and_constant_around_them)
{
    check_at(10, 60);
    check_at(20, 180);
    expect_error(0, 60, "before the first");
    expect_error(10.001, 60, "at the first");
    expect_error(12.5, 90, "a quarter on");
    expect_error(15, 120, "half-way");
    expect_error(20.01, 180, "after the last");
    expect_error(90, 180, "long after");
}

/* A clock 30 s fast after a day: 43200 s is 43185.005 s (own computation, the check value of science/clock.h). */
Test(logger_clock, a_clock_set_when_it_entered_the_water_drifts_from_there)
{
    site_note(&site, NOTE_IN_WATER, START, NAN);
    site_clock_check(&site, START + DAY_MS, START + DAY_MS + 31 * SECOND_MS);
    int64_t raw = START + 43200 * SECOND_MS;
    double shown = (double)(DAY_MS + 31 * SECOND_MS);
    cr_expect_eq(true_time(raw), raw - llround(43200e3 * 31e3 / shown));
    expect_error(-1, 0, "before it entered");
}

Test(logger_clock, entering_the_water_says_nothing_about_the_time_before_it)
{
    site_note(&site, NOTE_IN_WATER, day(0), NAN);
    check_at(10, 200);
    site_note(&site, NOTE_OUT_OF_WATER, day(20), NAN);
    site_note(&site, NOTE_IN_WATER, day(20.2), NAN);
    expect_error(5, 100, "first half");
    expect_error(15, 200, "constant after the last check, up to the setting");
    expect_error(20.3, 0, "set when it entered");
    check_at(30.2, -100);
    expect_error(25.2, -50, "slow from there");
}

Test(logger_clock, a_check_within_two_hours_of_entering_speaks_for_itself)
{
    site_note(&site, NOTE_IN_WATER, day(0), NAN);
    site_clock_check(&site, day(0) + 2 * HOUR_MS, day(0) + 2 * HOUR_MS + 120 * SECOND_MS);
    expect_error(-1, 120, "before");
    expect_error(5, 120, "after");
    site.note_count = 0;
    site_note(&site, NOTE_IN_WATER, day(0), NAN);
    site_clock_check(&site, day(0) + 2 * HOUR_MS + 1, day(0) + 2 * HOUR_MS + 120 * SECOND_MS);
    expect_error(-1, 0, "a little later it was set when it entered");
}

/* Small: up to 30 s, and up to a twentieth of the interval (45 s at 15 min, 15 s at 5 min). */
Test(logger_clock, small_errors_are_left_and_do_not_turn_large_with_others)
{
    check_at(10, 30);
    expect_error(20, 0, "30 s");
    site.note_count = 0;
    check_at(10, 31);
    expect_error(20, 31, "31 s");
    int64_t raw = day(20), ret;
    site.note_count = 0;
    check_at(10, 16);
    logger_clock_correct(arena, 1, &raw, site.note_count, site.notes, 5 * MINUTE_MS, &ret);
    cr_expect_eq(raw - ret, 16 * SECOND_MS);
    check_at(-300, 300);
    check_at(-200, 10);
    expect_error(0, 0, "one large error years ago changes nothing here");
    expect_error(-250, 150, "and fades to nothing");
}

Test(logger_clock, a_slip_of_an_hour_is_left_out)
{
    check_at(0, 0);
    check_at(10, 60);
    check_at(15, 3600);
    check_at(16, -600);
    check_at(20, 160);
    expect_error(15, 110, "between the checks around it");
    site.note_count = 0;
    check_at(10, 599);
    expect_error(10, 599, "just below ten minutes");
}

Test(logger_clock, a_check_that_nobody_filled_in_is_left_out)
{
    site_clock_check(&site, day(10), TIME_NONE);
    expect_error(10, 0, "no reading");
}

Test(logger_clock, a_second_check_at_the_same_visit_tells_that_the_clock_was_set)
{
    check_at(0, 0);
    check_at(30, 300);
    check_at(30 + 1. / 1440, 0);
    check_at(60, 300);
    expect_error(15, 150, "the first month");
    expect_error(29.9, 299, "its end");
    expect_error(45, 150, "the second");
}

/* Whatever the crew wrote, rows keep their order, and none is moved by more than a slip. */
Test(logger_clock, the_result_ascends_strictly_whatever_the_notes_say)
{
    enum { ROWS = 400 };
    uint64_t state = 11;
    for (int round = 0; round < 300; round++) {
        arena_reset(arena);
        site_init(&site, arena, ROWS, random_between(&state, 1, 20) * MINUTE_MS, 0);
        for (size_t k = random_index(&state, 12); k > 0; k--) {
            int64_t at = site_row(&site, random_index(&state, ROWS)) + random_between(&state, -HOUR_MS, HOUR_MS);
            switch (random_index(&state, 3)) {
            case 0: site_note(&site, NOTE_IN_WATER, at, NAN); break;
            case 1: site_note(&site, NOTE_OUT_OF_WATER, at, NAN); break;
            default: site_clock_check(&site, at, at + random_between(&state, -900, 900) * SECOND_MS); break;
            }
        }
        int64_t ret[ROWS];
        logger_clock_correct(arena, ROWS, site.readings.time, site.note_count, site.notes, site.interval, ret);
        for (size_t i = 0; i < ROWS; i++) {
            cr_assert(i == 0 || ret[i] > ret[i - 1], "round %d, row %zu", round, i);
            cr_assert_lt(llabs(ret[i] - site_row(&site, i)), 2 * CLOCK_SLIP, "round %d, row %zu", round, i);
        }
    }
}

/* ---- what is no drift ---- */

static size_t doubts(struct clock_doubt **ret)
{
    return logger_clock_doubts(arena, site.note_count, site.notes, INTERVAL, ret);
}

Test(logger_clock, a_check_that_is_off_by_an_hour_is_a_zone_and_is_not_used)
{
    struct clock_doubt *list;
    check_at(0, 0);
    check_at(30, 3600 + 20);
    cr_assert_eq(doubts(&list), 1);
    cr_expect(list[0].is_zone && !list[0].is_used && list[0].time == day(30));
    cr_expect_eq(list[0].error, 3620 * SECOND_MS);
}

Test(logger_clock, a_drift_of_a_crystal_and_a_rounded_note_are_no_doubt)
{
    struct clock_doubt *list;
    check_at(0, 0);
    check_at(1, 60); /* noted to the minute */
    check_at(40, 100);
    check_at(70, -90);
    cr_expect_eq(doubts(&list), 0);
}

Test(logger_clock, five_minutes_in_ten_days_is_doubted_and_used)
{
    struct clock_doubt *list;
    site_note(&site, NOTE_IN_WATER, day(0), NAN);
    check_at(10, -300);
    cr_assert_eq(doubts(&list), 1);
    cr_expect(!list[0].is_zone && list[0].is_used && list[0].error == -300 * SECOND_MS);
}

Test(logger_clock, a_first_check_is_judged_as_if_a_month_had_passed)
{
    struct clock_doubt *list;
    check_at(10, 200);
    cr_expect_eq(doubts(&list), 0);
    check_at(10.01, 12 * 60);
    cr_assert_eq(doubts(&list), 1);
    cr_expect(!list[0].is_used);
}

Test(logger_clock, the_record_tells_of_a_slip_in_words)
{
    site_init(&site, arena, 200, INTERVAL, 1u << QUANTITY_TEMPERATURE);
    site_fill(&site, QUANTITY_TEMPERATURE, 12);
    check_at(1, -1800);
    struct derived derived = site_derive(&site);
    size_t told = 0;
    for (size_t k = 0; k < derived.findings.count; k++)
        told += derived.findings.list[k].kind == FINDING_CLOCK_CHECK &&
                strstr(derived.findings.list[k].text, "noted 30 min behind true time: no drift") &&
                derived.findings.list[k].wants_hand && derived.findings.list[k].value == -1800000;
    cr_expect_eq(told, 1);
    cr_expect_eq(derived.record.time[100], derived.record.raw_time[100]);
}
