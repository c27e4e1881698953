/* SPDX-License-Identifier: MIT */
#include "archive/written.h"

#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

static struct text text;

static void start(void)
{
    text_init(&text, 1 << 20);
}

static void finish(void)
{
    text_done(&text);
}

TestSuite(written, .init = start, .fini = finish);

Test(written, numbers_are_those_that_read_back_from_the_text)
{
    uint64_t random = 88172645463325252u;
    for (int i = 0; i < 200000; i++) {
        random ^= random << 13, random ^= random >> 7, random ^= random << 17;
        int decimals = (int)(random % 7);
        double value = ((double)(random >> 11) / 0x1p53 - 0.5) * pow(10, (double)(random % 9));
        if (i % 3 == 0) /* near ties */
            value = round(value * 1000) / 1000 + 0.0005;
        text_clear(&text);
        text_number(&text, value, decimals);
        double found = written_round(value, decimals);
        cr_assert_eq(found, strtod(text.bytes, NULL), "%.17g with %d decimals", value, decimals);
    }
}

Test(written, no_minus_stands_before_zero_and_missing_stays_missing)
{
    cr_expect_not(signbit(written_round(-0.00004, 4)));
    cr_expect(isnan(written_round(NAN, 3)));
    cr_expect(isnan(written_value(QUANTITY_LEVEL, NAN)));
}

Test(written, values_are_in_the_written_unit)
{
    cr_expect_eq(written_value(QUANTITY_SPECIFIC_CONDUCTANCE, 0.15234), 152.3);
    cr_expect_eq(written_value(QUANTITY_WATER_PRESSURE, 111132.46), 111.1325);
    written_print(&text, QUANTITY_AIR_PRESSURE, 101325);
    cr_expect_str_eq(text.bytes, "1013.250");
}

static const char *duration(int64_t milliseconds)
{
    text_clear(&text);
    written_print_duration(&text, milliseconds);
    return text.bytes;
}

Test(written, durations_are_those_of_ISO_8601)
{
    cr_expect_str_eq(duration(0), "PT0S");
    cr_expect_str_eq(duration(5 * MINUTE_MS), "PT5M");
    cr_expect_str_eq(duration(90 * SECOND_MS), "PT1M30S");
    cr_expect_str_eq(duration(DAY_MS), "P1D");
    cr_expect_str_eq(duration(30 * DAY_MS + 23 * HOUR_MS + 55 * MINUTE_MS), "P30DT23H55M");
}

Test(written, barometers_count_from_one)
{
    struct arena *arena = arena_new();
    struct dataset *dataset = fixture_month(arena);
    cr_expect_eq(written_barometer(dataset, NO_BAROMETER), 0);
    cr_expect_eq(written_barometer(dataset, 7), 1);
    cr_expect_eq(written_barometer(dataset, 12), 2);
    arena_free(arena);
}
