/* SPDX-License-Identifier: MIT */
#include "config/value.h"

#include "base/memory.h"
#include "base/timestamp.h"
#include "config/config.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

static double quantity(const char *text, int dimension, bool is_difference)
{
    double value = -9999;
    struct error error = {0};
    cr_expect(value_quantity(text, strlen(text), dimension, is_difference, &value, &error), "'%s' %s", text,
              error.text);
    return value;
}

static void expect_refused(const char *text, int dimension, const char *wanted)
{
    double value = -9999;
    struct error error = {0};
    cr_expect_not(value_quantity(text, strlen(text), dimension, false, &value, &error), "'%s' was accepted", text);
    cr_expect(strstr(error.text, wanted), "'%s': expected '%s' in '%s'", text, wanted, error.text);
    cr_expect_eq(error.kind, ERROR_CONFIG);
    cr_expect_float_eq(value, -9999, 0);
}

Test(value, a_stage_of_the_tide_is_one_of_four_words)
{
    unsigned stage;
    struct error error;
    cr_expect(value_tide("rising", 6, &stage, &error) && stage == TIDE_RISING);
    cr_expect(value_tide("falling", 7, &stage, &error) && stage == TIDE_FALLING);
    cr_expect(value_tide("high", 4, &stage, &error) && stage == TIDE_HIGH);
    cr_expect(value_tide("low", 3, &stage, &error) && stage == TIDE_LOW);
    cr_expect(!value_tide("slack", 5, &stage, &error));
    cr_expect_not_null(strstr(error.text, "rising, falling, high or low, found 'slack'"), "%s", error.text);
}

Test(value, a_number_and_its_unit_are_read_with_and_without_a_space)
{
    cr_expect_float_eq(quantity("0.25 m", UNIT_LENGTH, false), 0.25, 0);
    cr_expect_float_eq(quantity("0.25m", UNIT_LENGTH, false), 0.25, 0);
    cr_expect_float_eq(quantity("  18 in ", UNIT_LENGTH, false), 0.4572, 1e-15);
    cr_expect_float_eq(quantity("-1.5e2 cm", UNIT_LENGTH, false), -1.5, 1e-15);
}

Test(value, a_typographic_minus_is_a_minus)
{
    cr_expect_float_eq(quantity("\xE2\x88\x92"
                                "2 m",
                                UNIT_LENGTH, false),
                       -2, 0);
}

Test(value, a_difference_of_temperatures_has_no_offset)
{
    cr_expect_float_eq(quantity("50 degF", UNIT_TEMPERATURE, false), 10, 1e-12);
    cr_expect_float_eq(quantity("9 degF", UNIT_TEMPERATURE, true), 5, 1e-12);
}

Test(value, a_bare_number_is_accepted_only_where_nothing_can_be_meant_otherwise)
{
    cr_expect_float_eq(quantity("44.03", NO_DIMENSION, false), 44.03, 0);
    cr_expect_float_eq(quantity("13", UNIT_SALINITY, false), 13, 0);
    cr_expect_float_eq(quantity("0.0191", UNIT_TEMPERATURE_COEFFICIENT, false), 0.0191, 0);
    expect_refused("3", UNIT_LENGTH, "is a length and needs its unit, such as '0.25 m', found '3'");
    expect_refused("0", UNIT_DURATION, "needs its unit");
}

Test(value, the_wrong_kind_of_unit_is_refused_with_both_kinds)
{
    expect_refused("3 m", UNIT_MASS_CONCENTRATION, "is a concentration such as '3 mg/L', found '3 m', a length");
    expect_refused("3 mg/L", UNIT_DURATION, "is a duration such as '30 min', found '3 mg/L', a concentration");
    expect_refused("44 degC", NO_DIMENSION, "is a number without a unit");
}

Test(value, nonsense_is_refused)
{
    expect_refused("", UNIT_LENGTH, "found ''");
    expect_refused("m", UNIT_LENGTH, "is a length");
    expect_refused("1,5 m", UNIT_LENGTH, "unknown unit ',5 m'");
    expect_refused("1.2.3 m", UNIT_LENGTH, "found '1.2.3 m'");
    expect_refused("- 2 m", UNIT_LENGTH, "found '- 2 m'");
    expect_refused("nan m", UNIT_LENGTH, "found 'nan m'");
    expect_refused("1e999 m", UNIT_LENGTH, "found '1e999 m'");
    expect_refused("3 furlong", UNIT_LENGTH, "found the unknown unit 'furlong'");
}

Test(value, every_quantity_reads_its_written_unit)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        char text[64];
        snprintf(text, sizeof text, "1 %s", quantity_info(q)->unit);
        double value = quantity(text, (int)quantity_dimension(q), true);
        cr_expect_float_eq(quantity_to_written(q, value), 1, 1e-12, "%s", quantity_info(q)->key);
    }
}

Test(value, a_rate_is_per_hour_with_or_without_saying_so)
{
    double rate;
    cr_assert(value_rate("2 mg/L", 6, UNIT_MASS_CONCENTRATION, &rate, NULL));
    cr_expect_float_eq(rate, 2, 0);
    cr_assert(value_rate("2 mg/L/h", 8, UNIT_MASS_CONCENTRATION, &rate, NULL));
    cr_expect_float_eq(rate, 2, 0);
    cr_assert(value_rate("50 cm/h", 7, UNIT_LENGTH, &rate, NULL));
    cr_expect_float_eq(rate, 0.5, 0);
    cr_expect_not(value_rate("2 m/min", 7, UNIT_LENGTH, &rate, NULL));
}

Test(value, durations_are_whole_milliseconds)
{
    int64_t ms;
    cr_assert(value_duration("1.5 h", 5, &ms, NULL));
    cr_expect_eq(ms, 90 * MINUTE_MS);
    cr_assert(value_duration("3 d", 3, &ms, NULL));
    cr_expect_eq(ms, 3 * DAY_MS);
    cr_assert(value_duration("0.1 s", 5, &ms, NULL));
    cr_expect_eq(ms, 100);
    cr_expect_not(value_duration("1e300 d", 7, &ms, NULL));
}

Test(value, sizes_are_decimal_or_binary)
{
    int64_t bytes;
    static const struct {
        const char *text;
        int64_t bytes;
    } good[] = {{"12 B", 12},      {"1 kB", 1000},          {"1 KiB", 1024},     {"64MiB", 64 << 20},
                {"2 MB", 2000000}, {"1.5 GiB", 1610612736}, {"1 GB", 1000000000}};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        cr_assert(value_size(good[i].text, strlen(good[i].text), &bytes, NULL), "%s", good[i].text);
        cr_expect_eq(bytes, good[i].bytes, "%s", good[i].text);
    }
    static const char *const bad[] = {"64", "64 M", "-1 kB", "1 m", "", "1e300 GB", "64 mib"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_expect_not(value_size(bad[i], strlen(bad[i]), &bytes, NULL), "%s", bad[i]);
}

Test(value, offsets_and_truth_values_are_strict)
{
    int64_t ms;
    bool is_true;
    int whole;
    cr_expect(value_offset("-08:00", 6, &ms, NULL) && ms == -8 * HOUR_MS);
    cr_expect(value_offset("Z", 1, &ms, NULL) && ms == 0);
    cr_expect_not(value_offset("-8", 2, &ms, NULL));
    cr_expect(value_boolean("true", 4, &is_true, NULL) && is_true);
    cr_expect(value_boolean("false", 5, &is_true, NULL) && !is_true);
    cr_expect_not(value_boolean("yes", 3, &is_true, NULL));
    cr_expect(value_integer("587", 3, &whole, NULL) && whole == 587);
    cr_expect_not(value_integer("587.0", 5, &whole, NULL));
    cr_expect_not(value_integer("99999999999", 11, &whole, NULL));
}

Test(value, words_are_the_same_in_any_case_and_with_any_joint)
{
    cr_expect(value_same_word("unreadable_drop", "Unreadable Drop"));
    cr_expect(value_same_word("in order", "in-order"));
    cr_expect_not(value_same_word("in order", "in orde"));
    cr_expect_not(value_same_word("", "a"));
}

Test(value, months_and_days_may_run_over_the_end)
{
    unsigned got;
    struct error error = {0};
    cr_expect(value_months("aug", 3, &got, &error) && got == 1u << 7);
    cr_expect(value_months("Oct-Mar", 7, &got, &error) && got == 0xE07);
    cr_expect(value_months("jan-dec", 7, &got, &error) && got == 0xFFF);
    cr_expect(value_days("sat-mon", 7, &got, &error) && got == 0x61);
    static const char *const bad[] = {"", "august", "aug-", "-aug", "mon-fri", "jan-feb-mar"};
    for (size_t k = 0; k < COUNT_OF(bad); k++) {
        cr_expect_not(value_months(bad[k], strlen(bad[k]), &got, &error), "'%s'", bad[k]);
        cr_expect(strstr(error.text, "such as 'aug' or 'oct-mar'"), "%s", error.text);
    }
}
