/* SPDX-License-Identifier: MIT */
/* What the chain costs, step by step, in nanoseconds a sample: a year of one station at 5 min, with every sensor, two
 * barometers that take turns, monthly visits with hand readings and checks. A table; nothing is asserted.
 *
 *   cmake --build build/gcc --target chain_cost && build/gcc/tests/chain_cost
 *
 * Steps inside derive_finish() are told apart by what each sensor adds to it; below them, what some of its parts cost
 * alone. Each figure is the median of REPEATS runs. */
#include "base/timestamp.h"
#include "derive/clock_watch.h"
#include "derive/derive.h"
#include "derive/hand_over.h"
#include "derive/site.h"
#include "quality/quality.h"
#include "science/gravity.h"
#include "science/level.h"
#include "science/oxygen.h"
#include "science/salinity.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define STEP (5 * MINUTE_MS)
enum { ROWS = 365 * 288, REPEATS = 7, VISITS = 12 };

enum {
    WET = 1u << QUANTITY_TEMPERATURE,
    PRESSURE = 1u << QUANTITY_WATER_PRESSURE,
    SALT = 1u << QUANTITY_CONDUCTIVITY,
    OXYGEN = 1u << QUANTITY_OXYGEN
};

/* Of one run, in ns a sample. */
struct costs {
    double begin, before, finish, after, datum;
};

static struct costs measure(uint32_t columns);
static struct costs run_once(uint32_t columns);
static struct site make_site(struct arena *arena, uint32_t columns);
static double column_value(enum quantity quantity, double hours);
static void add_visits(struct site *site, uint32_t columns);
static void print_parts(void);
static void print_clock(const char *what, int64_t ahead, double resolution);
static double median(double *list, size_t n);
static double now_ns(void);
static void row(const char *what, double nanoseconds);

int main(void)
{
    memory_keep_at_hand(); /* as the service does: fresh pages of the system would cost more than the chain */
    struct costs dry = measure(WET), deep = measure(WET | PRESSURE), salt = measure(WET | PRESSURE | SALT),
                 all = measure(WET | PRESSURE | SALT | OXYGEN);
    printf("%d samples, one station; ns a sample\n", ROWS);
    row("clock, and a copy of what was measured", all.begin);
    row("range and position tests of what was measured", all.before);
    row("in or out of water, temperature and its corrections", dry.finish);
    row("air pressure, hand-over, zero, density, depth, level", deep.finish - dry.finish);
    row("conductivity, its corrections, salinity", salt.finish - deep.finish);
    row("oxygen, its corrections, saturation", all.finish - salt.finish);
    row("quality tests of finished values", all.after);
    row("datum", all.datum);
    row("the whole chain", all.begin + all.before + all.finish + all.after + all.datum);
    print_parts();
    printf("beside the chain, once a week and from the store\n");
    print_clock("clock against the air, right", 0, 1);
    print_clock("the same, an hour wrong: all lags are tried", 12, 1);
    print_clock("the same, air too coarse to tell", 12, 100);
    return EXIT_SUCCESS;
}

static struct costs measure(uint32_t columns)
{
    double list[5][REPEATS];
    run_once(columns); /* so that its memory is there */
    for (size_t k = 0; k < REPEATS; k++) {
        struct costs costs = run_once(columns);
        list[0][k] = costs.begin;
        list[1][k] = costs.before;
        list[2][k] = costs.finish;
        list[3][k] = costs.after;
        list[4][k] = costs.datum;
    }
    return (struct costs){median(list[0], REPEATS), median(list[1], REPEATS), median(list[2], REPEATS),
                          median(list[3], REPEATS), median(list[4], REPEATS)};
}

static struct costs run_once(uint32_t columns)
{
    struct arena *arena = arena_new();
    struct site site = make_site(arena, columns);
    struct derive_input input = site_input(&site);
    input.config = &site.config;
    input.station = &site.station;
    struct record measured;
    struct derived derived;
    double times[6];
    times[0] = now_ns();
    derive_begin(arena, &input, &measured);
    times[1] = now_ns();
    quality_before(&site.config, &site.station, &measured);
    times[2] = now_ns();
    derive_finish(arena, &input, &measured, &derived);
    times[3] = now_ns();
    quality_after(&site.config, &site.station, derived.interval, NULL, &derived.record);
    times[4] = now_ns();
    derive_to_datum(arena, &site.station, &derived);
    times[5] = now_ns();
    arena_free(arena);
    return (struct costs){(times[1] - times[0]) / ROWS, (times[2] - times[1]) / ROWS, (times[3] - times[2]) / ROWS,
                          (times[4] - times[3]) / ROWS, (times[5] - times[4]) / ROWS};
}

static struct site make_site(struct arena *arena, uint32_t columns)
{
    struct site site;
    site_init(&site, arena, ROWS, STEP, columns);
    site.source_count = 2;
    site.config.hand_over = 6 * HOUR_MS;
    site.station.salinity_source = columns & SALT ? SALINITY_MEASURED : SALINITY_FRESH;
    site.station.oxygen_sensor_salinity = 0;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        for (size_t i = 0; (columns & 1u << q) && i < ROWS; i++)
            site.readings.value[q][i] = column_value(q, (double)i / 12);
    for (size_t k = 0; k < 2; k++)
        for (size_t i = 0; i < site.sources[k].readings.n; i++) {
            bool is_silent = k == 0 && i / (288 * 5) % 4 == 3; /* five days of twenty the second one takes over */
            site.sources[k].readings.value[QUANTITY_AIR_PRESSURE][i] =
                is_silent ? NAN : SITE_AIR + 900 * sin((double)i / 400) + 40 * (double)k;
        }
    add_visits(&site, columns);
    return site;
}

/* An estuary: the tide moves the salt, the sun the oxygen. */
static double column_value(enum quantity quantity, double hours)
{
    double tide = cos(2 * M_PI * hours / 12.42), day = sin(2 * M_PI * hours / 24);
    switch (quantity) {
    case QUANTITY_TEMPERATURE: return 14 + 3 * day + 0.01 * sin(40 * hours);
    case QUANTITY_WATER_PRESSURE: return SITE_AIR + 900 * sin(hours * 12 / 400) + 15000 + 9000 * tide;
    case QUANTITY_CONDUCTIVITY: return 20 + 12 * tide + 0.02 * sin(50 * hours);
    case QUANTITY_OXYGEN: return 8 + 2 * day + 0.02 * sin(60 * hours);
    default: return NAN;
    }
}

static void add_visits(struct site *site, uint32_t columns)
{
    for (int64_t k = 0; k <= VISITS; k++) {
        int64_t time = SITE_START + k * (365 / VISITS) * DAY_MS;
        site_note(site, NOTE_LEVEL, time, 3 + 0.001 * (double)k);
        if (!(columns & OXYGEN))
            continue;
        struct note *check = site_note(site, NOTE_CHECK, time, NAN);
        check->quantity = QUANTITY_OXYGEN;
        check->reference = column_value(QUANTITY_OXYGEN, (double)(time - SITE_START) / HOUR_MS) + 0.4;
    }
}

/* The same inputs, one formula a row. */
static void print_parts(void)
{
    struct arena *arena = arena_new();
    struct site site = make_site(arena, WET | PRESSURE | SALT | OXYGEN);
    double gravity = gravity_at(site.station.latitude, 0), sum = 0, start;
    double *air = arena_array(arena, ROWS, sizeof *air), *shift = arena_array(arena, ROWS, sizeof *shift);
    uint32_t *barometer = arena_array(arena, ROWS, sizeof *barometer);
    int64_t *gap = arena_array(arena, ROWS, sizeof *gap);
    double *const *value = site.readings.value;
    const struct hand_over_input hand_over = {2, site.sources, 0, gravity, 4 * HOUR_MS, 6 * HOUR_MS};
    printf("parts alone\n");
    start = now_ns();
    air_pressure_at(ROWS, site.readings.time, 2, site.sources, 0, gravity, 4 * HOUR_MS, air, barometer, gap);
    row("air pressure of two barometers, interpolated", (now_ns() - start) / ROWS);
    start = now_ns();
    hand_over_shifts(&hand_over, ROWS, site.readings.time, barometer, shift);
    row("hand-over between them", (now_ns() - start) / ROWS);
    start = now_ns();
    for (size_t i = 0; i < ROWS; i++)
        sum += salinity_from_conductivity(value[QUANTITY_CONDUCTIVITY][i], value[QUANTITY_TEMPERATURE][i], 1e4);
    row("practical salinity (PSS-78)", (now_ns() - start) / ROWS);
    start = now_ns();
    for (size_t i = 0; i < ROWS; i++)
        sum += depth_from_pressure(value[QUANTITY_WATER_PRESSURE][i] - SITE_AIR, 15, value[QUANTITY_TEMPERATURE][i],
                                   gravity);
    row("density and depth", (now_ns() - start) / ROWS);
    start = now_ns();
    for (size_t i = 0; i < ROWS; i++)
        sum += oxygen_solubility(value[QUANTITY_TEMPERATURE][i], 15, SITE_AIR);
    row("solubility of oxygen", (now_ns() - start) / ROWS);
    if (isnan(sum)) /* and so that none of it is left out by the compiler */
        printf("some values were out of range\n");
    arena_free(arena);
}

/* The year with air that gusts, seen by a clock that stands so many rows ahead. */
static void print_clock(const char *what, int64_t ahead, double resolution)
{
    struct arena *arena = arena_new();
    struct record record;
    double list[REPEATS], air = SITE_AIR;
    uint64_t state = 88172645463325252U;
    record_init(&record, arena, ROWS, 1u << QUANTITY_WATER_PRESSURE | 1u << QUANTITY_AIR_PRESSURE);
    for (size_t i = 0; i < ROWS; i++) {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        air += (double)(state % 1000) / 1000 * 14 - 7;
        record.time[i] = SITE_START + (int64_t)i * STEP;
        record.value[QUANTITY_AIR_PRESSURE][i] = resolution * round(air / resolution);
        size_t seen = i + (size_t)ahead;
        if (seen < ROWS)
            record.value[QUANTITY_WATER_PRESSURE][seen] =
                air + 15000 + 4000 * cos(2 * M_PI * (double)i / 149) + (double)(state >> 32 & 15);
    }
    const struct watched_barometer barometer = {0, "hill", 0};
    const struct clock_watch_input input = {.record = &record,
                                            .barometers = &barometer,
                                            .barometer_count = 1,
                                            .marks = {record.time[0], record.time[ROWS - 1]}};
    for (size_t k = 0; k < REPEATS; k++) {
        struct findings findings = {0};
        double start = now_ns();
        clock_watch_find(arena, &input, &findings);
        list[k] = (now_ns() - start) / ROWS;
    }
    row(what, median(list, REPEATS));
    arena_free(arena);
}

static double median(double *list, size_t n)
{
    for (size_t i = 1; i < n; i++)
        for (size_t k = i; k > 0 && list[k] < list[k - 1]; k--) {
            double held = list[k];
            list[k] = list[k - 1];
            list[k - 1] = held;
        }
    return list[n / 2];
}

static double now_ns(void)
{
    struct timespec now;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now); /* not what others on the machine take */
    return (double)now.tv_sec * 1e9 + (double)now.tv_nsec;
}

static void row(const char *what, double nanoseconds)
{
    printf("  %-56s %8.1f\n", what, nanoseconds);
}
