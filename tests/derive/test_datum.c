/* SPDX-License-Identifier: MIT */
#include "derive/derive.h"

#include "derive/site.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static struct arena *arena;
static struct site site;
static struct datum_change change = {.offset = 0.15, .datum = "zero of the new staff"};

static void set_up(void)
{
    arena = arena_new();
    site_init(&site, arena, 289, 5 * MINUTE_MS, 1u << QUANTITY_WATER_PRESSURE);
    site_fill(&site, QUANTITY_WATER_PRESSURE, SITE_AIR + 19600);
    site.station.datum = "zero of the staff";
    site.station.datum_changes = &change;
    site.station.datum_change_count = 1;
    change.from = site_minute(700);
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(datum, .init = set_up, .fini = tear_down);

static const struct finding *finding(const struct derived *derived, size_t k)
{
    for (size_t i = 0; i < derived->findings.count; i++)
        if (derived->findings.list[i].kind == FINDING_DATUM && k-- == 0)
            return &derived->findings.list[i];
    return NULL;
}

Test(datum, levels_and_hand_readings_are_in_the_one_that_is_valid_then)
{
    site_note(&site, NOTE_LEVEL, site_minute(300), 1.500);
    site_note(&site, NOTE_LEVEL, site_minute(1100), 1.350); /* the same water on the new staff */
    struct derived derived = site_derive(&site);
    const double *level = derived.record.value[QUANTITY_LEVEL];
    cr_expect_float_eq(level[139], 1.5, 1e-6);
    cr_expect_float_eq(level[140], 1.35, 1e-6, "from the very time on");
    cr_expect_eq(derived.record.flag[QUANTITY_LEVEL][140], FLAG_PASS, "a change of the datum is no jump of the water");
    cr_assert_geq(derived.check_count, 2);
    cr_expect_float_eq(derived.checks[1].difference, 0, 1e-6, "nothing drifted");
    cr_expect_float_eq(derived.checks[1].reference, 1.35, 1e-6, "as it was read");
    cr_expect_float_eq(derived.offset[280], level[280] - derived.record.value[QUANTITY_DEPTH][280], 1e-9);
}

Test(datum, elevations_in_the_settings_stay_in_the_first_datum)
{
    site.station.sensor_elevation = -0.5;
    site.station.tape_point = 4;
    struct derived derived = site_derive(&site);
    double before = derived.record.value[QUANTITY_LEVEL][10], after = derived.record.value[QUANTITY_LEVEL][280];
    cr_expect_float_eq(before - after, 0.15, 1e-9);
    site_note(&site, NOTE_TAPE_DOWN, site_minute(1100), 2.5);
    derived = site_derive(&site);
    cr_expect_float_eq(derived.record.value[QUANTITY_LEVEL][10], 1.5, 1e-6);
    cr_expect_float_eq(derived.record.value[QUANTITY_LEVEL][280], 1.35, 1e-6);
}

Test(datum, the_record_states_which_and_since_when)
{
    site.station.sensor_elevation = 0;
    struct derived derived = site_derive(&site);
    const struct finding *first = finding(&derived, 0), *second = finding(&derived, 1);
    cr_assert(first && second && !finding(&derived, 2));
    cr_expect_str_eq(first->text, "level 0 is 'zero of the staff', the first");
    cr_expect_str_eq(second->text, "level 0 is 'zero of the new staff', +0.1500 m from the first: 'zero of the staff'");
    cr_expect_eq(second->span.from, site_minute(700));
    site.station.datum_change_count = 0;
    derived = site_derive(&site);
    cr_expect_null(finding(&derived, 0), "without a change there is nothing to tell");
}
