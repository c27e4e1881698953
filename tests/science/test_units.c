/* SPDX-License-Identifier: MIT */
#include "science/units.h"

#include "science/check.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static const struct unit *named(const char *name);
static double converted(double value, const char *from, const char *to);

Test(units, conversions_agree_with_published_factors)
{
    const struct check rows[] = {
        CHECK(converted(1, "psi", "Pa"), 6894.757293168, 1e-8, "exact definition (public unit vocabulary)"),
        CHECK(converted(1, "inHg", "Pa"), 3386.389, 6e-4,
              "NIST SP 811, app. B.8 (by a public unit vocabulary)"),
        CHECK(converted(29.92, "inHg", "hPa"), 1013.207, 1e-3, "computed independently"),
        CHECK(converted(760, "mmHg", "Pa"), 101325.014437, 1e-5,
              "computed independently from exact definitions"),
        CHECK(converted(1, "ftH2O", "Pa"), 2989.067, 1e-3,
              "NIST SP 811, app. B.8 (by a public unit vocabulary)"),
        CHECK(converted(1, "psi", "dbar"), 0.6894757, 1e-7, "exact definition"),
        CHECK(converted(-40, "degF", "degC"), -40, 1e-12, "exact definition"),
        CHECK(converted(77, "degF", "degC"), 25, 1e-12, "exact definition"),
        CHECK(converted(14.6959, "psi", "hPa"), 1013.247, 2e-3,
              "computed independently from exact definitions"),
        CHECK(converted(59, "degF", "degC"), 15, 1e-12, "exact definition"),
        CHECK(converted(1, "kgf/cm2", "Pa"), 98066.500000, 5e-07, "exact definition"),
        CHECK(converted(10, "usft", "m"), 3.04800610, 5e-09, "exact definition"),
        CHECK(converted(2, "atm", "psi"), 29.3918976, 5e-08, "computed independently from exact definitions"),
        CHECK(converted(5, "ft", "inch"), 60.000000000, 5e-10, "exact definition"),
    };
    CHECK_ALL(rows);
}

Test(units, facts_that_crews_know_by_heart_hold)
{
    const struct check rows[] = {
        CHECK(converted(18, "in", "ft"), 1.5, 1e-12, "common practice: a foot has 12 inches"),
        CHECK(converted(18, "in", "m"), 0.4572, 1e-12, "common practice: an inch is 25.4 mm"),
        CHECK(converted(1, "atm", "psi"), 14.696, 5e-4, "common practice"),
        CHECK(converted(1, "mS/cm", "uS/cm"), 1000, 1e-9, "common practice"),
        CHECK(converted(5, "S/m", "mS/cm"), 50, 1e-12, "common practice: marine archives write S/m"),
        CHECK(converted(1, "mL/L", "umol/L"), 44.6596, 2e-4, "common practice of marine archives"),
        CHECK(converted(62.5, "umol/L", "mg/L"), 2.0, 1e-3, "common practice: hypoxia, 2 mg/L"),
        CHECK(converted(15, "min", "ms"), 900000, 0, "definition"),
        CHECK(converted(1, "day", "s"), 86400, 0, "definition"),
        CHECK(converted(760, "torr", "atm"), 1, 1e-15, "definition"),
        CHECK(converted(1, "mL/L", "mg/L"), 1.42905, 1e-12, "USGS memo 2011.03, by open implementations"),
        CHECK(converted(100, "cm/min", "m/h"), 60, 1e-12, "definition"),
        CHECK(converted(24, "m/day", "m/h"), 1, 1e-15, "definition"),
        CHECK(converted(1, "week", "h"), 168, 1e-12, "definition"),
        CHECK(converted(0.25, "m/min", "m/h"), 15, 1e-12, "definition"),
        CHECK(converted(0, "degC", "K"), 273.15, 1e-12, "definition"),
        CHECK(converted(1.91, "%/degC", "1/degC"), 0.0191, 1e-15, "definition"),
    };
    CHECK_ALL(rows);
}

Test(units, a_difference_ignores_the_zero_of_the_scale)
{
    const struct unit *fahrenheit = named("degF");
    const struct unit *kelvin = named("K");
    cr_expect(is_close(unit_difference_to_base(fahrenheit, 5), 2.7777777778, 1e-9));
    cr_expect(is_close(unit_difference_from_base(fahrenheit, 2.5), 4.5, 1e-12));
    cr_expect(unit_difference_to_base(kelvin, 2) == 2);
    cr_expect(is_close(unit_to_base(fahrenheit, 5), -15, 1e-12));
}

Test(units, every_unit_makes_the_round_trip)
{
    const double values[] = {-40, -1.5, 0, 1e-3, 1, 77, 101325.25};
    for (size_t i = 0; i < unit_count(); i++) {
        const struct unit *unit = unit_at(i);
        for (size_t k = 0; k < sizeof values / sizeof values[0]; k++) {
            const double back = unit_from_base(unit, unit_to_base(unit, values[k]));
            cr_expect(is_close(back, values[k], 1e-12 * fmax(1, fabs(values[k]))), "%s: %.17g", unit->name,
                      back);
            const double difference =
                unit_difference_from_base(unit, unit_difference_to_base(unit, values[k]));
            cr_expect(is_close(difference, values[k], 1e-12 * fmax(1, fabs(values[k]))), "%s", unit->name);
        }
        cr_expect(isnan(unit_to_base(unit, NAN)), "%s", unit->name);
        cr_expect(isnan(unit_from_base(unit, NAN)), "%s", unit->name);
    }
}

Test(units, every_row_is_complete_and_rises)
{
    for (size_t i = 0; i < unit_count(); i++) {
        const struct unit *unit = unit_at(i);
        cr_expect(strlen(unit->help) > 0, "%s", unit->name);
        cr_expect(strchr(unit->name, '|') == NULL, "%s", unit->name);
        cr_expect(unit->scale > 0 && isfinite(unit->scale), "%s", unit->name);
        cr_expect(unit->dimension == UNIT_TEMPERATURE || unit->offset == 0, "%s", unit->name);
    }
}

Test(units, every_dimension_has_a_name_and_one_base_unit)
{
    for (int i = 0; i < UNIT_DIMENSION_COUNT; i++) {
        const enum unit_dimension dimension = (enum unit_dimension)i;
        cr_assert_not_null(unit_dimension_name(dimension));
        const struct unit *base = unit_base(dimension);
        cr_assert_not_null(base, "%s", unit_dimension_name(dimension));
        cr_expect(base->dimension == dimension);
        cr_expect(unit_to_base(base, 12.5) == 12.5);
    }
    cr_expect_str_eq(unit_base(UNIT_PRESSURE)->name, "Pa");
    cr_expect_str_eq(unit_base(UNIT_LENGTH)->name, "m");
    cr_expect_str_eq(unit_base(UNIT_TEMPERATURE)->name, "degC");
    cr_expect_str_eq(unit_base(UNIT_CONDUCTIVITY)->name, "mS/cm");
    cr_expect_str_eq(unit_base(UNIT_MASS_CONCENTRATION)->name, "mg/L");
    cr_expect_str_eq(unit_base(UNIT_DURATION)->name, "ms");
}

Test(units, every_spelling_finds_its_own_row_and_no_other)
{
    size_t spellings = 0;
    for (size_t i = 0; i < unit_count(); i++) {
        size_t length;
        const char *spelling;
        for (size_t k = 0; (spelling = unit_spelling(unit_at(i), k, &length)) != NULL; k++) {
            cr_expect(length > 0, "%s has an empty spelling", unit_at(i)->name);
            cr_expect(unit_find(spelling, length) == unit_at(i), "'%.*s'", (int)length, spelling);
            spellings++;
        }
    }
    cr_expect(spellings > unit_count());
}

Test(units, the_signs_for_micro_and_degree_are_found_in_each_encoding)
{
    cr_expect(named("\xC2\xB5S/cm") == named("uS/cm"), "U+00B5");
    cr_expect(named("\xCE\xBCS/cm") == named("uS/cm"), "U+03BC");
    cr_expect(named("\xC2\xB5mol/L") == named("umol/L"), "U+00B5");
    cr_expect(named("\xCE\xBCmol/L") == named("umol/L"), "U+03BC");
    cr_expect(named("\xC2\xB0"
                    "C")
                  == named("degC"),
              "U+00B0");
    cr_expect(named("\xC2\xBA"
                    "F")
                  == named("degF"),
              "U+00BA");
}

Test(units, what_is_no_unit_is_not_found)
{
    const char *const strangers[] = {"", " ", "psi ", "furlong", "MS/cm", "Mg/L", "m|cm", "k", "ps"};
    for (size_t i = 0; i < sizeof strangers / sizeof strangers[0]; i++)
        cr_expect_null(named(strangers[i]), "'%s'", strangers[i]);
    cr_expect_not_null(unit_find("psi and more", 3), "the length counts, not the terminator");
    cr_expect_null(unit_find("m\0m", 3), "a zero byte inside is no unit");
}

Test(units, a_sweep_gives_what_single_calls_give_and_may_work_in_place)
{
    double values[] = {-40, 32, NAN, 212};
    const double expected[] = {unit_to_base(named("degF"), -40), unit_to_base(named("degF"), 32), NAN,
                               unit_to_base(named("degF"), 212)};
    unit_to_base_sweep(4, values, named("degF"), values);
    for (size_t i = 0; i < 4; i++)
        cr_expect(is_same(values[i], expected[i]), "%zu", i);
    cr_expect(values[1] == 0, "the freezing point is exactly 0");
}

static const struct unit *named(const char *name)
{
    return unit_find(name, strlen(name));
}

static double converted(double value, const char *from, const char *to)
{
    cr_assert(named(from)->dimension == named(to)->dimension, "%s and %s", from, to);
    return unit_from_base(named(to), unit_to_base(named(from), value));
}
