/* SPDX-License-Identifier: MIT */
/* The chain as a whole, on made-up stations whose truth is known: pressure from an independent forward model,
 * P = air + density * gravity * depth, with published values for density and gravity. */
#include "derive/derive.h"

#include "base/random.h"
#include "derive/site.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Water at 20 degC without salt: Tanaka et al. (2001), Metrologia 38:301-309. */
#define FRESH_20 998.2067
/* Sea water of salinity 35 at 25 degC on IPTS-68, no pressure: UNESCO Tech. Pap. Mar. Sci. 44 (1983), p. 19. */
#define SEA_25 1023.34306
#define SEA_25_ITS90 24.9940
/* Normal gravity at 45 degrees, GRS 80: Moritz (2000), J. Geodesy 74:128-133. */
#define GRAVITY_45 9.806199203

#define BIT(quantity) (1u << (quantity))
#define PRESSURE BIT(QUANTITY_WATER_PRESSURE)
#define TEMPERATURE BIT(QUANTITY_TEMPERATURE)
#define CONDUCTIVITY BIT(QUANTITY_CONDUCTIVITY)
#define SPECIFIC BIT(QUANTITY_SPECIFIC_CONDUCTANCE)
#define OXYGEN BIT(QUANTITY_OXYGEN)
#define SATURATION BIT(QUANTITY_OXYGEN_SATURATION)

static struct arena *arena;
static struct site site;

static void set_up(void)
{
    arena = arena_new();
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(derive, .init = set_up, .fini = tear_down);

/* A tide of 1.5 m and a longer swing. */
static double depth_at(int64_t time)
{
    double hours = (double)(time - SITE_START) / (double)HOUR_MS;
    return 2.5 + 1.5 * sin(hours * 2 * acos(-1) / 12.42) + 0.3 * sin(hours / 40);
}

/* Weather: 15 hPa up and down. */
static double air_at(int64_t time)
{
    return SITE_AIR + 1500 * sin((double)(time - SITE_START) / (double)HOUR_MS / 30);
}

static void fill_water(double density)
{
    for (size_t i = 0; i < site.readings.n; i++) {
        int64_t time = site_row(&site, i);
        site.readings.value[QUANTITY_WATER_PRESSURE][i] = air_at(time) + density * GRAVITY_45 * depth_at(time);
    }
    for (size_t k = 0; k < 2; k++)
        for (size_t i = 0; i < site.sources[k].readings.n; i++)
            site.sources[k].readings.value[QUANTITY_AIR_PRESSURE][i] = air_at(site.sources[k].readings.time[i]);
}

/* Three days at 15 min in water of this temperature and density. */
static void start(uint32_t columns, double temperature, double density)
{
    site_init(&site, arena, 288, 15 * MINUTE_MS, PRESSURE | TEMPERATURE | columns);
    site_fill(&site, QUANTITY_TEMPERATURE, temperature);
    fill_water(density);
}

static void start_fresh(uint32_t columns)
{
    start(columns, 20, FRESH_20);
}

/* The first `most` of this kind; returns how many there are. */
static size_t findings_of(const struct derived *derived, enum finding_kind kind, const struct finding **ret,
                          size_t most)
{
    size_t n = 0;
    for (size_t k = 0; k < derived->findings.count; k++) {
        if (derived->findings.list[k].kind != kind)
            continue;
        if (n < most)
            ret[n] = &derived->findings.list[k];
        n++;
    }
    return n;
}

static void expect_depth(const struct record *record, double tolerance)
{
    double worst = 0;
    for (size_t i = 0; i < record->n; i++)
        worst = fmax(worst, fabs(record->value[QUANTITY_DEPTH][i] - depth_at(record->time[i])));
    cr_expect_leq(worst, tolerance, "depth is off by %g m", worst);
}

static void expect_all(const struct record *record, enum quantity quantity, double value, double tolerance)
{
    cr_assert_not_null(record->value[quantity]);
    for (size_t i = 0; i < record->n; i++) {
        double got = record->value[quantity][i];
        cr_assert(isnan(value) ? isnan(got) : fabs(got - value) <= tolerance, "%s, row %zu: %.6f, expected %.6f",
                  quantity_info(quantity)->key, i, got, value);
    }
}

static void expect_flags(const struct record *record, enum quantity quantity, uint8_t flag)
{
    for (size_t i = 0; i < record->n; i++)
        cr_assert_eq(record->flag[quantity][i], flag, "%s, row %zu is flagged %s, expected %s",
                     quantity_info(quantity)->key, i, flag_word(record->flag[quantity][i]), flag_word(flag));
}

static void expect_tests(const struct record *record, enum quantity quantity, uint32_t of, uint32_t expected)
{
    for (size_t i = 0; i < record->n; i++)
        cr_assert_eq(record->tests[quantity][i] & of, expected, "%s, row %zu: %x", quantity_info(quantity)->key, i,
                     record->tests[quantity][i]);
}

static void set_all_air(double pressure)
{
    for (size_t i = 0; i < site.sources[0].readings.n; i++)
        site.sources[0].readings.value[QUANTITY_AIR_PRESSURE][i] = pressure;
}

/* ---- level ---- */

Test(derive, the_level_of_a_fresh_creek_is_recovered_within_a_millimetre)
{
    start_fresh(0);
    site_note(&site, NOTE_LEVEL, site_row(&site, 40), depth_at(site_row(&site, 40)) + 1.25);
    struct derived derived = site_derive(&site);
    expect_depth(&derived.record, 0.001);
    for (size_t i = 0; i < derived.record.n; i++)
        cr_assert_float_eq(derived.record.value[QUANTITY_LEVEL][i], depth_at(site_row(&site, i)) + 1.25, 0.001);
    expect_flags(&derived.record, QUANTITY_LEVEL, FLAG_PASS);
    expect_flags(&derived.record, QUANTITY_DEPTH, FLAG_PASS);
    expect_tests(&derived.record, QUANTITY_LEVEL, TEST_NO_REFERENCE | TEST_ESTIMATED_SALINITY, 0);
    cr_expect_eq(derived.waiting_count, 0);
    cr_expect_eq(derived.interval, 15 * MINUTE_MS);
    for (size_t i = 0; i < derived.record.n; i++)
        cr_assert_eq(derived.record.barometer[i], 7);
}

Test(derive, without_a_thermometer_the_level_is_still_good_to_a_permille)
{
    start_fresh(0);
    site_fill(&site, QUANTITY_TEMPERATURE, NAN);
    struct derived derived = site_derive(&site);
    expect_depth(&derived.record, 0.001 * 4.4);
    expect_flags(&derived.record, QUANTITY_TEMPERATURE, FLAG_MISSING);
}

Test(derive, an_untied_level_is_missing_and_says_why_until_the_sensors_elevation_is_known)
{
    start_fresh(0);
    struct derived derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_LEVEL, NAN, 0);
    expect_flags(&derived.record, QUANTITY_LEVEL, FLAG_MISSING);
    expect_tests(&derived.record, QUANTITY_LEVEL, TEST_NO_REFERENCE, TEST_NO_REFERENCE);
    site.station.sensor_elevation = -0.5;
    derived = site_derive(&site);
    for (size_t i = 0; i < derived.record.n; i++)
        cr_assert_float_eq(derived.record.value[QUANTITY_LEVEL][i], depth_at(site_row(&site, i)) - 0.5, 0.001);
}

Test(derive, a_closing_error_comes_with_the_record)
{
    start_fresh(0);
    site_note(&site, NOTE_LEVEL, site_row(&site, 40), depth_at(site_row(&site, 40)) + 1.25);
    site_note(&site, NOTE_LEVEL, site_row(&site, 200), depth_at(site_row(&site, 200)) + 1.28);
    struct derived derived = site_derive(&site);
    cr_assert_eq(derived.check_count, 2);
    cr_expect(derived.checks[0].is_first && !derived.checks[1].is_first);
    cr_expect_float_eq(derived.checks[1].difference, -0.03, 0.002);
    cr_expect_float_eq(derived.record.value[QUANTITY_LEVEL][120] - depth_at(site_row(&site, 120)), 1.265, 0.001);
}

/* ---- salinity and density ---- */

Test(derive, a_stated_salinity_gives_the_density_and_is_marked_but_no_fault)
{
    start(0, SEA_25_ITS90, SEA_25);
    site.station.salinity_source = SALINITY_STATED;
    site.station.salinity = 35;
    struct derived derived = site_derive(&site);
    expect_depth(&derived.record, 0.001);
    expect_flags(&derived.record, QUANTITY_DEPTH, FLAG_PASS);
    expect_tests(&derived.record, QUANTITY_DEPTH, TEST_ESTIMATED_SALINITY, TEST_ESTIMATED_SALINITY);
}

/* Conductivity of salinity 35 at 25 degC: 53.07103 mS/cm (TEOS-10, check value of science/salinity.h). */
Test(derive, a_measured_conductivity_gives_salinity_and_density)
{
    start(CONDUCTIVITY, SEA_25_ITS90, SEA_25);
    site.station.salinity_source = SALINITY_MEASURED;
    site_fill(&site, QUANTITY_TEMPERATURE, 25);
    site_fill(&site, QUANTITY_CONDUCTIVITY, 53.07103);
    struct derived derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_SALINITY, 35, 1e-5);
    expect_depth(&derived.record, 0.001);
    expect_tests(&derived.record, QUANTITY_DEPTH, TEST_ESTIMATED_SALINITY, 0);
    expect_flags(&derived.record, QUANTITY_SALINITY, FLAG_PASS);
}

Test(derive, a_fresh_station_is_fresh_whatever_its_conductivity)
{
    start_fresh(CONDUCTIVITY);
    site_fill(&site, QUANTITY_CONDUCTIVITY, 45);
    struct derived derived = site_derive(&site);
    expect_depth(&derived.record, 0.001);
    expect_tests(&derived.record, QUANTITY_DEPTH, TEST_ESTIMATED_SALINITY, 0);
}

/* Linear compensation, common practice of the trade: C = C25 (1 + 0.0191 (t - 25)). */
Test(derive, conductivity_in_either_form_gives_the_other_and_the_same_salinity)
{
    const double factor = 1 + 0.0191 * (20 - 25);
    start_fresh(CONDUCTIVITY);
    site_fill(&site, QUANTITY_CONDUCTIVITY, 30 * factor);
    struct derived actual = site_derive(&site);
    expect_all(&actual.record, QUANTITY_SPECIFIC_CONDUCTANCE, 30, 1e-12);
    start_fresh(SPECIFIC);
    site_fill(&site, QUANTITY_SPECIFIC_CONDUCTANCE, 30);
    struct derived specific = site_derive(&site);
    expect_all(&specific.record, QUANTITY_CONDUCTIVITY, 30 * factor, 1e-12);
    for (size_t i = 0; i < site.readings.n; i++)
        cr_assert_float_eq(actual.record.value[QUANTITY_SALINITY][i], specific.record.value[QUANTITY_SALINITY][i],
                           1e-9);
}

/* A logger that keeps one form is followed by one that keeps the other. */
Test(derive, both_forms_of_conductivity_may_stand_in_one_span)
{
    const double factor = 1 + 0.0191 * (20 - 25);
    start_fresh(CONDUCTIVITY | SPECIFIC);
    for (size_t i = 0; i < site.readings.n; i++)
        site.readings.value[i < 100 ? QUANTITY_CONDUCTIVITY : QUANTITY_SPECIFIC_CONDUCTANCE][i] =
            i < 100 ? 30 * factor : 30;
    struct derived derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_CONDUCTIVITY, 30 * factor, 1e-12);
    expect_all(&derived.record, QUANTITY_SPECIFIC_CONDUCTANCE, 30, 1e-12);
    expect_flags(&derived.record, QUANTITY_SALINITY, FLAG_PASS);
    expect_flags(&derived.record, QUANTITY_CONDUCTIVITY, FLAG_PASS);
    expect_flags(&derived.record, QUANTITY_SPECIFIC_CONDUCTANCE, FLAG_PASS);
}

Test(derive, a_measured_conductivity_outlives_its_thermometer)
{
    start_fresh(CONDUCTIVITY);
    site_fill(&site, QUANTITY_CONDUCTIVITY, 30);
    site_fill(&site, QUANTITY_TEMPERATURE, NAN);
    struct derived derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_CONDUCTIVITY, 30, 0);
    expect_flags(&derived.record, QUANTITY_CONDUCTIVITY, FLAG_PASS);
    expect_flags(&derived.record, QUANTITY_SALINITY, FLAG_MISSING);
    site.readings.value[QUANTITY_TEMPERATURE] = NULL;
    derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_CONDUCTIVITY, 30, 0);
}

Test(derive, a_failed_conductivity_never_becomes_a_density)
{
    start(CONDUCTIVITY, SEA_25_ITS90, SEA_25);
    site.station.salinity_source = SALINITY_MEASURED;
    site.station.salinity = 35;
    site_fill(&site, QUANTITY_CONDUCTIVITY, 120); /* no sensor gives that */
    struct derived derived = site_derive(&site);
    expect_flags(&derived.record, QUANTITY_CONDUCTIVITY, FLAG_FAIL);
    expect_depth(&derived.record, 0.001);
    expect_tests(&derived.record, QUANTITY_DEPTH, TEST_ESTIMATED_SALINITY, TEST_ESTIMATED_SALINITY);
    expect_flags(&derived.record, QUANTITY_DEPTH, FLAG_PASS);
}

Test(derive, without_any_known_salinity_the_depth_is_suspect_and_says_so)
{
    start_fresh(CONDUCTIVITY);
    site.station.salinity_source = SALINITY_MEASURED;
    struct derived derived = site_derive(&site);
    expect_depth(&derived.record, 0.001); /* taken as fresh, which it happens to be */
    expect_flags(&derived.record, QUANTITY_DEPTH, FLAG_SUSPECT);
    expect_tests(&derived.record, QUANTITY_DEPTH, TEST_ESTIMATED_SALINITY, TEST_ESTIMATED_SALINITY);
}

/* ---- oxygen ---- */

/* oxygen_corrected_for_salinity(9.0, 20, 30, 0) = 7.5401 (check value of science/oxygen.h). */
Test(derive, a_sensor_that_was_told_fresh_water_is_corrected_in_salt_water)
{
    start_fresh(OXYGEN);
    site.station.salinity_source = SALINITY_STATED;
    site.station.salinity = 30;
    site_fill(&site, QUANTITY_OXYGEN, 9);
    struct derived derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_OXYGEN, 7.5401, 5e-5);
    expect_tests(&derived.record, QUANTITY_OXYGEN, TEST_ESTIMATED_SALINITY, TEST_ESTIMATED_SALINITY);
    site.station.oxygen_sensor_salinity = 30;
    derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_OXYGEN, 9, 1e-9);
}

/* Fresh water at 20 degC and 1 atm holds 9.092 mg/L (Standard Methods 4500-O, table I); 100 % of that is 106.821 % at
 * 950 hPa (check value of science/oxygen.h). */
Test(derive, a_per_cent_reading_gives_mg_l_and_both_saturations)
{
    start_fresh(SATURATION);
    set_all_air(95000);
    site_fill(&site, QUANTITY_OXYGEN_SATURATION, 100);
    struct derived derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_OXYGEN, 9.092, 5e-4);
    expect_all(&derived.record, QUANTITY_OXYGEN_SATURATION, 106.821, 5e-4);
    expect_all(&derived.record, QUANTITY_OXYGEN_SATURATION_STANDARD, 100, 1e-9);
    site.station.oxygen_sensor_pressure = 95000;
    derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_OXYGEN_SATURATION, 100, 1e-9);
}

Test(derive, oxygen_in_mg_l_and_in_per_cent_may_stand_in_one_span)
{
    start_fresh(OXYGEN | SATURATION);
    for (size_t i = 0; i < site.readings.n; i++)
        site.readings.value[i < 100 ? QUANTITY_OXYGEN : QUANTITY_OXYGEN_SATURATION][i] = i < 100 ? 9.092 : 100;
    struct derived derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_OXYGEN, 9.092, 5e-4);
    expect_all(&derived.record, QUANTITY_OXYGEN_SATURATION_STANDARD, 100, 0.006);
    cr_expect_eq(derived.record.flag[QUANTITY_OXYGEN][99], derived.record.flag[QUANTITY_OXYGEN][101]);
}

Test(derive, saturation_at_the_station_waits_for_a_barometer_and_the_standard_one_does_not)
{
    start_fresh(OXYGEN);
    site_fill(&site, QUANTITY_OXYGEN, 9.092);
    site.source_count = 0;
    struct derived derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_OXYGEN_SATURATION_STANDARD, 100, 0.006);
    expect_flags(&derived.record, QUANTITY_OXYGEN_SATURATION, FLAG_MISSING);
}

/* ---- air pressure ---- */

/* Two hours without the barometer from row 100, five from row 200. */
static void cut_air(void)
{
    struct readings *air = &site.sources[0].readings;
    struct readings kept;
    readings_init(&kept, arena, air->n, BIT(QUANTITY_AIR_PRESSURE));
    size_t n = 0;
    for (size_t i = 0; i < air->n; i++) {
        int64_t t = air->time[i];
        bool is_cut = (t > site_row(&site, 100) && t < site_row(&site, 108)) ||
                      (t > site_row(&site, 200) && t < site_row(&site, 220));
        if (is_cut)
            continue;
        kept.time[n] = t;
        kept.value[QUANTITY_AIR_PRESSURE][n++] = air->value[QUANTITY_AIR_PRESSURE][i];
    }
    kept.n = n;
    *air = kept;
}

Test(derive, over_two_hours_without_air_pressure_depth_is_suspect_and_over_five_it_waits)
{
    start_fresh(0);
    cut_air();
    struct derived derived = site_derive(&site);
    for (size_t i = 0; i < derived.record.n; i++) {
        bool is_bridged = i > 100 && i<108, is_missing = i> 200 && i < 220;
        uint8_t flag = derived.record.flag[QUANTITY_DEPTH][i];
        cr_assert_eq(flag, is_missing ? FLAG_MISSING : is_bridged ? FLAG_SUSPECT : FLAG_PASS, "row %zu: %u", i, flag);
        cr_assert_eq(isnan(derived.record.value[QUANTITY_DEPTH][i]) != 0, is_missing);
        cr_assert_eq((derived.record.tests[QUANTITY_DEPTH][i] & TEST_AIR_GAP) != 0, is_bridged);
        cr_assert_eq((derived.record.tests[QUANTITY_DEPTH][i] & TEST_NO_AIR_PRESSURE) != 0, is_missing);
        cr_assert_eq(derived.record.barometer[i], is_missing ? NO_BAROMETER : 7);
    }
    cr_assert_eq(derived.waiting_count, 1);
    cr_expect_eq(derived.waiting[0].span.from, site_row(&site, 201));
    cr_expect_eq(derived.waiting[0].span.to, site_row(&site, 219) + 1);
    cr_expect_not_null(strstr(derived.waiting[0].reason, "hill"));
}

Test(derive, the_next_barometer_takes_over_where_the_first_has_nothing)
{
    start_fresh(0);
    cut_air();
    site.source_count = 2;
    struct derived derived = site_derive(&site);
    cr_expect_eq(derived.waiting_count, 0);
    expect_depth(&derived.record, 0.005); /* the first is bridged over two hours, as it still may be */
    for (size_t i = 0; i < derived.record.n; i++)
        cr_assert_eq(derived.record.barometer[i], i > 200 && i < 220 ? 8 : 7, "row %zu", i);
}

Test(derive, a_late_barometer_changes_nothing_but_what_needs_it)
{
    start_fresh(CONDUCTIVITY | OXYGEN);
    site.station.salinity_source = SALINITY_MEASURED;
    uint64_t state = 4;
    for (size_t i = 0; i < site.readings.n; i++) {
        site.readings.value[QUANTITY_CONDUCTIVITY][i] = (double)random_between(&state, 200, 400) / 1000;
        site.readings.value[QUANTITY_OXYGEN][i] = (double)random_between(&state, 70, 90) / 10;
    }
    site_note(&site, NOTE_OUT_OF_WATER, site_row(&site, 50), NAN);
    site_note(&site, NOTE_IN_WATER, site_row(&site, 60), NAN);
    struct derived with = site_derive(&site);
    site.source_count = 0;
    struct derived without = site_derive(&site);
    cr_assert_eq(without.waiting_count, 2);
    cr_expect_eq(without.waiting[0].span.from, site_row(&site, 0));
    cr_expect_eq(without.waiting[1].span.to, site_row(&site, 287) + 1);
    cr_expect_gt(without.waiting[1].span.from, site_row(&site, 59), "what hung in air waits for nothing");
    const enum quantity same[] = {QUANTITY_TEMPERATURE,   QUANTITY_CONDUCTIVITY, QUANTITY_SPECIFIC_CONDUCTANCE,
                                  QUANTITY_SALINITY,      QUANTITY_OXYGEN,       QUANTITY_OXYGEN_SATURATION_STANDARD,
                                  QUANTITY_WATER_PRESSURE};
    size_t n = with.record.n;
    for (size_t k = 0; k < COUNT_OF(same); k++) {
        enum quantity q = same[k];
        cr_expect_arr_eq(with.record.value[q], without.record.value[q], n * sizeof(double), "%s",
                         quantity_info(q)->key);
        cr_expect_arr_eq(with.record.flag[q], without.record.flag[q], n, "%s", quantity_info(q)->key);
        cr_expect_arr_eq(with.record.tests[q], without.record.tests[q], n * sizeof(uint32_t), "%s",
                         quantity_info(q)->key);
    }
    expect_flags(&without.record, QUANTITY_DEPTH, FLAG_MISSING);
    expect_flags(&without.record, QUANTITY_AIR_PRESSURE, FLAG_MISSING);
}

Test(derive, a_station_without_any_barometer_is_told_so)
{
    start_fresh(0);
    site.source_count = 0;
    struct derived derived = site_derive(&site);
    cr_assert_eq(derived.waiting_count, 1);
    cr_expect_not_null(strstr(derived.waiting[0].reason, "no barometer"));
}

/* ---- visits ---- */

Test(derive, a_noted_visit_fails_everything_but_the_pressure_and_settling_is_suspect)
{
    start_fresh(OXYGEN);
    site.station.settling = 30 * MINUTE_MS;
    for (size_t i = 0; i < site.readings.n; i++)
        site.readings.value[QUANTITY_OXYGEN][i] = 8 + sin((double)i / 10);
    site_note(&site, NOTE_OUT_OF_WATER, site_row(&site, 100) - MINUTE_MS, NAN);
    site_note(&site, NOTE_IN_WATER, site_row(&site, 104) - MINUTE_MS, NAN);
    struct derived derived = site_derive(&site);
    const enum quantity quantities[] = {QUANTITY_TEMPERATURE, QUANTITY_OXYGEN, QUANTITY_OXYGEN_SATURATION,
                                        QUANTITY_DEPTH};
    for (size_t k = 0; k < COUNT_OF(quantities); k++)
        for (size_t i = 0; i < derived.record.n; i++) {
            uint32_t tests = derived.record.tests[quantities[k]][i];
            bool is_air = i >= 99 && i <= 104, settles = i == 105;
            cr_assert_eq((tests & TEST_IN_AIR) != 0, is_air, "%s, row %zu", quantity_info(quantities[k])->key, i);
            cr_assert_eq((tests & TEST_SETTLING) != 0, settles, "%s, row %zu", quantity_info(quantities[k])->key, i);
            uint8_t flag = derived.record.flag[quantities[k]][i];
            cr_assert(!is_air || flag == FLAG_FAIL, "%s, row %zu", quantity_info(quantities[k])->key, i);
            cr_assert(!settles || flag == FLAG_SUSPECT);
        }
    expect_tests(&derived.record, QUANTITY_WATER_PRESSURE, TEST_IN_AIR | TEST_SETTLING, 0);
}

Test(derive, a_visit_that_nobody_noted_is_found_by_pressure_and_conductivity)
{
    start_fresh(CONDUCTIVITY);
    site_fill(&site, QUANTITY_CONDUCTIVITY, 0.3);
    for (size_t i = 100; i < 104; i++) {
        site.readings.value[QUANTITY_WATER_PRESSURE][i] = air_at(site_row(&site, i)) + 40;
        site.readings.value[QUANTITY_CONDUCTIVITY][i] = 0.001;
    }
    struct derived derived = site_derive(&site);
    for (size_t i = 0; i < derived.record.n; i++) {
        bool is_air = i >= 99 && i <= 104;
        cr_assert_eq((derived.record.tests[QUANTITY_TEMPERATURE][i] & TEST_IN_AIR) != 0, is_air, "row %zu", i);
        cr_assert(!is_air || derived.record.flag[QUANTITY_DEPTH][i] == FLAG_FAIL);
    }
}

/* ---- what people decide ---- */

Test(derive, a_strike_fails_one_quantity_or_all_and_a_later_note_restores_it)
{
    start_fresh(OXYGEN);
    for (size_t i = 0; i < site.readings.n; i++) {
        site.readings.value[QUANTITY_OXYGEN][i] = 8 + sin((double)i / 10);
        site.readings.value[QUANTITY_TEMPERATURE][i] = 20 + sin((double)i / 30);
    }
    site_span_note(&site, NOTE_STRIKE, (struct span){site_row(&site, 10), site_row(&site, 20)}, QUANTITY_OXYGEN);
    site_span_note(&site, NOTE_STRIKE, (struct span){site_row(&site, 100), site_row(&site, 140)}, QUANTITY_COUNT);
    site_span_note(&site, NOTE_RESTORE, (struct span){site_row(&site, 120), site_row(&site, 130)},
                   QUANTITY_TEMPERATURE);
    struct derived derived = site_derive(&site);
    const struct record *r = &derived.record;
    for (size_t i = 0; i < r->n; i++) {
        bool all = i >= 100 && i < 140, restored = i >= 120 && i < 130;
        bool oxygen = all || (i >= 10 && i < 20), temperature = all && !restored;
        cr_assert_eq(r->flag[QUANTITY_OXYGEN][i], oxygen ? FLAG_FAIL : FLAG_PASS, "row %zu", i);
        cr_assert_eq((r->tests[QUANTITY_OXYGEN][i] & TEST_PERSON_STRUCK) != 0, oxygen, "row %zu", i);
        cr_assert_eq(r->flag[QUANTITY_TEMPERATURE][i], temperature ? FLAG_FAIL : FLAG_PASS, "row %zu", i);
        cr_assert_eq((r->tests[QUANTITY_TEMPERATURE][i] & TEST_PERSON_RESTORED) != 0, restored, "row %zu", i);
    }
}

Test(derive, a_restored_spike_passes_though_the_test_still_objects)
{
    start_fresh(0);
    site.readings.value[QUANTITY_TEMPERATURE][50] = 28;
    site_span_note(&site, NOTE_RESTORE, (struct span){site_row(&site, 50), site_row(&site, 51)}, QUANTITY_TEMPERATURE);
    struct derived derived = site_derive(&site);
    cr_expect_eq(derived.record.flag[QUANTITY_TEMPERATURE][50], FLAG_PASS);
    cr_expect(derived.record.tests[QUANTITY_TEMPERATURE][50] & TEST_SPIKE);
    cr_expect(derived.record.tests[QUANTITY_TEMPERATURE][50] & TEST_PERSON_RESTORED);
}

Test(derive, a_missing_value_stays_missing_whatever_people_decide)
{
    start_fresh(0);
    site.readings.value[QUANTITY_TEMPERATURE][50] = NAN;
    struct span span = {site_row(&site, 49), site_row(&site, 52)};
    site_span_note(&site, NOTE_STRIKE, span, QUANTITY_TEMPERATURE);
    site_span_note(&site, NOTE_RESTORE, span, QUANTITY_TEMPERATURE);
    struct derived derived = site_derive(&site);
    cr_expect_eq(derived.record.flag[QUANTITY_TEMPERATURE][50], FLAG_MISSING);
}

Test(derive, what_is_computed_from_a_restored_value_is_still_judged_by_its_own_tests)
{
    start_fresh(OXYGEN);
    site_fill(&site, QUANTITY_OXYGEN, 9);
    site.readings.value[QUANTITY_OXYGEN][50] = 3;
    site_span_note(&site, NOTE_RESTORE, (struct span){site_row(&site, 40), site_row(&site, 60)}, QUANTITY_TEMPERATURE);
    struct derived derived = site_derive(&site);
    const struct record *r = &derived.record;
    cr_expect_eq(r->flag[QUANTITY_OXYGEN][50], FLAG_FAIL);
    cr_expect(r->tests[QUANTITY_OXYGEN][50] & TEST_SPIKE);
    cr_expect_not(r->tests[QUANTITY_OXYGEN][50] & TEST_PERSON_RESTORED);
}

/* The crew noted the logger out of the water; the office knows better. */
Test(derive, a_restored_stretch_in_air_gives_results_again)
{
    start_fresh(OXYGEN);
    site_fill(&site, QUANTITY_OXYGEN, 9);
    site_note(&site, NOTE_OUT_OF_WATER, site_row(&site, 100), NAN);
    site_note(&site, NOTE_IN_WATER, site_row(&site, 110), NAN);
    struct derived derived = site_derive(&site);
    cr_expect_eq(derived.record.flag[QUANTITY_OXYGEN][105], FLAG_FAIL);
    site_span_note(&site, NOTE_RESTORE, (struct span){site_row(&site, 99), site_row(&site, 112)}, QUANTITY_COUNT);
    derived = site_derive(&site);
    cr_expect_eq(derived.record.flag[QUANTITY_OXYGEN][105], FLAG_PASS);
    cr_expect_eq(derived.record.flag[QUANTITY_DEPTH][105], FLAG_PASS);
    cr_expect(derived.record.tests[QUANTITY_DEPTH][105] & TEST_IN_AIR, "the objection is no longer told");
}

/* ---- what cannot be ---- */

Test(derive, oxygen_at_900_per_cent_fails_in_every_form_and_its_value_stays_to_be_seen)
{
    start_fresh(SATURATION);
    site_fill(&site, QUANTITY_OXYGEN_SATURATION, 95);
    site.readings.value[QUANTITY_OXYGEN_SATURATION][50] = 900;
    struct derived derived = site_derive(&site);
    const struct record *r = &derived.record;
    static const enum quantity forms[] = {QUANTITY_OXYGEN, QUANTITY_OXYGEN_SATURATION,
                                          QUANTITY_OXYGEN_SATURATION_STANDARD};
    for (size_t k = 0; k < 3; k++) {
        cr_expect_eq(r->flag[forms[k]][50], FLAG_FAIL, "%s", quantity_info(forms[k])->key);
        cr_expect(r->tests[forms[k]][50] & TEST_GROSS_RANGE);
        cr_expect_gt(r->value[forms[k]][50], 50);
    }
}

Test(derive, conductivity_below_zero_fails_and_gives_neither_salinity_nor_density)
{
    start_fresh(CONDUCTIVITY);
    site.station.salinity_source = SALINITY_MEASURED;
    site.station.salinity = 12;
    site_fill(&site, QUANTITY_CONDUCTIVITY, 20);
    site.readings.value[QUANTITY_CONDUCTIVITY][50] = -3;
    struct derived derived = site_derive(&site);
    const struct record *r = &derived.record;
    cr_expect_eq(r->flag[QUANTITY_CONDUCTIVITY][50], FLAG_FAIL);
    cr_expect(isnan(r->value[QUANTITY_SALINITY][50]));
    cr_expect_eq(r->flag[QUANTITY_SALINITY][50], FLAG_MISSING);
    cr_expect(r->tests[QUANTITY_SALINITY][50] & TEST_RANGE_OF_FORMULA);
    cr_expect_eq(derived.salinity_used[50], 12);
    cr_expect(r->tests[QUANTITY_DEPTH][50] & TEST_ESTIMATED_SALINITY, "the fallback is not told");
}

/* ---- time, cells, checks ---- */

Test(derive, the_logger_clock_is_corrected_and_its_own_time_kept)
{
    start_fresh(0);
    site_clock_check(&site, site_row(&site, 0), site_row(&site, 0) + 5 * MINUTE_MS);
    struct derived derived = site_derive(&site);
    for (size_t i = 0; i < derived.record.n; i++) {
        cr_assert_eq(derived.record.raw_time[i], site_row(&site, i));
        cr_assert_eq(derived.record.time[i], site_row(&site, i) - 5 * MINUTE_MS);
    }
}

Test(derive, a_cell_that_could_not_be_read_is_missing_and_says_so)
{
    start_fresh(0);
    site.readings.unread = arena_array(arena, site.readings.n, sizeof *site.readings.unread);
    site.readings.unread[50] = TEMPERATURE;
    site.readings.value[QUANTITY_TEMPERATURE][50] = NAN;
    struct derived derived = site_derive(&site);
    cr_expect_eq(derived.record.flag[QUANTITY_TEMPERATURE][50], FLAG_MISSING);
    cr_expect(derived.record.tests[QUANTITY_TEMPERATURE][50] & TEST_SYNTAX);
    cr_expect_not(derived.record.tests[QUANTITY_TEMPERATURE][51] & TEST_SYNTAX);
}

Test(derive, a_check_holds_the_sensors_own_value_against_the_meter)
{
    start_fresh(0);
    for (size_t i = 0; i < site.readings.n; i++)
        site.readings.value[QUANTITY_TEMPERATURE][i] = 20 + (double)i / 100;
    struct note *note = site_note(&site, NOTE_CHECK, (site_row(&site, 50) + site_row(&site, 51)) / 2, NAN);
    note->quantity = QUANTITY_TEMPERATURE;
    note->reference = 20.4;
    struct derived derived = site_derive(&site);
    cr_assert_eq(derived.check_count, 1);
    cr_expect_eq(derived.checks[0].quantity, QUANTITY_TEMPERATURE);
    cr_expect_eq(derived.checks[0].kind, CHECK_AS_FOUND);
    cr_expect_float_eq(derived.checks[0].sensor, 20.505, 1e-9);
    cr_expect_float_eq(derived.checks[0].difference, 0.105, 1e-9);
}

Test(derive, checks_out_of_order_are_a_finding_and_change_no_value)
{
    start_fresh(0);
    site_note(&site, NOTE_IN_WATER, SITE_START, NAN);
    site_note(&site, NOTE_CHECK_CLEANED, site_row(&site, 200), 20)->quantity = QUANTITY_TEMPERATURE;
    site.notes[1].reference = 20;
    struct note *found = site_note(&site, NOTE_CHECK, site_row(&site, 204), 20);
    found->quantity = QUANTITY_TEMPERATURE;
    found->reference = 21; /* a degree of fouling, had it been read before the cleaning */
    struct derived derived = site_derive(&site);
    expect_all(&derived.record, QUANTITY_TEMPERATURE, 20, 0);
    cr_expect_eq(derived.correction_count, 0);
    size_t told = 0;
    for (size_t k = 0; k < derived.findings.count; k++) {
        const struct finding *f = &derived.findings.list[k];
        if (f->kind != FINDING_CHECKS_DISORDERED)
            continue;
        told++;
        cr_expect(f->quantity == QUANTITY_TEMPERATURE && f->wants_hand && f->span.from == site_row(&site, 204));
        cr_expect(strstr(f->text, "read as found after it was cleaned (2026-03-03T02:00:00Z)"), "%s", f->text);
    }
    cr_expect_eq(told, 1);
}

/* Nobody noted that the logger went in again: its rows are struck, and somebody is asked. */
Test(derive, under_water_where_it_was_noted_in_air_is_a_finding_until_the_note_is_there)
{
    start_fresh(0);
    site_note(&site, NOTE_OUT_OF_WATER, site_row(&site, 20), NAN);
    site_note(&site, NOTE_OUT_OF_WATER, site_row(&site, 100), NAN);
    struct derived derived = site_derive(&site);
    const struct finding *told[2];
    size_t count = findings_of(&derived, FINDING_NOTED_IN_AIR, told, COUNT_OF(told));
    cr_assert_eq(count, 2, "one for each of the notes");
    cr_expect(told[0]->wants_hand && told[0]->quantity == QUANTITY_COUNT);
    cr_expect_str_eq(told[0]->text, "the sensors say water where the field notes have the logger out of it (since "
                                    "2026-03-01T05:00:00Z), or it lay far below its barometer: all that it measured is "
                                    "struck; note when it went in, and these rows count again");
    cr_expect(told[0]->span.to <= told[1]->span.from && told[1]->span.from == site_row(&site, 100));
    cr_expect_eq(derived.record.flag[QUANTITY_TEMPERATURE][150], FLAG_FAIL);

    site_note(&site, NOTE_IN_WATER, site_row(&site, 22), NAN);
    site_note(&site, NOTE_IN_WATER, site_row(&site, 102), NAN);
    derived = site_derive(&site);
    cr_expect_eq(findings_of(&derived, FINDING_NOTED_IN_AIR, told, COUNT_OF(told)), 0);
    cr_expect_neq(derived.record.flag[QUANTITY_TEMPERATURE][150], FLAG_FAIL);
}

Test(derive, rows_before_the_first_note_of_going_in_are_asked_about_too)
{
    start_fresh(0);
    site_note(&site, NOTE_IN_WATER, site_row(&site, 100), NAN);
    struct derived derived = site_derive(&site);
    const struct finding *told[1] = {NULL};
    size_t count = findings_of(&derived, FINDING_NOTED_IN_AIR, told, COUNT_OF(told));
    cr_assert_eq(count, 1, "%zu", count);
    cr_expect(strstr(told[0]->text, "(before the first note of its going in)"), "%s", told[0]->text);
}

Test(derive, the_interval_is_the_setting_or_the_usual_step)
{
    start_fresh(0);
    for (size_t i = 100; i < site.readings.n; i++)
        site.readings.time[i] += 3 * DAY_MS;
    cr_expect_eq(site_derive(&site).interval, 15 * MINUTE_MS);
    site.station.interval = 5 * MINUTE_MS;
    cr_expect_eq(site_derive(&site).interval, 5 * MINUTE_MS);
}

/* ---- little or nothing ---- */

Test(derive, no_readings_one_reading_and_nothing_but_missing_values_are_fine)
{
    const uint32_t all = PRESSURE | TEMPERATURE | CONDUCTIVITY | OXYGEN | SATURATION;
    for (size_t n = 0; n < 3; n++) {
        site_init(&site, arena, n, 15 * MINUTE_MS, all);
        site.station.salinity_source = SALINITY_MEASURED;
        site_note(&site, NOTE_LEVEL, SITE_START, 1);
        site_note(&site, NOTE_OUT_OF_WATER, SITE_START + HOUR_MS, NAN);
        struct derived derived = site_derive(&site);
        cr_assert_eq(derived.record.n, n);
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
            for (size_t i = 0; derived.record.value[q] && q != QUANTITY_AIR_PRESSURE && i < n; i++)
                cr_assert(isnan(derived.record.value[q][i]) && derived.record.flag[q][i] == FLAG_MISSING);
    }
    site_init(&site, arena, 1, 15 * MINUTE_MS, PRESSURE | TEMPERATURE);
    site_fill(&site, QUANTITY_TEMPERATURE, 20);
    fill_water(FRESH_20);
    site_note(&site, NOTE_LEVEL, SITE_START, 3);
    struct derived derived = site_derive(&site);
    expect_depth(&derived.record, 0.001);
    expect_all(&derived.record, QUANTITY_LEVEL, 3, 1e-9);
}

static bool is_known(const double *column, size_t i)
{
    return column && isfinite(column[i]);
}

/* Nothing finite may come out where something that it is made of is missing. */
static void expect_nothing_invented(const struct record *r, const struct readings *in, bool is_tied, int round)
{
    const double *const *raw = (const double *const *)in->value;
    double *const *out = r->value;
    for (size_t i = 0; i < r->n; i++) {
        bool has_pressure = is_known(raw[QUANTITY_WATER_PRESSURE], i),
             has_air = is_known(out[QUANTITY_AIR_PRESSURE], i);
        bool has_warmth = is_known(raw[QUANTITY_TEMPERATURE], i);
        bool conducts = is_known(raw[QUANTITY_CONDUCTIVITY], i) || is_known(raw[QUANTITY_SPECIFIC_CONDUCTANCE], i);
        bool has_oxygen = is_known(raw[QUANTITY_OXYGEN], i) || is_known(raw[QUANTITY_OXYGEN_SATURATION], i);
        const struct {
            enum quantity quantity;
            bool may_be;
        } rules[] = {
            {QUANTITY_TEMPERATURE, has_warmth},
            {QUANTITY_WATER_PRESSURE, has_pressure},
            {QUANTITY_AIR_PRESSURE, r->barometer[i] != NO_BAROMETER},
            {QUANTITY_DEPTH, has_pressure && has_air},
            {QUANTITY_LEVEL, has_pressure && has_air && is_tied},
            {QUANTITY_CONDUCTIVITY, conducts},
            {QUANTITY_SPECIFIC_CONDUCTANCE, conducts},
            {QUANTITY_SALINITY, conducts && has_warmth},
            {QUANTITY_OXYGEN, has_oxygen},
            {QUANTITY_OXYGEN_SATURATION, has_oxygen && has_air && has_warmth},
            {QUANTITY_OXYGEN_SATURATION_STANDARD, has_oxygen && has_warmth},
        };
        for (size_t k = 0; k < COUNT_OF(rules); k++)
            cr_assert(rules[k].may_be || !is_known(out[rules[k].quantity], i) ||
                          (rules[k].quantity == QUANTITY_OXYGEN_SATURATION && !out[QUANTITY_TEMPERATURE]),
                      "round %d, row %zu: %s out of nothing", round, i, quantity_info(rules[k].quantity)->key);
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
            if (!out[q])
                continue;
            cr_assert(!isinf(out[q][i]));
            cr_assert_eq(r->flag[q][i] == FLAG_MISSING, isnan(out[q][i]) != 0, "round %d, row %zu: %s %g is %s", round,
                         i, quantity_info(q)->key, out[q][i], flag_word(r->flag[q][i]));
            cr_assert(!is_known(r->uncertainty[q], i) || is_known(out[q], i), "round %d, row %zu: %s", round, i,
                      quantity_info(q)->key);
        }
    }
}

Test(derive, nothing_finite_comes_out_of_missing_inputs)
{
    static const struct {
        enum quantity quantity;
        int64_t least, most;
    } inputs[] = {{QUANTITY_WATER_PRESSURE, 101000, 150000},
                  {QUANTITY_TEMPERATURE, -3, 45},
                  {QUANTITY_CONDUCTIVITY, -1, 80},
                  {QUANTITY_SPECIFIC_CONDUCTANCE, -1, 80},
                  {QUANTITY_OXYGEN, -1, 20},
                  {QUANTITY_OXYGEN_SATURATION, 0, 250},
                  {QUANTITY_BATTERY, 3, 4}};
    uint64_t state = 20260302;
    for (int round = 0; round < 600; round++) {
        arena_reset(arena);
        size_t n = random_index(&state, 60);
        uint32_t columns = 0;
        for (size_t k = 0; k < COUNT_OF(inputs); k++)
            columns |= random_index(&state, 3) ? BIT(inputs[k].quantity) : 0;
        site_init(&site, arena, n, 15 * MINUTE_MS, columns);
        site.source_count = random_index(&state, 3);
        site.station.salinity_source = (enum salinity_source)random_index(&state, 3);
        site.station.salinity = random_index(&state, 2) ? 20 : NAN;
        site.station.sensor_elevation = random_index(&state, 2) ? 1 : NAN;
        size_t density = 1 + random_index(&state, 6);
        for (size_t k = 0; k < COUNT_OF(inputs); k++)
            for (size_t i = 0; site.readings.value[inputs[k].quantity] && i < n; i++)
                if (random_index(&state, density) != 0)
                    site.readings.value[inputs[k].quantity][i] =
                        (double)random_between(&state, inputs[k].least, inputs[k].most);
        for (size_t k = 0; k < 2; k++)
            for (size_t i = 0; i < site.sources[k].readings.n; i++)
                if (random_index(&state, density) == 0)
                    site.sources[k].readings.value[QUANTITY_AIR_PRESSURE][i] = NAN;
        for (size_t k = random_index(&state, 5); k > 0; k--)
            site_note(&site, (enum note_kind)random_index(&state, NOTE_CHECK),
                      site_minute((double)random_between(&state, -30, 900)), 1);
        bool is_tied = !isnan(site.station.sensor_elevation);
        for (size_t k = 0; k < site.note_count; k++)
            is_tied |= site.notes[k].kind == NOTE_LEVEL;
        struct derived derived = site_derive(&site);
        expect_nothing_invented(&derived.record, &site.readings, is_tied, round);
    }
}

/* ---- hand readings that cannot be right ---- */

/* The k-th of a kind, which there must be. */
static const struct finding *finding_of(const struct derived *derived, enum finding_kind kind, size_t k)
{
    for (size_t i = 0; i < derived->findings.count; i++)
        if (derived->findings.list[i].kind == kind && k-- == 0)
            return &derived->findings.list[i];
    cr_assert_fail("no such finding");
    return NULL;
}

Test(derive, a_misread_staff_is_set_aside_told_and_ties_nothing)
{
    site_init(&site, arena, 24 * 12, 5 * MINUTE_MS, BIT(QUANTITY_WATER_PRESSURE));
    site_fill(&site, QUANTITY_WATER_PRESSURE, SITE_AIR + 19600);
    site.station.reading_limit = 6;
    site_note(&site, NOTE_LEVEL, site_minute(100), 1.500);
    site_note(&site, NOTE_LEVEL, site_minute(700), 1.503 + 0.4572);
    site_note(&site, NOTE_LEVEL, site_minute(1300), 1.500);
    struct derived derived = site_derive(&site);
    const struct finding *finding = finding_of(&derived, FINDING_READING_SET_ASIDE, 0);
    cr_expect_eq(finding->span.from, site_minute(700));
    cr_expect(finding->wants_hand);
    cr_expect_float_eq(finding->value, 0.4602, 1e-4);
    cr_expect(strstr(finding->text, "staff reading 1.960 m stands 0.460 m above what its neighbours leave (1.500 m)"),
              "%s", finding->text);
    cr_expect_float_eq(derived.record.value[QUANTITY_LEVEL][140], 1.5, 1e-6, "not drawn up to it");
    for (size_t k = 0; k < derived.check_count; k++)
        cr_expect_neq(derived.checks[k].time, site_minute(700), "it is no closing error");
    site.station.reading_limit = 0;
    derived = site_derive(&site);
    cr_expect_float_eq(derived.record.value[QUANTITY_LEVEL][140], 1.5 + 0.4602, 1e-4, "unless the settings say so");
}

/* ---- the interval, and air that cannot be ---- */

Test(derive, the_interval_is_that_of_most_steps_wherever_they_stand)
{
    site_init(&site, arena, 1000, 5 * MINUTE_MS, BIT(QUANTITY_TEMPERATURE));
    for (size_t i = 0; i < 1000; i++) /* the first 300 are of another time, a quarter of an hour apart, then a pause */
        site.readings.time[i] =
            SITE_START + (i < 300 ? (int64_t)i * 15 * MINUTE_MS : 90 * DAY_MS + (int64_t)(i - 300) * 5 * MINUTE_MS);
    struct derived derived = site_derive(&site);
    cr_expect_eq(derived.interval, 5 * MINUTE_MS);
    site.readings.n = 300;
    derived = site_derive(&site);
    cr_expect_eq(derived.interval, 15 * MINUTE_MS);
    site.readings.n = 1;
    derived = site_derive(&site);
    cr_expect_eq(derived.interval, 15 * MINUTE_MS, "nothing to go by");
}

Test(derive, depth_is_no_better_than_the_air_pressure_that_was_taken_off)
{
    site_init(&site, arena, 10, 15 * MINUTE_MS, BIT(QUANTITY_WATER_PRESSURE));
    site_fill(&site, QUANTITY_WATER_PRESSURE, SITE_AIR + 19600);
    site.station.sensor_elevation = 0;
    site.config.quality[QUANTITY_AIR_PRESSURE].sensor_min = 85000;
    site.config.quality[QUANTITY_AIR_PRESSURE].usual_min = 95000;
    static const enum quantity touched[] = {QUANTITY_AIR_PRESSURE, QUANTITY_DEPTH, QUANTITY_LEVEL};
    for (size_t k = 0; k < COUNT_OF(touched); k++) /* no test but the range */
        site.config.quality[touched[k]].spike_suspect = site.config.quality[touched[k]].spike_fail = NAN;
    double *air = site.sources[0].readings.value[QUANTITY_AIR_PRESSURE];
    air[4] = 70000; /* row 3: the barometer begins one interval earlier */
    air[6] = 92000;
    struct derived derived = site_derive(&site);
    cr_expect_eq(derived.record.flag[QUANTITY_AIR_PRESSURE][3], FLAG_FAIL);
    cr_expect_eq(derived.record.flag[QUANTITY_DEPTH][3], FLAG_FAIL);
    cr_expect_eq(derived.record.flag[QUANTITY_LEVEL][3], FLAG_FAIL);
    cr_expect(derived.record.tests[QUANTITY_DEPTH][3] & TEST_GROSS_RANGE);
    cr_expect_eq(derived.record.flag[QUANTITY_DEPTH][5], FLAG_SUSPECT);
    cr_expect_eq(derived.record.flag[QUANTITY_AIR_PRESSURE][0], FLAG_PASS);
    cr_expect_neq(derived.record.flag[QUANTITY_DEPTH][0], FLAG_FAIL);
}
