/* SPDX-License-Identifier: MIT */
/* What an oxygen sensor was told, undone; what was so, applied. Values are the formulas of Benson and Krause
 * as USGS memo 2011.03 gives them, computed independently of this program; each test names its own. */
#include "derive/oxygen.h"

#include <criterion/criterion.h>
#include <math.h>

static struct arena *arena;
static struct record record;
static struct station station;
static double salinity, told_salinity, air;
static uint8_t salinity_flag;
static uint32_t salinity_tests;

static void set_up(void)
{
    arena = arena_new();
    station = (struct station){.oxygen_sensor_pressure = 101325,
                               .oxygen_calibration = {NAN, NAN, NAN},
                               .oxygen_thermometer = QUANTITY_TEMPERATURE};
    salinity = 0;
    air = 101325;
    salinity_flag = FLAG_PASS;
    salinity_tests = 0;
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(oxygen, .init = set_up, .fini = tear_down);

static void derive(enum quantity reading, double value, double temperature, bool knows_told)
{
    const struct oxygen_situation situation = {.salinity = &salinity,
                                               .salinity_flag = &salinity_flag,
                                               .salinity_tests = &salinity_tests,
                                               .told_salinity = knows_told ? &told_salinity : NULL,
                                               .air = &air};
    record_init(&record, arena, 1, 1u << reading | 1u << QUANTITY_TEMPERATURE);
    record.value[reading][0] = value;
    record.value[QUANTITY_TEMPERATURE][0] = temperature;
    oxygen_compute(arena, &station, &situation, &record);
    oxygen_compute_saturation(arena, &station, &situation, &record);
}

static void expect(enum quantity quantity, double value, double tolerance)
{
    double got = record.value[quantity][0];
    cr_expect(isnan(value) ? isnan(got) : fabs(got - value) <= tolerance, "%s is %.6f, expected %.6f",
              quantity_info(quantity)->key, got, value);
}

/* What has no value is flagged missing by the quality tests behind the chain. */
static void expect_mark(enum quantity quantity, uint8_t flag, uint32_t tests)
{
    cr_expect_eq(isnan(record.value[quantity][0]), flag == FLAG_MISSING, "%s", quantity_info(quantity)->key);
    cr_expect(flag == FLAG_MISSING || record.flag[quantity][0] == flag, "%s is flagged %d",
              quantity_info(quantity)->key, record.flag[quantity][0]);
    cr_expect_eq(record.tests[quantity][0], tests, "%s has the marks %x", quantity_info(quantity)->key,
                 record.tests[quantity][0]);
}

Test(oxygen, a_sensor_told_fresh_water_read_too_much_in_salt_water)
{
    salinity = 30;
    derive(QUANTITY_OXYGEN, 9.0, 20, false);
    expect(QUANTITY_OXYGEN, 7.5401, 5e-5);
}

Test(oxygen, a_sensor_told_sea_water_read_too_little_in_brackish_water)
{
    salinity = 20;
    station.oxygen_sensor_salinity = 35;
    derive(QUANTITY_OXYGEN, 8.0, 15, false);
    expect(QUANTITY_OXYGEN, 8.7712, 5e-5);
}

Test(oxygen, a_sensor_told_the_measured_salinity_moves_only_with_its_correction)
{
    station.oxygen_sensor_salinity = NAN;
    salinity = told_salinity = 20;
    derive(QUANTITY_OXYGEN, 8.0, 15, true);
    expect(QUANTITY_OXYGEN, 8.0, 1e-12);
    salinity = 20;
    told_salinity = 35; /* the conductivity was wrong when the sensor was told */
    derive(QUANTITY_OXYGEN, 8.0, 15, true);
    expect(QUANTITY_OXYGEN, 8.7712, 5e-5);
    expect_mark(QUANTITY_OXYGEN, FLAG_NOT_EVALUATED, 0);
}

Test(oxygen, a_told_salinity_that_nobody_knows_leaves_the_reading_suspect)
{
    station.oxygen_sensor_salinity = NAN;
    salinity = 12;
    derive(QUANTITY_OXYGEN, 8.0, 15, false);
    expect(QUANTITY_OXYGEN, 8.0, 0);
    expect_mark(QUANTITY_OXYGEN, FLAG_SUSPECT, TEST_ESTIMATED_SALINITY);
}

/* 95 % at 10 degC, salinity 5, 990 hPa is 10.1451 mg/L. */
Test(oxygen, per_cent_refers_to_the_pressure_that_the_sensor_was_told)
{
    salinity = 5;
    station.oxygen_sensor_pressure = 99000;
    derive(QUANTITY_OXYGEN_SATURATION, 95, 10, false);
    expect(QUANTITY_OXYGEN, 10.1451, 5e-5);
}

Test(oxygen, per_cent_may_refer_to_the_air_pressure_of_the_moment)
{
    salinity = 5;
    station.oxygen_sensor_pressure = NAN;
    air = 99000;
    derive(QUANTITY_OXYGEN_SATURATION, 95, 10, false);
    expect(QUANTITY_OXYGEN, 10.1451, 5e-5);
    expect(QUANTITY_OXYGEN_SATURATION, 95, 1e-9);
    air = NAN;
    derive(QUANTITY_OXYGEN_SATURATION, 95, 10, false);
    expect_mark(QUANTITY_OXYGEN, FLAG_MISSING, TEST_NO_AIR_PRESSURE);
}

/* 100 % at 1013.25 hPa and 20 degC is 106.821 % at 950 hPa. */
Test(oxygen, two_saturations_have_two_names)
{
    air = 95000;
    derive(QUANTITY_OXYGEN_SATURATION, 100, 20, false);
    expect(QUANTITY_OXYGEN_SATURATION, 106.821, 5e-4);
    expect(QUANTITY_OXYGEN_SATURATION_STANDARD, 100, 1e-9);
}

/* Calibrated at 22 degC and 940 hPa while it was told 1013.25 hPa: 8.5 is 7.8694 mg/L. */
Test(oxygen, a_calibration_with_a_wrong_air_pressure_is_a_gain)
{
    station.oxygen_calibration = (struct air_calibration){22, 94000, 101325};
    derive(QUANTITY_OXYGEN, 8.5, 15, false);
    expect(QUANTITY_OXYGEN, 7.8694, 5e-5);
    derive(QUANTITY_OXYGEN_SATURATION, 100, 20, false); /* 100 x 7.8694 / 8.5 */
    expect(QUANTITY_OXYGEN_SATURATION_STANDARD, 92.581, 1e-3);
}

Test(oxygen, without_a_temperature_what_had_to_be_computed_is_missing)
{
    salinity = 30;
    derive(QUANTITY_OXYGEN, 9.0, NAN, false);
    expect(QUANTITY_OXYGEN, NAN, 0);
    expect_mark(QUANTITY_OXYGEN, FLAG_MISSING, TEST_NO_TEMPERATURE);
    derive(QUANTITY_OXYGEN_SATURATION, 95, NAN, false);
    expect(QUANTITY_OXYGEN, NAN, 0);
    expect(QUANTITY_OXYGEN_SATURATION, NAN, 0);
    expect_mark(QUANTITY_OXYGEN_SATURATION, FLAG_MISSING, TEST_NO_TEMPERATURE);
}

Test(oxygen, without_a_temperature_a_reading_that_needs_no_correction_is_suspect_and_has_no_saturation)
{
    derive(QUANTITY_OXYGEN, 9.0, NAN, false);
    expect(QUANTITY_OXYGEN, 9.0, 0);
    expect_mark(QUANTITY_OXYGEN, FLAG_SUSPECT, TEST_NO_TEMPERATURE);
    expect(QUANTITY_OXYGEN_SATURATION, NAN, 0);
    expect(QUANTITY_OXYGEN_SATURATION_STANDARD, NAN, 0);
}

Test(oxygen, a_temperature_outside_the_formula_is_named)
{
    salinity = 30;
    derive(QUANTITY_OXYGEN, 9.0, 55, false);
    expect_mark(QUANTITY_OXYGEN, FLAG_MISSING, TEST_RANGE_OF_FORMULA);
}

Test(oxygen, a_doubtful_salinity_makes_doubtful_oxygen)
{
    salinity_flag = FLAG_SUSPECT;
    salinity_tests = TEST_ESTIMATED_SALINITY;
    derive(QUANTITY_OXYGEN, 9.0, 20, false);
    expect_mark(QUANTITY_OXYGEN, FLAG_SUSPECT, TEST_ESTIMATED_SALINITY);
}
