/* SPDX-License-Identifier: MIT */
#include "intake/header.h"

#include <criterion/criterion.h>

TestSuite(header);

static enum header_fit fit(const char *cell, const char *pattern)
{
    return header_fit(cell_from(cell), pattern);
}

static const char *unit_name(const char *cell)
{
    struct cell text;
    const struct unit *unit = header_unit(cell_from(cell), &text);
    return unit ? unit->name : "";
}

Test(header, tells_how_well_a_cell_fits)
{
    cr_expect_eq(fit("Water Temp", "water temp"), HEADER_EXACT);
    cr_expect_eq(fit("Water Temp (F)", "Water*"), HEADER_BY_PATTERN);
    cr_expect_eq(fit("Water Temp (F)", "Water Temp"), HEADER_WITHOUT_UNIT);
    cr_expect_eq(fit("Water Temp [F]", "Water Temp"), HEADER_WITHOUT_UNIT);
    cr_expect_eq(fit("Water Temp, F", "Water Temp"), HEADER_WITHOUT_UNIT);
    cr_expect_eq(fit("Water Temp, F (deep)", "Water Temp"), HEADER_WITHOUT_UNIT);
    cr_expect_eq(fit("Water Temp (F)", "Water"), HEADER_NONE);
    cr_expect_eq(fit("(F)", "F"), HEADER_NONE);
    cr_expect_eq(fit("", "*"), HEADER_NONE);
}

Test(header, finds_the_unit)
{
    cr_expect_str_eq(unit_name("Depth (ft)"), "ft");
    cr_expect_str_eq(unit_name("Temp [\xC2\xB0"
                               "C]"),
                     "degC");
    cr_expect_str_eq(unit_name("Pressure, kPa"), "kPa");
    cr_expect_str_eq(unit_name("Pressure, kPa (deep sensor)"), "kPa");
    cr_expect_str_eq(unit_name("DO ( mg/L )"), "mg/L");
    cr_expect_str_eq(unit_name("Depth"), "");
    cr_expect_str_eq(unit_name("Depth (lower)"), "");
    cr_expect_str_eq(unit_name("Temp (1)"), "");
    cr_expect_str_eq(unit_name("Depth ft)"), "");
}

Test(header, knows_the_dimension_of_every_quantity)
{
    cr_expect_eq(header_dimension(QUANTITY_WATER_PRESSURE), UNIT_PRESSURE);
    cr_expect_eq(header_dimension(QUANTITY_AIR_PRESSURE), UNIT_PRESSURE);
    cr_expect_eq(header_dimension(QUANTITY_TEMPERATURE), UNIT_TEMPERATURE);
    cr_expect_eq(header_dimension(QUANTITY_OXYGEN), UNIT_MASS_CONCENTRATION);
    cr_expect_eq(header_dimension(QUANTITY_OXYGEN_SATURATION), UNIT_PERCENTAGE);
    cr_expect_eq(header_dimension(QUANTITY_SPECIFIC_CONDUCTANCE), UNIT_CONDUCTIVITY);
    cr_expect_eq(header_dimension(QUANTITY_SALINITY), UNIT_SALINITY);
    cr_expect_eq(header_dimension(QUANTITY_LEVEL), UNIT_LENGTH);
    cr_expect_eq(header_dimension(QUANTITY_BATTERY), UNIT_VOLTAGE);
}
