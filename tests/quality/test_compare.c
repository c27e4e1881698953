/* SPDX-License-Identifier: MIT */
/* One column held against another: tests 9 (two related quantities) and 11 (neighbour) of the U.S. IOOS
 * manual for water level, version 2.1 (2021). Its examples for test 11: 3 cm suspect, 5 cm fails. The rest is
 * by hand. */
#include "quality/quality.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

enum { MOST = 32 };
#define STEP (15 * MINUTE_MS)
#define TWINS (1u << QUANTITY_TEMPERATURE | 1u << QUANTITY_SECOND_TEMPERATURE)

static struct arena *arena;
static struct config config;
static struct station station;
static struct record record;

static void set_up(void)
{
    arena = arena_new();
    station = (struct station){
        .id = "heron-creek", .name = "Heron Creek", .latitude = 44, .longitude = -124, .position_reach = 500};
    config = (struct config){.stations = &station, .station_count = 1};
    for (unsigned q = 0; q < QUANTITY_COUNT; q++)
        config.quality[q] = quality_off;
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(compare, .init = set_up, .fini = tear_down);

static void rows(size_t n, uint32_t columns)
{
    record_init(&record, arena, n, columns);
    for (size_t i = 0; i < n; i++)
        record.time[i] = (int64_t)i * STEP;
}

static void fill(struct record *to, enum quantity quantity, const double *values)
{
    for (size_t i = 0; i < to->n; i++)
        to->value[quantity][i] = values[i];
}

static void expect(enum quantity quantity, enum test test, const char *flags)
{
    for (size_t i = 0; i < record.n; i++) {
        uint8_t flag = record.flag[quantity][i];
        cr_expect_eq('0' + flag, flags[i], "%s, row %zu: %d, expected %c", quantity_info(quantity)->key, i, flag,
                     flags[i]);
        cr_expect_eq((record.tests[quantity][i] & test) != 0, flags[i] == '3' || flags[i] == '4', "row %zu", i);
    }
}

Test(compare, twin_thermometers_that_part_are_suspect_and_then_fail)
{
    const struct companion limits = {.quantity = QUANTITY_SECOND_TEMPERATURE, .suspect = 0.3, .fail = 1};
    config.quality[QUANTITY_TEMPERATURE].related = &limits;
    rows(6, TWINS);
    fill(&record, QUANTITY_TEMPERATURE, (double[]){12, 12.25, 12.5, 13.5, NAN, 12});
    fill(&record, QUANTITY_SECOND_TEMPERATURE, (double[]){12, 12, 12, 12, 12, NAN});
    quality_after(&config, &station, STEP, NULL, &record);
    expect(QUANTITY_TEMPERATURE, TEST_RELATED, "113492");
    expect(QUANTITY_SECOND_TEMPERATURE, TEST_RELATED, "222229");
}

Test(compare, a_twin_in_air_or_struck_out_judges_nothing)
{
    const struct companion limits = {.quantity = QUANTITY_SECOND_TEMPERATURE, .suspect = 0.3};
    config.quality[QUANTITY_TEMPERATURE].related = &limits;
    rows(2, TWINS);
    fill(&record, QUANTITY_TEMPERATURE, (double[]){12, 12});
    fill(&record, QUANTITY_SECOND_TEMPERATURE, (double[]){20, 20});
    record.flag[QUANTITY_SECOND_TEMPERATURE][0] = record.flag[QUANTITY_SECOND_TEMPERATURE][1] = FLAG_FAIL;
    record.tests[QUANTITY_SECOND_TEMPERATURE][0] = TEST_IN_AIR;
    record.tests[QUANTITY_SECOND_TEMPERATURE][1] = TEST_PERSON_STRUCK;
    quality_after(&config, &station, STEP, NULL, &record);
    expect(QUANTITY_TEMPERATURE, TEST_RELATED, "22");
}

/* Conductance that jumps is the tide's doing while the level moves, and a fault while it stands. */
Test(compare, a_fast_change_that_the_other_quantity_does_not_explain_is_suspect)
{
    const struct companion limits = {.quantity = QUANTITY_LEVEL, .rate = 4, .steady = 0.05, .window = 2 * STEP};
    config.quality[QUANTITY_SPECIFIC_CONDUCTANCE].related = &limits;
    rows(8, 1u << QUANTITY_SPECIFIC_CONDUCTANCE | 1u << QUANTITY_LEVEL);
    fill(&record, QUANTITY_LEVEL, (double[]){1, 1, 1.01, 1.02, 1.03, 1.2, 1.4, 1.6});
    fill(&record, QUANTITY_SPECIFIC_CONDUCTANCE, (double[]){20, 20, 20, 23, 23.5, 23.5, 27, 27});
    quality_after(&config, &station, STEP, NULL, &record);
    /* The first two rows have no two samples of level behind them. Row 3: 12 mS/cm an hour, level moved 2 cm.
     * Row 6: 14 an hour, level moved 37 cm. */
    expect(QUANTITY_SPECIFIC_CONDUCTANCE, TEST_RELATED, "22131111");
}

static struct neighbour_record neighbour_of(size_t n, int64_t step, int64_t shift)
{
    struct neighbour_record ret = {.station = "weir-pool"};
    record_init(&ret.record, arena, n, 1u << QUANTITY_LEVEL);
    for (size_t i = 0; i < n; i++) {
        ret.record.time[i] = (int64_t)i * step + shift;
        ret.record.value[QUANTITY_LEVEL][i] = 1 + (double)i * 0.1;
    }
    return ret;
}

Test(compare, a_level_too_far_from_its_neighbours_is_suspect_and_then_fails)
{
    const struct neighbour_limits limits = {.station = "weir-pool", .suspect = 0.03, .fail = 0.05, .reach = HOUR_MS};
    config.quality[QUANTITY_LEVEL].neighbour = &limits;
    rows(5, 1u << QUANTITY_LEVEL);
    struct neighbour_record there = neighbour_of(3, 2 * STEP, 0); /* 1, 1.1, 1.2: halfway 1.05, 1.15 */
    const struct neighbour_records all = {&there, 1};
    fill(&record, QUANTITY_LEVEL, (double[]){1.02, 1.05, 1.14, 1.09, 1.2});
    quality_after(&config, &station, STEP, &all, &record);
    expect(QUANTITY_LEVEL, TEST_NEIGHBOUR, "11341");
}

Test(compare, a_neighbour_with_a_pause_or_a_failed_value_is_no_judge)
{
    const struct neighbour_limits limits = {.station = "weir-pool", .suspect = 0.03, .reach = STEP};
    config.quality[QUANTITY_LEVEL].neighbour = &limits;
    rows(6, 1u << QUANTITY_LEVEL);
    struct neighbour_record there = neighbour_of(3, 2 * STEP, 0);
    there.record.flag[QUANTITY_LEVEL][2] = FLAG_FAIL;
    const struct neighbour_records all = {&there, 1};
    fill(&record, QUANTITY_LEVEL, (double[]){5, 5, 5, 5, 5, 5});
    quality_after(&config, &station, STEP, &all, &record);
    expect(QUANTITY_LEVEL, TEST_NEIGHBOUR, "323222");
    rows(2, 1u << QUANTITY_LEVEL);
    fill(&record, QUANTITY_LEVEL, (double[]){5, 5});
    quality_after(&config, &station, STEP, NULL, &record);
    expect(QUANTITY_LEVEL, TEST_NEIGHBOUR, "22");
}

/* Test 3; the manual's example range for a buoy is 500 m. One degree of latitude is 111.195 km on the mean
 * sphere. */
Test(compare, a_file_that_was_elsewhere_makes_its_values_suspect)
{
    rows(4, 1u << QUANTITY_TEMPERATURE | 1u << QUANTITY_SENSOR_LATITUDE | 1u << QUANTITY_SENSOR_LONGITUDE);
    fill(&record, QUANTITY_TEMPERATURE, (double[]){12, 12, 12, 12});
    fill(&record, QUANTITY_SENSOR_LATITUDE, (double[]){44 + 490 / 111195.0, 44 + 510 / 111195.0, 94, NAN});
    fill(&record, QUANTITY_SENSOR_LONGITUDE, (double[]){-124, -124, -124, -124});
    quality_before(&config, &station, &record);
    expect(QUANTITY_TEMPERATURE, TEST_POSITION, "2332");
}
