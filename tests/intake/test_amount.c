/* SPDX-License-Identifier: MIT */
/* Foot 0.3048 m and inch 0.0254 m are exact (international yard and pound agreement, 1959). */
#include "intake/amount.h"

#include <criterion/criterion.h>

TestSuite(amount);

static void expect_feet(const char *text, double expected)
{
    double value;
    cr_assert(amount_read_feet(cell_from(text), '.', &value), "%s", text);
    cr_expect_float_eq(value, expected, 1e-12, "%s is %.12g", text, value);
}

static void expect_no_feet(const char *text)
{
    double value;
    cr_expect_not(amount_read_feet(cell_from(text), '.', &value), "%s", text);
}

Test(amount, reads_feet_and_inches)
{
    double expected = 3 * 0.3048 + 4.5 * 0.0254;
    expect_feet("3' 4 1/2\"", expected);
    expect_feet("3'4-1/2\"", expected);
    expect_feet("3' 4.5\"", expected);
    expect_feet("3 ft 4.5 in", expected);
    expect_feet("3ft. 4 1/2 inches", expected);
    expect_feet("3 feet 4\xC2\xBD inch", expected);
    expect_feet("3\xE2\x80\xB2 4 \xC2\xBD\xE2\x80\xB3", expected);
    expect_feet("3\xE2\x80\x99 4.5\xE2\x80\x9D", expected);
    expect_feet("3' 4 1/2", expected);
    expect_feet("3' 4.5''", expected);
    expect_feet("3 FT 4.5 IN", expected);
    expect_feet("3ft 4.5in", expected);
    expect_feet("3ft4.5in.", expected);
    expect_feet("3 Feet 4.5 Inches", expected);
    expect_feet("-3' 4.5\"", -expected);
    expect_feet("3.5 ft", 3.5 * 0.3048);
    expect_feet("3 1/2 ft", 3.5 * 0.3048);
    expect_feet("1/2\"", 0.5 * 0.0254);
    expect_feet("40 in", 40 * 0.0254);
    expect_feet("0' 0\"", 0);
}

Test(amount, refuses_what_is_not_feet_and_inches)
{
    expect_no_feet("3.5");
    expect_no_feet("3 4");
    expect_no_feet("3.5' 4\"");
    expect_no_feet("3' 12\"");
    expect_no_feet("3' 4\" 5");
    expect_no_feet("3' 4 5/4\"");
    expect_no_feet("3' 1/0\"");
    expect_no_feet("'");
    expect_no_feet("");
    expect_no_feet("4\" 3'");
    expect_no_feet("3 m");
}

static enum amount_result read_amount(const char *text, const char *unit, enum unit_dimension dimension, double *ret)
{
    const struct unit *found = unit ? unit_find(unit, cell_from(unit).length) : NULL;
    return amount_read(cell_from(text), '.', found, dimension, ret);
}

Test(amount, reads_numbers_with_the_unit_of_the_column_or_their_own)
{
    double value;
    cr_expect_eq(read_amount("3.5", "ft", UNIT_LENGTH, &value), AMOUNT_READ);
    cr_expect_float_eq(value, 3.5 * 0.3048, 1e-12);
    cr_expect_eq(read_amount("1.07 m", "ft", UNIT_LENGTH, &value), AMOUNT_READ);
    cr_expect_float_eq(value, 1.07, 1e-12);
    cr_expect_eq(read_amount("1.07 Metres", "ft", UNIT_LENGTH, &value), AMOUNT_READ);
    cr_expect_float_eq(value, 1.07, 1e-12);
    cr_expect_eq(read_amount("107 CENTIMETERS", "ft", UNIT_LENGTH, &value), AMOUNT_READ);
    cr_expect_float_eq(value, 1.07, 1e-12);
    cr_expect_eq(read_amount("1.07 M", "ft", UNIT_LENGTH, &value), AMOUNT_NO_NUMBER);
    cr_expect_eq(read_amount("7.9mg/L", NULL, UNIT_MASS_CONCENTRATION, &value), AMOUNT_READ);
    cr_expect_float_eq(value, 7.9, 1e-12);
    cr_expect_eq(read_amount("12.5", NULL, UNIT_SALINITY, &value), AMOUNT_READ);
    cr_expect_eq(read_amount("3.5", NULL, UNIT_LENGTH, &value), AMOUNT_NO_UNIT);
    cr_expect_eq(read_amount("3.5 kg", "ft", UNIT_LENGTH, &value), AMOUNT_NO_NUMBER);
    cr_expect_eq(read_amount("3.5 psi", "ft", UNIT_LENGTH, &value), AMOUNT_WRONG_UNIT);
    cr_expect_eq(read_amount("nan", "ft", UNIT_LENGTH, &value), AMOUNT_NO_NUMBER);
    cr_expect_eq(read_amount("1e400", "ft", UNIT_LENGTH, &value), AMOUNT_NO_NUMBER);
    cr_expect_eq(read_amount("3' 4\"", "mg/L", UNIT_MASS_CONCENTRATION, &value), AMOUNT_NO_NUMBER);
}
