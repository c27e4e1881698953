/* SPDX-License-Identifier: MIT */
#include "derive/air.h"

#include "base/random.h"
#include "derive/site.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define GRAVITY 9.80665

static struct arena *arena;
static struct site site;

static void set_up(void)
{
    arena = arena_new();
    site_init(&site, arena, 1, HOUR_MS, 0);
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(air, .init = set_up, .fini = tear_down);

struct answer {
    double pressure;
    uint32_t barometer;
    int64_t gap;
};

/* At `minute` since the start, with the first `source_count` sources. */
static struct answer ask(double minute, size_t source_count, int64_t largest_gap)
{
    int64_t time = site_minute(minute);
    struct answer answer;
    air_pressure_at(1, &time, source_count, site.sources, site.station.elevation, GRAVITY, largest_gap,
                    &answer.pressure, &answer.barometer, &answer.gap);
    return answer;
}

static void expect_answer(double minute, size_t source_count, int64_t largest_gap, double pressure, uint32_t barometer,
                          int64_t gap_minutes)
{
    struct answer got = ask(minute, source_count, largest_gap);
    cr_expect(isnan(pressure) ? isnan(got.pressure) : fabs(got.pressure - pressure) < 0.005,
              "minute %g: %g Pa, expected %g", minute, got.pressure, pressure);
    cr_expect_eq(got.barometer, barometer, "minute %g: barometer %u", minute, got.barometer);
    cr_expect_eq(got.gap, gap_minutes * MINUTE_MS, "minute %g: gap %lld ms", minute, (long long)got.gap);
}

/* Readings of a source at these minutes; pressure NaN: an empty cell. */
static void set_source(size_t k, size_t n, const double *minutes, const double *pressures)
{
    site.sources[k].readings = site_air(arena, SITE_START, n, 1, 0);
    for (size_t i = 0; i < n; i++) {
        site.sources[k].readings.time[i] = site_minute(minutes[i]);
        site.sources[k].readings.value[QUANTITY_AIR_PRESSURE][i] = pressures[i];
    }
}

Test(air, the_first_source_that_covers_an_instant_is_used_sample_by_sample)
{
    set_source(0, 4, (double[]){0, 60, 600, 660}, (double[]){100000, 100060, 100600, 100660});
    set_source(1, 3, (double[]){-60, 300, 660}, (double[]){99000, 99300, 99660});
    int64_t largest = 6 * HOUR_MS;
    expect_answer(30, 2, largest, 100030, 7, 60);
    expect_answer(60, 2, largest, 100060, 7, 0);
    expect_answer(90, 2, largest, 99000 + 300. * 150 / 360, 8, 360);
    expect_answer(630, 2, largest, 100630, 7, 60);
    expect_answer(-30, 2, largest, 99000 + 300. * 30 / 360, 8, 360);
    expect_answer(90, 1, largest, NAN, NO_BAROMETER, 0);
}

Test(air, the_largest_gap_is_still_bridged_and_one_ms_more_is_not)
{
    set_source(0, 2, (double[]){0, 60}, (double[]){100000, 100060});
    expect_answer(15, 1, HOUR_MS, 100015, 7, 60);
    expect_answer(15, 1, HOUR_MS - 1, NAN, NO_BAROMETER, 0);
    expect_answer(60, 1, 0, 100060, 7, 0);
}

Test(air, nothing_is_extrapolated_and_both_ends_count)
{
    set_source(0, 2, (double[]){0, 60}, (double[]){100000, 100060});
    expect_answer(0, 1, HOUR_MS, 100000, 7, 0);
    expect_answer(60, 1, HOUR_MS, 100060, 7, 0);
    expect_answer(-1. / 60000, 1, HOUR_MS, NAN, NO_BAROMETER, 0);
    expect_answer(60 + 1. / 60000, 1, HOUR_MS, NAN, NO_BAROMETER, 0);
}

Test(air, without_a_source_or_its_readings_there_is_none)
{
    expect_answer(0, 0, HOUR_MS, NAN, NO_BAROMETER, 0);
    site.sources[0].readings = (struct readings){0};
    expect_answer(0, 1, HOUR_MS, NAN, NO_BAROMETER, 0);
    readings_init(&site.sources[0].readings, arena, 2, 1u << QUANTITY_AIR_TEMPERATURE);
    expect_answer(0, 1, HOUR_MS, NAN, NO_BAROMETER, 0);
}

Test(air, a_reading_without_a_pressure_is_no_reading)
{
    set_source(0, 3, (double[]){0, 30, 60}, (double[]){100000, NAN, 100060});
    set_source(1, 2, (double[]){0, 60}, (double[]){99000, 99000});
    expect_answer(15, 2, HOUR_MS, 100015, 7, 60);
    expect_answer(30, 2, HOUR_MS, 100030, 7, 60);
    expect_answer(30, 2, HOUR_MS - 1, NAN, NO_BAROMETER, 0);
    set_source(0, 2, (double[]){0, 60}, (double[]){NAN, 100060});
    expect_answer(15, 2, HOUR_MS, 99000, 8, 60);
}

/* Check values of science/air.h: 101325 Pa, 10 m up, 15 degC: 101204.94 Pa; the others computed apart from the program,
 * P exp(-g z / (287.0528 T)). */
Test(air, the_pressure_is_carried_to_the_stations_elevation)
{
    set_source(0, 1, (double[]){0}, (double[]){101325});
    struct readings *r = &site.sources[0].readings;
    site.station.elevation = 10;
    readings_init(r, arena, 1, 1u << QUANTITY_AIR_PRESSURE | 1u << QUANTITY_AIR_TEMPERATURE);
    r->time[0] = SITE_START;
    r->value[QUANTITY_AIR_PRESSURE][0] = 101325;
    r->value[QUANTITY_AIR_TEMPERATURE][0] = 15;
    expect_answer(0, 1, 0, 101204.94, 7, 0);
    r->value[QUANTITY_AIR_TEMPERATURE][0] = -10;
    expect_answer(0, 1, 0, 101325 * exp(-9.80665 * 10 / (287.0528 * 263.15)), 7, 0);
    /* Without a thermometer: the standard atmosphere's 15 degC less 6.5 per km, at the middle of both. */
    const double standard = 101325 * exp(-9.80665 * 10 / (287.0528 * (288.15 - 0.0065 * 5)));
    r->value[QUANTITY_AIR_TEMPERATURE][0] = NAN;
    expect_answer(0, 1, 0, standard, 7, 0);
    r->value[QUANTITY_AIR_TEMPERATURE] = NULL;
    expect_answer(0, 1, 0, standard, 7, 0);
    site.station.elevation = 0;
    site.barometers[0].elevation = 120;
    expect_answer(0, 1, 0, 101325 * exp(9.80665 * 120 / (287.0528 * (288.15 - 0.0065 * 60))), 7, 0);
}

Test(air, a_broken_thermometer_costs_no_pressure)
{
    struct readings *r = &site.sources[0].readings;
    readings_init(r, arena, 1, 1u << QUANTITY_AIR_PRESSURE | 1u << QUANTITY_AIR_TEMPERATURE);
    r->time[0] = SITE_START;
    r->value[QUANTITY_AIR_PRESSURE][0] = 101325;
    r->value[QUANTITY_AIR_TEMPERATURE][0] = 850;
    site.station.elevation = 10;
    expect_answer(0, 1, 0, 101325 * exp(-9.80665 * 10 / (287.0528 * (288.15 - 0.0065 * 5))), 7, 0);
}

/* Two loggers in one housing, with their own times. */
Test(air, temperature_and_pressure_may_be_recorded_at_different_times)
{
    struct readings *r = &site.sources[0].readings;
    readings_init(r, arena, 6, 1u << QUANTITY_AIR_PRESSURE | 1u << QUANTITY_AIR_TEMPERATURE);
    for (size_t i = 0; i < 6; i++) {
        r->time[i] = site_minute((double)i * 30);
        r->value[i % 2 ? QUANTITY_AIR_TEMPERATURE : QUANTITY_AIR_PRESSURE][i] = i % 2 ? 30 : 101325;
    }
    site.station.elevation = 10;
    expect_answer(45, 1, HOUR_MS, 101325 * exp(-9.80665 * 10 / (287.0528 * 303.15)), 7, 60);
}

Test(air, an_impossible_pressure_is_passed_on_to_the_next_barometer)
{
    set_source(0, 1, (double[]){0}, (double[]){0});
    set_source(1, 1, (double[]){0}, (double[]){99000});
    expect_answer(0, 2, 0, 99000, 8, 0);
}

/* Many instants at once against one at a time. */
Test(air, a_sweep_answers_as_single_questions_do)
{
    enum { ROWS = 200 };
    uint64_t state = 5;
    for (int round = 0; round < 100; round++) {
        arena_reset(arena);
        int64_t time[ROWS];
        for (size_t i = 0; i < ROWS; i++)
            time[i] = (i ? time[i - 1] : SITE_START) + random_between(&state, 1, 40) * MINUTE_MS;
        for (size_t k = 0; k < 2; k++) {
            struct readings *r = &site.sources[k].readings;
            *r = site_air(arena, SITE_START, 60, MINUTE_MS, 0);
            for (size_t i = 0; i < r->n; i++) {
                r->time[i] = (i ? r->time[i - 1] : SITE_START) + random_between(&state, 1, 12) * 10 * MINUTE_MS;
                r->value[QUANTITY_AIR_PRESSURE][i] =
                    random_index(&state, 5) == 0 ? NAN : (double)random_between(&state, 99000, 103000);
            }
        }
        double pressure[ROWS];
        uint32_t barometer[ROWS];
        int64_t gap[ROWS], largest = random_between(&state, 0, 3) * HOUR_MS;
        air_pressure_at(ROWS, time, 2, site.sources, 0, GRAVITY, largest, pressure, barometer, gap);
        for (size_t i = 0; i < ROWS; i++) {
            struct answer one;
            air_pressure_at(1, &time[i], 2, site.sources, 0, GRAVITY, largest, &one.pressure, &one.barometer, &one.gap);
            cr_assert(one.barometer == barometer[i] && one.gap == gap[i], "round %d, row %zu", round, i);
            cr_assert(one.pressure == pressure[i] || (isnan(one.pressure) && isnan(pressure[i])));
            cr_assert_eq(barometer[i] == NO_BAROMETER, isnan(pressure[i]) != 0);
            cr_assert_leq(gap[i], largest);
        }
    }
}

/* Another way to the same distance: unit vectors of both places, and the angle between them from their chord. */
static double chord_distance(double latitude_a, double longitude_a, double latitude_b, double longitude_b)
{
    const double degree = acos(-1) / 180;
    const double a[] = {cos(latitude_a * degree) * cos(longitude_a * degree),
                        cos(latitude_a * degree) * sin(longitude_a * degree), sin(latitude_a * degree)};
    const double b[] = {cos(latitude_b * degree) * cos(longitude_b * degree),
                        cos(latitude_b * degree) * sin(longitude_b * degree), sin(latitude_b * degree)};
    double chord = sqrt(pow(a[0] - b[0], 2) + pow(a[1] - b[1], 2) + pow(a[2] - b[2], 2));
    return 2 * 6371008.8 * asin(fmin(1, chord / 2));
}

Test(air, distances_agree_with_those_by_the_chord)
{
    uint64_t state = 9;
    for (int round = 0; round < 2000; round++) {
        double a[2], b[2];
        a[0] = (double)random_between(&state, -90000, 90000) / 1000;
        a[1] = (double)random_between(&state, -180000, 180000) / 1000;
        double spread = round % 2 ? 1 : 0.01; /* the world, or a neighbourhood */
        b[0] = fmax(-90, fmin(90, a[0] + spread * (double)random_between(&state, -90000, 90000) / 1000));
        b[1] = a[1] + spread * (double)random_between(&state, -180000, 180000) / 1000;
        double expected = chord_distance(a[0], a[1], b[0], b[1]);
        cr_assert(fabs(distance_between(a[0], a[1], b[0], b[1]) - expected) <= 1e-7 * expected + 0.01, "%g %g, %g %g",
                  a[0], a[1], b[0], b[1]);
    }
}

Test(air, known_distances)
{
    const double degree = 6371008.8 * acos(-1) / 180; /* of a great circle */
    cr_expect_float_eq(distance_between(0, 0, 0, 1), degree, 1e-6);
    cr_expect_float_eq(distance_between(45, 7, 46, 7), degree, 1e-6);
    cr_expect_float_eq(distance_between(60, 179.5, 60, -179.5), distance_between(60, 0, 60, 1), 1e-6);
    cr_expect_float_eq(distance_between(90, 0, -90, 77), 180 * degree, 1e-3);
    cr_expect_eq(distance_between(52.1, -1.3, 52.1, -1.3), 0);
}

/* Barometers by id, each so many km north of the station. */
static struct config network(size_t n, const char *const *ids, const double *distances)
{
    struct config config = {.barometer_count = n, .pairing_distance = 30000};
    config.barometers = arena_array(arena, n, sizeof *config.barometers);
    for (size_t k = 0; k < n; k++)
        config.barometers[k] = (struct barometer){
            .id = ids[k], .name = ids[k], .latitude = 45 + distances[k] * 1000 / (6371008.8 * acos(-1) / 180)};
    return config;
}

static void expect_candidates(const struct config *config, const char *expected)
{
    size_t found[8];
    char got[64] = "";
    size_t n = air_candidates(config, &site.station, found);
    for (size_t k = 0; k < n; k++)
        snprintf(got + strlen(got), sizeof got - strlen(got), "%s%s", k ? " " : "", config->barometers[found[k]].id);
    cr_expect_str_eq(got, expected);
}

Test(air, barometers_within_the_pairing_distance_are_taken_nearest_first)
{
    static const char *const ids[] = {"alder", "birch", "cedar", "elm", "fir"};
    struct config config = network(5, ids, (double[]){20, 5, 31, 12, 29.99});
    expect_candidates(&config, "birch elm alder fir");
    config.pairing_distance = 0;
    expect_candidates(&config, "");
    config.barometer_count = 0;
    expect_candidates(&config, "");
}

Test(air, equal_distances_keep_the_order_of_the_settings)
{
    static const char *const ids[] = {"alder", "birch", "cedar", "elm"};
    struct config config = network(4, ids, (double[]){8, 3, 8, 3});
    expect_candidates(&config, "birch elm alder cedar");
}

Test(air, a_station_that_names_its_barometers_gets_those_in_its_own_order_however_far)
{
    static const char *const ids[] = {"alder", "birch", "cedar"};
    static const char *own[] = {"cedar", "nobody", "alder"};
    struct config config = network(3, ids, (double[]){20, 5, 4000});
    site.station.barometers = (struct word_list){own, 3};
    expect_candidates(&config, "cedar alder");
}
