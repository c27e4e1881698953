/* SPDX-License-Identifier: MIT */
/* Two barometers, 10 minutes apart; 'hill' is the preferred one and says 80 Pa more than 'quay'. */
#include "derive/hand_over.h"

#include "base/random.h"
#include "derive/site.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#define GRAVITY 9.80665
#define MORE 80.0
enum { HOURS = 96, READINGS = HOURS * 6 };

static struct arena *arena;
static struct site site;
static struct hand_over_input input;

static double weather(double hours)
{
    return SITE_AIR + 900 * sin(hours / 30);
}

static void set_up(void)
{
    arena = arena_new();
    site_init(&site, arena, 1, 10 * MINUTE_MS, 0);
    for (size_t k = 0; k < 2; k++) {
        struct readings *r = &site.sources[k].readings;
        *r = site_air(arena, SITE_START, READINGS, 10 * MINUTE_MS, 0);
        for (size_t i = 0; i < READINGS; i++)
            r->value[QUANTITY_AIR_PRESSURE][i] = weather((double)i / 6) + (k == 0 ? MORE : 0);
    }
    input = (struct hand_over_input){.source_count = 2,
                                     .sources = site.sources,
                                     .elevation = 0,
                                     .gravity = GRAVITY,
                                     .largest_gap = 3 * HOUR_MS,
                                     .fade = 6 * HOUR_MS};
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(hand_over, .init = set_up, .fini = tear_down);

/* Not a cell of `hill` from hour `from` (not itself) to hour `to`. */
static void silence(size_t k, double from, double to)
{
    for (size_t i = 0; i < READINGS; i++)
        if ((double)i / 6 > from && (double)i / 6 < to)
            site.sources[k].readings.value[QUANTITY_AIR_PRESSURE][i] = NAN;
}

struct answer {
    uint32_t barometer;
    double pressure, shift;
};

static struct answer ask(double hour)
{
    int64_t time = site_minute(60 * hour), gap;
    struct answer a;
    air_pressure_at(1, &time, 2, site.sources, 0, GRAVITY, input.largest_gap, &a.pressure, &a.barometer, &gap);
    hand_over_shifts(&input, 1, &time, &a.barometer, &a.shift);
    a.pressure += a.shift;
    return a;
}

static void expect_shift(double hour, double shift)
{
    struct answer a = ask(hour);
    cr_expect_eq(a.barometer, 8, "hour %g is of the second", hour);
    cr_expect_float_eq(a.shift, shift, 0.3, "hour %g: %g Pa, expected %g", hour, a.shift, shift);
}

Test(hand_over, the_next_barometer_begins_at_the_level_of_the_one_before_and_fades_to_its_own)
{
    silence(0, 20, 1000);
    expect_shift(20.01, MORE);
    expect_shift(23, MORE / 2);
    expect_shift(26, 0);
    expect_shift(50, 0);
    struct answer before = ask(20), after = ask(20 + 1.0 / 60);
    cr_expect_eq(before.shift, 0, "the preferred one is never changed");
    cr_expect_float_eq(before.pressure, after.pressure, 1, "no step: 0.8 hPa would be 8 mm of level");
}

Test(hand_over, the_same_runs_backwards_where_the_preferred_one_is_back)
{
    silence(0, -1, 40);
    expect_shift(33, 0);
    expect_shift(37, MORE / 2);
    expect_shift(39.99, MORE);
    cr_expect_eq(ask(40).shift, 0);
}

Test(hand_over, a_pause_shorter_than_two_fades_is_bridged_by_a_line)
{
    silence(0, 20, 30);
    for (size_t i = 30 * 6; i < READINGS; i++) /* it comes back 40 Pa lower */
        site.sources[0].readings.value[QUANTITY_AIR_PRESSURE][i] -= 40;
    expect_shift(20.01, MORE);
    expect_shift(25, MORE - 20);
    expect_shift(29.99, MORE - 40);
}

Test(hand_over, without_readings_side_by_side_nothing_is_made_up)
{
    silence(0, 20, 1000);
    silence(1, -1, 22.9);
    expect_shift(23, 0);
}

Test(hand_over, no_time_to_fade_switches_it_off)
{
    silence(0, 20, 1000);
    input.fade = 0;
    expect_shift(20.01, 0);
}

Test(hand_over, one_wild_reading_at_the_end_does_not_set_the_level)
{
    silence(0, 20, 1000);
    site.sources[0].readings.value[QUANTITY_AIR_PRESSURE][20 * 6] += 500;
    expect_shift(20.01, MORE);
}

Test(hand_over, a_third_is_handed_over_to_from_what_the_second_had_become)
{
    struct air_source three[3] = {site.sources[0], site.sources[1], site.sources[1]};
    three[2].number = 9;
    three[2].readings = site_air(arena, SITE_START, READINGS, 10 * MINUTE_MS, 0);
    for (size_t i = 0; i < READINGS; i++)
        three[2].readings.value[QUANTITY_AIR_PRESSURE][i] = weather((double)i / 6) - 30;
    silence(0, 20, 1000);
    silence(1, 23, 1000);
    input.sources = three;
    input.source_count = 3;
    const int64_t times[] = {site_minute(60 * 22.99), site_minute(60 * 23.01)};
    const uint32_t barometers[] = {8, 9};
    double shifts[2];
    hand_over_shifts(&input, 2, times, barometers, shifts);
    cr_expect_float_eq(shifts[0], MORE / 2, 0.5);
    cr_expect_float_eq(shifts[1], 30 + MORE / 2, 0.5, "the second's own shift is carried on");
}

Test(hand_over, a_row_alone_and_among_others_is_the_same)
{
    silence(0, 11, 19);
    silence(0, 40, 60);
    silence(1, 44, 48);
    int64_t time[HOURS * 2], gap[HOURS * 2];
    uint32_t barometer[HOURS * 2];
    double pressure[HOURS * 2], shift[HOURS * 2];
    for (size_t i = 0; i < HOURS * 2; i++)
        time[i] = site_minute(30 * (double)i);
    air_pressure_at(HOURS * 2, time, 2, site.sources, 0, GRAVITY, input.largest_gap, pressure, barometer, gap);
    hand_over_shifts(&input, HOURS * 2, time, barometer, shift);
    for (size_t i = 0; i < HOURS * 2; i++)
        cr_expect_eq(shift[i], ask((double)i / 2).shift, "row %zu", i);
}

Test(hand_over, the_chain_has_no_step_and_tells_which_barometer_and_why)
{
    silence(0, 20, 1000);
    struct air_source sources[2] = {site.sources[0], site.sources[1]};
    site_init(&site, arena, 4 * 40, 15 * MINUTE_MS, 1u << QUANTITY_WATER_PRESSURE);
    site.source_count = 2;
    site.sources[0].readings = sources[0].readings;
    site.sources[1].readings = sources[1].readings;
    site.station.sensor_elevation = 0;
    site.config.hand_over = 6 * HOUR_MS;
    for (size_t i = 0; i < site.readings.n; i++)
        site.readings.value[QUANTITY_WATER_PRESSURE][i] = weather((double)i / 4) + MORE + 19600;
    struct derived derived = site_derive(&site);
    const double *level = derived.record.value[QUANTITY_LEVEL];
    for (size_t i = 1; i < site.readings.n; i++)
        cr_expect_lt(fabs(level[i] - level[i - 1]), 0.0005, "row %zu: %.4f m after %.4f m", i, level[i], level[i - 1]);
    const double *u = derived.record.uncertainty[QUANTITY_LEVEL];
    cr_expect(u[4 * 20 + 1] > u[4 * 20] + 0.0001 && u[4 * 26 + 1] < u[4 * 20 + 1] - 0.0001,
              "what bridges the step is doubtful while it lasts: %g, %g, %g m", u[80], u[81], u[105]);
    cr_assert_eq(derived.findings.count, 3);
    cr_expect_eq(derived.findings.list[0].kind, FINDING_AIR_PRESSURE);
    cr_expect(strstr(derived.findings.list[0].text, "from 'hill', 0.0 km away"), "%s", derived.findings.list[0].text);
    cr_expect_eq(derived.findings.list[1].kind, FINDING_AIR_HANDED_OVER);
    cr_expect(strstr(derived.findings.list[1].text, "from 'hill' to 'quay': +0.7"), "%s",
              derived.findings.list[1].text);
    cr_expect_eq(derived.findings.list[2].span.from, derived.findings.list[1].span.from);
}
