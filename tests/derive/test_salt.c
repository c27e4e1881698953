/* SPDX-License-Identifier: MIT */
/* Conductivity in both forms and salinity, row by row. Values: see beside each. */
#include "derive/salt.h"

#include <criterion/criterion.h>
#include <math.h>

static struct arena *arena;
static struct record record;
static struct station station;

static void set_up(void)
{
    arena = arena_new();
    station = (struct station){.conductance_coefficient = 0.0191,
                               .conductance_sensor_compensation = COMPENSATION_SAME,
                               .conductance_sensor_coefficient = NAN};
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(salt, .init = set_up, .fini = tear_down);

static void one_row(enum quantity quantity, double value, double temperature)
{
    record_init(&record, arena, 1, 1u << quantity | 1u << QUANTITY_TEMPERATURE);
    record.value[quantity][0] = value;
    record.value[QUANTITY_TEMPERATURE][0] = temperature;
    salt_complete_conductivity(arena, &station, &record);
    salt_compute_salinity(arena, &record);
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

/* KCl of 0.01 mol/kg at 10 degC has 1013.95 uS/cm (Pratt et al. 2001, Pure Appl. Chem. 73:1783-1793, as the
 * CRC Handbook gives it); 1421.09 is the linear formula by hand. */
Test(salt, the_record_is_linear_by_its_own_coefficient)
{
    one_row(QUANTITY_CONDUCTIVITY, 1.01395, 10);
    expect(QUANTITY_SPECIFIC_CONDUCTANCE, 1.42109, 5e-6);
    station.conductance_coefficient = 0.02;
    one_row(QUANTITY_CONDUCTIVITY, 1.01395, 10);
    expect(QUANTITY_SPECIFIC_CONDUCTANCE, 1.44850, 5e-6);
}

/* A sensor at 0.02 per degree wrote 1448.50 for the same water. */
Test(salt, what_the_sensor_did_is_undone_with_its_own_coefficient)
{
    station.conductance_sensor_coefficient = 0.02;
    one_row(QUANTITY_SPECIFIC_CONDUCTANCE, 1.44850, 10);
    expect(QUANTITY_CONDUCTIVITY, 1.01395, 5e-6);
    expect(QUANTITY_SPECIFIC_CONDUCTANCE, 1.42109, 5e-6);
}

Test(salt, a_sensor_that_did_as_the_record_does_is_taken_at_its_word)
{
    one_row(QUANTITY_SPECIFIC_CONDUCTANCE, 1.44850, 10);
    expect(QUANTITY_SPECIFIC_CONDUCTANCE, 1.44850, 0);
}

/* 1.643 at 5 degC by the table of ISO 7888:1985. */
Test(salt, the_record_may_be_by_iso_7888)
{
    station.conductance_compensation = COMPENSATION_ISO_7888;
    one_row(QUANTITY_CONDUCTIVITY, 0.3, 5);
    expect(QUANTITY_SPECIFIC_CONDUCTANCE, 0.3 * 1.643, 2e-4);
    expect_mark(QUANTITY_SPECIFIC_CONDUCTANCE, FLAG_NOT_EVALUATED, 0);
}

Test(salt, a_sensor_by_iso_7888_is_undone_by_it)
{
    station.conductance_sensor_compensation = COMPENSATION_ISO_7888;
    one_row(QUANTITY_SPECIFIC_CONDUCTANCE, 0.3 * 1.643, 5);
    expect(QUANTITY_CONDUCTIVITY, 0.3, 2e-4);
    expect(QUANTITY_SPECIFIC_CONDUCTANCE, 0.3 / (1 - 0.0191 * 20), 3e-4);
}

Test(salt, waters_and_temperatures_that_the_curve_is_not_for_are_named)
{
    station.conductance_compensation = COMPENSATION_ISO_7888;
    one_row(QUANTITY_CONDUCTIVITY, 5, 20);
    expect_mark(QUANTITY_SPECIFIC_CONDUCTANCE, FLAG_SUSPECT, TEST_RANGE_OF_FORMULA);
    one_row(QUANTITY_CONDUCTIVITY, 0.3, 36);
    expect(QUANTITY_SPECIFIC_CONDUCTANCE, NAN, 0);
    expect_mark(QUANTITY_SPECIFIC_CONDUCTANCE, FLAG_MISSING, TEST_RANGE_OF_FORMULA);
}

/* 35 by definition at 42.914 mS/cm and 15 degC IPTS-68 (Culkin and Smith 1980). */
Test(salt, salinity_comes_from_what_was_in_situ)
{
    one_row(QUANTITY_CONDUCTIVITY, 42.914, 15 / 1.00024);
    expect(QUANTITY_SALINITY, 35, 1e-5);
    expect_mark(QUANTITY_SALINITY, FLAG_NOT_EVALUATED, 0);
}

Test(salt, conductivity_below_zero_is_no_fresh_water)
{
    one_row(QUANTITY_CONDUCTIVITY, -0.4, 15);
    expect(QUANTITY_SALINITY, NAN, 0);
    expect_mark(QUANTITY_SALINITY, FLAG_MISSING, TEST_RANGE_OF_FORMULA);
}

Test(salt, where_the_scale_was_not_fitted_salinity_is_suspect)
{
    one_row(QUANTITY_CONDUCTIVITY, 0, 15); /* a broken cell, or air: no natural water */
    expect(QUANTITY_SALINITY, 0, 0);
    expect_mark(QUANTITY_SALINITY, FLAG_SUSPECT, TEST_RANGE_OF_FORMULA);
    one_row(QUANTITY_CONDUCTIVITY, 40, 36);
    cr_expect(isfinite(record.value[QUANTITY_SALINITY][0]));
    expect_mark(QUANTITY_SALINITY, FLAG_SUSPECT, TEST_RANGE_OF_FORMULA);
    one_row(QUANTITY_CONDUCTIVITY, 40, 35);
    expect_mark(QUANTITY_SALINITY, FLAG_NOT_EVALUATED, 0);
}

Test(salt, beyond_the_scale_salinity_is_missing)
{
    one_row(QUANTITY_CONDUCTIVITY, 90, 25);
    expect(QUANTITY_SALINITY, NAN, 0);
    expect_mark(QUANTITY_SALINITY, FLAG_MISSING, TEST_RANGE_OF_FORMULA);
    one_row(QUANTITY_CONDUCTIVITY, 30, 41);
    expect_mark(QUANTITY_SALINITY, FLAG_MISSING, TEST_RANGE_OF_FORMULA);
}

Test(salt, without_a_temperature_in_the_row_salinity_says_why)
{
    one_row(QUANTITY_CONDUCTIVITY, 30, NAN);
    expect_mark(QUANTITY_SALINITY, FLAG_MISSING, TEST_NO_TEMPERATURE);
}
