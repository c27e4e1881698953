/* SPDX-License-Identifier: MIT */
/* Three barometers at one place over ten weeks; one of them drifts. */
#include "service/pipeline.h"

#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

enum { WEEKS = 10, ROWS = WEEKS * 7 * 24 };

static struct fixture f;
static struct pipeline p;

static void set_up(void)
{
    struct error error = {0};
    f = fixture_open("rules: {air: {kind: drift, quantity: air_pressure, limit: 0.5 hPa, stations: [hill, quay, mast], "
                     "tell: [desk]}}\n");
    cr_assert(pipeline_open(&p, f.config, f.store, &error), "%s", error.text);
}

static void tear_down(void)
{
    pipeline_close(&p);
    fixture_close(&f);
}

TestSuite(barometers, .init = set_up, .fini = tear_down);

/* Hourly from Monday 2026-04-20 on; `drift` Pa a week from the fifth week on. */
static void put_air(const char *id, double more, double drift)
{
    struct error error = {0};
    struct readings r;
    readings_init(&r, f.arena, ROWS, 1u << QUANTITY_AIR_PRESSURE);
    for (size_t i = 0; i < ROWS; i++) {
        double weeks = (double)i / 168;
        r.time[i] = hours_on((double)i);
        r.value[QUANTITY_AIR_PRESSURE][i] =
            101000 + 800 * sin(weeks * 9) + more + (weeks > 4 ? drift * (weeks - 4) : 0);
    }
    size_t barometer = config_find_barometer(f.config, id);
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(store_readings_save(f.store, p.barometer_places[barometer], &r, &error), "%s", error.text);
    cr_assert(spans_dirty_by_air(&p, barometer, (struct span){r.time[0], r.time[ROWS - 1] + 1}, &error), "%s",
              error.text);
    cr_assert(store_commit(f.store, &error));
}

static void derive_all(void)
{
    struct error error = {0};
    bool worked = true;
    while (worked)
        cr_assert(pipeline_derive(&p, hours_on(ROWS), &worked, &error), "%s", error.text);
}

static size_t load(const char *id, struct finding **ret, struct check_result **ret_checks, size_t *ret_check_count)
{
    struct error error = {0};
    size_t n;
    uint32_t place = p.barometer_places[config_find_barometer(f.config, id)];
    struct span all = {hours_on(0), hours_on(ROWS)};
    cr_assert(store_findings_load(f.store, place, all, f.arena, ret, &n, &error), "%s", error.text);
    cr_assert(store_checks_load(f.store, place, all, f.arena, ret_checks, ret_check_count, &error), "%s", error.text);
    return n;
}

Test(barometers, a_third_one_tells_which_of_them_drifted)
{
    put_air("hill", 20, 0);
    put_air("quay", 0, 15);
    put_air("mast", -30, 0);
    derive_all();
    struct finding *found;
    struct check_result *checks;
    size_t n, count;
    n = load("hill", &found, &checks, &count);
    cr_expect_eq(n, 0, "it is not this one");
    cr_assert_eq(count, WEEKS - 4, "each week but the first four");
    cr_expect_eq(checks[0].kind, CHECK_BAROMETERS);
    n = load("quay", &found, &checks, &count);
    cr_assert_eq(n, 3, "15 Pa a week: over 50 Pa in the last three of six weeks");
    cr_expect_eq(found[0].kind, FINDING_BAROMETER_DRIFTED);
    cr_expect(found[0].wants_hand);
    cr_expect_float_eq(found[0].value, 15 * 3.5, 0.5, "the middle of the week");
    cr_expect(strstr(found[0].text, "more against 'hill'") && strstr(found[0].text, "'mast' as well: this one drifted"),
              "%s", found[0].text);
    cr_assert_eq(count, WEEKS - 4);
    cr_expect_float_eq(checks[5].difference, 15 * 5.5, 0.5);
    cr_expect_float_eq(checks[5].sensor - checks[5].reference, checks[5].difference, 1e-9);
}

Test(barometers, of_two_nobody_can_say_which_and_a_drift_rule_tells)
{
    put_air("hill", 0, 0);
    put_air("quay", 0, -20);
    derive_all();
    struct finding *found;
    struct check_result *checks;
    size_t count;
    cr_assert_gt(load("hill", &found, &checks, &count), 0);
    cr_expect(strstr(found[0].text, "one of the two drifted"), "%s", found[0].text);
    struct error error = {0};
    struct alarm *alarms;
    size_t n;
    cr_assert(
        store_alarms_of_station(f.store, "quay", (struct span){0, hours_on(ROWS)}, 10, f.arena, &alarms, &n, &error));
    cr_assert_eq(n, 1);
    cr_expect(strstr(alarms[0].episode.detail, "other barometer"), "%s", alarms[0].episode.detail);
}

Test(barometers, a_constant_difference_is_no_drift)
{
    put_air("hill", 300, 0);
    put_air("quay", 0, 0);
    derive_all();
    struct finding *found;
    struct check_result *checks;
    size_t count;
    cr_expect_eq(load("quay", &found, &checks, &count), 0);
    cr_assert_eq(count, WEEKS - 4);
    cr_expect_float_eq(checks[0].difference, 0, 0.1);
}

Test(barometers, made_again_from_its_originals_it_is_compared_again)
{
    put_air("hill", 0, 0);
    put_air("quay", 0, 20);
    derive_all();
    struct error error = {0};
    uint32_t place = p.barometer_places[config_find_barometer(f.config, "quay")];
    struct span all = {hours_on(0), hours_on(ROWS)};
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(store_checks_replace(f.store, place, all, NULL, 0, &error));
    cr_assert(store_findings_replace(f.store, place, FINDINGS_OF_A_MOMENT, all, NULL, 0, &error));
    cr_assert(pipeline_derive_again(&p, place, hours_on(ROWS), &error), "%s", error.text);
    cr_assert(store_commit(f.store, &error));
    derive_all();
    struct finding *found;
    struct check_result *checks;
    size_t count;
    cr_expect_gt(load("quay", &found, &checks, &count), 0);
    cr_expect_eq(count, WEEKS - 4);
}
