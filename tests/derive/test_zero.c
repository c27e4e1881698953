/* SPDX-License-Identifier: MIT */
/* A logger hung in a creek from minute 120 to 1320 of a day, 5 minutes apart, in air before and after; its pressure
 * sensor reads 200 Pa too much at the beginning and 440 Pa at the end, as a straight line. */
#include "derive/zero.h"

#include "base/random.h"
#include "derive/site.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

enum { ROWS = 289, IN = 120, OUT = 1320 };

static struct arena *arena;
static struct site site;

static double error_at(double minute)
{
    return 200 + (440.0 - 200.0) * (minute - IN) / (OUT - IN);
}

static void set_up(void)
{
    arena = arena_new();
    site_init(&site, arena, ROWS, 5 * MINUTE_MS,
              1u << QUANTITY_WATER_PRESSURE | 1u << QUANTITY_CONDUCTIVITY | 1u << QUANTITY_TEMPERATURE);
    site_fill(&site, QUANTITY_CONDUCTIVITY, 0.3);
    site_fill(&site, QUANTITY_TEMPERATURE, 12);
    site.station.sensor_elevation = 0;
    site.station.settling = 15 * MINUTE_MS;
    site_note(&site, NOTE_IN_WATER, site_minute(IN), NAN);
    site_note(&site, NOTE_OUT_OF_WATER, site_minute(OUT), NAN);
    for (size_t i = 0; i < ROWS; i++) {
        double minute = 5 * (double)i;
        bool in_water = minute >= IN && minute < OUT;
        double error = minute < IN ? 200 : minute > OUT ? 440 : error_at(minute);
        site.readings.value[QUANTITY_WATER_PRESSURE][i] = SITE_AIR + error + (in_water ? 19600 : 0);
        if (!in_water)
            site.readings.value[QUANTITY_CONDUCTIVITY][i] = 0;
    }
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(zero, .init = set_up, .fini = tear_down);

static struct zero_input input_of(void)
{
    double *air = arena_array(arena, ROWS, sizeof *air);
    for (size_t i = 0; i < ROWS; i++)
        air[i] = SITE_AIR;
    return (struct zero_input){.n = ROWS,
                               .time = site.readings.time,
                               .sensor = site.readings.value[QUANTITY_WATER_PRESSURE],
                               .air = air,
                               .conductivity = site.readings.value[QUANTITY_CONDUCTIVITY],
                               .notes = site.notes,
                               .note_count = site.note_count,
                               .interval = 5 * MINUTE_MS,
                               .settling = 15 * MINUTE_MS};
}

static size_t find(struct zero_error **ret)
{
    const struct zero_input input = input_of();
    return zero_errors(arena, &input, ret);
}

static void set(double from, double to, double pressure)
{
    for (size_t i = 0; i < ROWS; i++)
        if (5 * (double)i >= from && 5 * (double)i <= to)
            site.readings.value[QUANTITY_WATER_PRESSURE][i] = pressure;
}

Test(zero, is_known_at_both_ends_of_a_stay)
{
    struct zero_error *errors;
    cr_assert_eq(find(&errors), 2);
    cr_expect(!errors[0].is_end && errors[0].time == site_minute(IN));
    cr_expect(errors[1].is_end && errors[1].time == site_minute(OUT));
    cr_expect_float_eq(errors[0].value, 200, 1e-9);
    cr_expect_float_eq(errors[1].value, 440, 1e-9);
    cr_expect_float_eq(errors[0].sensor, SITE_AIR + 200, 1e-9);
    cr_expect_float_eq(errors[0].air, SITE_AIR, 1e-9);
    cr_expect_eq(errors[0].samples, 18, "from 90 minutes before to one interval before");
    cr_expect_eq(errors[1].samples, 16, "from 15 minutes after to 90 minutes after");
    cr_expect_float_eq(errors[0].uncertainty, 17.32, 0.01, "30 Pa of the barometer, evenly");
}

Test(zero, a_few_wild_samples_do_not_move_it)
{
    set(90, 100, SITE_AIR + 5000); /* dropped into a puddle for three samples */
    struct zero_error *errors;
    cr_assert_eq(find(&errors), 2);
    cr_expect_float_eq(errors[0].value, 200, 1e-9);
}

Test(zero, too_few_samples_tell_nothing)
{
    site.readings.n = (OUT + 20) / 5 + 1; /* two settled ones after it came out */
    for (size_t i = site.readings.n; i < ROWS; i++)
        site.readings.value[QUANTITY_WATER_PRESSURE][i] = NAN;
    struct zero_error *errors;
    cr_assert_eq(find(&errors), 1);
    cr_expect_not(errors[0].is_end);
}

Test(zero, samples_that_do_not_agree_tell_nothing)
{
    uint64_t state = 7;
    for (size_t i = 0; i < IN / 5; i++) /* carried up a hill: 10 m of air are 120 Pa */
        site.readings.value[QUANTITY_WATER_PRESSURE][i] = SITE_AIR - (double)random_between(&state, 0, 500);
    struct zero_error *errors;
    cr_expect_eq(find(&errors), 1);
}

Test(zero, a_logger_in_a_bucket_is_not_in_air)
{
    for (size_t i = 0; i < IN / 5; i++)
        site.readings.value[QUANTITY_CONDUCTIVITY][i] = 0.25;
    struct zero_error *errors;
    cr_expect_eq(find(&errors), 1);
    set(OUT, 1440, SITE_AIR + 3000);
    cr_expect_eq(find(&errors), 0, "30 cm of water, whatever conductivity says");
}

Test(zero, what_is_taken_off_is_linear_between_both_ends_or_the_beginning_throughout)
{
    const struct zero_input input = input_of();
    struct zero_error *errors;
    size_t count = zero_errors(arena, &input, &errors);
    double *off = arena_array(arena, ROWS, sizeof *off), *u = arena_array(arena, ROWS, sizeof *u);
    zero_corrections(&input, count, errors, ZERO_LINEAR, off, u);
    cr_expect_float_eq(off[IN / 5], 200, 1e-9);
    cr_expect_float_eq(off[720 / 5], 320, 1e-9);
    cr_expect_float_eq(u[720 / 5], 17.32 / sqrt(2), 0.01, "two ends are better than one");
    cr_expect_eq(off[0], 0, "in air nothing is taken off: it is the zero itself");
    cr_expect_eq(off[ROWS - 1], 0);
    zero_corrections(&input, count, errors, ZERO_OFFSET, off, u);
    cr_expect_float_eq(off[720 / 5], 200, 1e-9);
    zero_corrections(&input, 1, errors + 1, ZERO_OFFSET, off, u);
    cr_expect_float_eq(off[720 / 5], 440, 1e-9, "the end, where the beginning is not known");
    zero_corrections(&input, count, errors, ZERO_NONE, off, u);
    cr_expect_eq(off[720 / 5], 0);
}

Test(zero, an_error_never_reaches_into_another_stay)
{
    site_note(&site, NOTE_OUT_OF_WATER, site_minute(600), NAN);
    site_note(&site, NOTE_IN_WATER, site_minute(620), NAN); /* too short to tell anything */
    const struct zero_input input = input_of();
    struct zero_error *errors;
    size_t count = zero_errors(arena, &input, &errors);
    double *off = arena_array(arena, ROWS, sizeof *off), *u = arena_array(arena, ROWS, sizeof *u);
    cr_assert_eq(count, 2);
    zero_corrections(&input, count, errors, ZERO_LINEAR, off, u);
    cr_expect_float_eq(off[300 / 5], 200, 1e-9, "constant from its beginning");
    cr_expect_float_eq(off[900 / 5], 440, 1e-9, "constant from its end");
}

Test(zero, the_chain_reports_it_and_corrects_only_where_asked)
{
    struct derived plain = site_derive(&site);
    cr_assert_eq(plain.findings.count, 3, "and the air pressure's");
    cr_expect_eq(plain.findings.list[2].kind, FINDING_ZERO_IN_AIR);
    cr_expect_not(plain.findings.list[2].wants_hand, "4.4 hPa are within 5 hPa");
    cr_expect(strstr(plain.findings.list[2].text, "coming out of the water, the pressure sensor reads 4.40 hPa more"),
              "%s", plain.findings.list[2].text);
    size_t zero_checks = 0;
    for (size_t k = 0; k < plain.check_count; k++)
        zero_checks += plain.checks[k].kind == CHECK_ZERO_IN_AIR && fabs(plain.checks[k].difference) > 199;
    cr_expect_eq(zero_checks, 2, "so that a drift rule can see it");
    double raw = plain.record.value[QUANTITY_DEPTH][720 / 5];
    site.station.zero_correction = ZERO_LINEAR;
    site.station.zero_limit = 300;
    struct derived corrected = site_derive(&site);
    cr_expect_float_eq(raw - corrected.record.value[QUANTITY_DEPTH][720 / 5], 320.0 / 9806, 2e-5);
    cr_expect(corrected.record.tests[QUANTITY_WATER_PRESSURE][720 / 5] & TEST_CORRECTED);
    cr_expect(corrected.findings.list[2].wants_hand);
    double depth = corrected.record.value[QUANTITY_DEPTH][IN / 5 + 20],
           late = corrected.record.value[QUANTITY_DEPTH][OUT / 5 - 20];
    cr_expect_float_eq(depth, late, 1e-6, "the drift is gone");
    cr_expect_gt(corrected.record.uncertainty[QUANTITY_LEVEL][720 / 5],
                 plain.record.uncertainty[QUANTITY_LEVEL][720 / 5]);
}
