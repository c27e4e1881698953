/* SPDX-License-Identifier: MIT */
#include "model/quantity.h"

#include <criterion/criterion.h>
#include <ctype.h>
#include <string.h>

static bool is_word(const char *text)
{
    return *text && strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789_") == strlen(text);
}

Test(quantity, every_row_has_every_text)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        const struct quantity_info *info = quantity_info(q);
        cr_expect(info->key && is_word(info->key), "row %d", q);
        cr_expect(info->title && isupper((unsigned char)*info->title), "%s", info->key);
        cr_expect(info->unit && *info->unit, "%s", info->key);
        cr_expect(info->ucum && *info->ucum && !strchr(info->ucum, ' '), "%s", info->key);
        cr_expect(info->udunits && *info->udunits && !strchr(info->udunits, '/'), "%s", info->key);
        cr_expect(info->qudt && *info->qudt && !strchr(info->qudt, ' '), "%s", info->key);
        cr_expect(info->column && is_word(info->column), "%s", info->key);
        cr_expect(!info->standard_name || is_word(info->standard_name), "%s", info->key);
        cr_expect(info->scale > 0, "%s", info->key);
        cr_expect(info->decimals >= 0 && info->decimals <= 6, "%s", info->key);
        cr_expect(info->shown_decimals >= 0 && info->shown_decimals <= info->decimals, "%s", info->key);
    }
}

/* Numbers and keys stand in databases and archives: a new one is appended here as there. */
Test(quantity, numbers_that_are_stored_stay)
{
    static const char *const stored[] = {"level",
                                         "depth",
                                         "temperature",
                                         "oxygen",
                                         "oxygen_saturation",
                                         "oxygen_saturation_standard",
                                         "conductivity",
                                         "specific_conductance",
                                         "salinity",
                                         "water_pressure",
                                         "air_pressure",
                                         "air_temperature",
                                         "battery",
                                         "second_temperature",
                                         "sensor_latitude",
                                         "sensor_longitude"};
    cr_assert_eq(sizeof stored / sizeof stored[0], QUANTITY_COUNT);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        cr_expect_str_eq(quantity_info(q)->key, stored[q]);
}

Test(quantity, traits_are_those_of_the_row)
{
    cr_expect(quantity_is(QUANTITY_DEPTH, QUANTITY_NEVER_NEGATIVE));
    cr_expect(!quantity_is(QUANTITY_LEVEL, QUANTITY_NEVER_NEGATIVE));
    cr_expect(quantity_is(QUANTITY_SENSOR_LATITUDE, QUANTITY_IN_AIR_TOO));
    cr_expect(!quantity_is(QUANTITY_DEPTH, QUANTITY_IN_AIR_TOO));
    cr_expect(!quantity_is(QUANTITY_COUNT, QUANTITY_NEVER_NEGATIVE | QUANTITY_IN_AIR_TOO));
}

Test(quantity, keys_titles_and_columns_are_unique)
{
    for (enum quantity a = 0; a < QUANTITY_COUNT; a++)
        for (enum quantity b = 0; b < a; b++) {
            const struct quantity_info *x = quantity_info(a), *y = quantity_info(b);
            cr_expect_str_neq(x->key, y->key);
            cr_expect_str_neq(x->title, y->title);
            cr_expect_str_neq(x->column, y->column);
        }
}

Test(quantity, a_column_begins_with_the_key)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        const struct quantity_info *info = quantity_info(q);
        cr_expect_eq(strncmp(info->column, info->key, strlen(info->key)), 0, "%s", info->column);
    }
}

/* The same unit is spelt the same way in every system of spelling, or a reader takes two for different. UDUNITS has one
 * word, "1", for all that it has no unit for. */
Test(quantity, one_unit_has_one_spelling)
{
    for (enum quantity a = 0; a < QUANTITY_COUNT; a++)
        for (enum quantity b = 0; b < a; b++) {
            const struct quantity_info *x = quantity_info(a), *y = quantity_info(b);
            bool is_same = strcmp(x->unit, y->unit) == 0;
            cr_expect_eq(strcmp(x->ucum, y->ucum) == 0, is_same, "%s, %s", x->key, y->key);
            bool has_none = strcmp(x->udunits, "1") == 0 && strcmp(y->udunits, "1") == 0;
            cr_expect_eq(strcmp(x->udunits, y->udunits) == 0, is_same || has_none, "%s, %s", x->key, y->key);
            cr_expect_eq(strcmp(x->qudt, y->qudt) == 0, is_same, "%s, %s", x->key, y->key);
        }
}

Test(quantity, a_key_is_found_in_any_dress)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        char key[64] = {0};
        cr_expect_eq(quantity_find(quantity_info(q)->key), q);
        for (size_t i = 0; quantity_info(q)->key[i]; i++)
            key[i] = (char)toupper((unsigned char)quantity_info(q)->key[i]);
        cr_expect_eq(quantity_find(key), q, "%s", key);
        for (char *c = strchr(key, '_'); c; c = strchr(key, '_'))
            *c = '-';
        cr_expect_eq(quantity_find(key), q, "%s", key);
        for (char *c = strchr(key, '-'); c; c = strchr(key, '-'))
            *c = ' ';
        cr_expect_eq(quantity_find(key), q, "%s", key);
    }
}

Test(quantity, what_is_no_key_is_not_found)
{
    static const char *const wrong[] = {"",  "_", "leve", "levels", "level_", "oxygen__saturation", "oxygensaturation",
                                        "pH"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        cr_expect_eq(quantity_find(wrong[i]), QUANTITY_COUNT, "'%s'", wrong[i]);
}

Test(quantity, values_are_written_in_the_unit_that_is_named)
{
    const struct {
        enum quantity quantity;
        double inside, written;
        const char *unit;
    } rows[] = {
        {QUANTITY_WATER_PRESSURE, 101325, 101.325, "kPa"},
        {QUANTITY_AIR_PRESSURE, 101325, 1013.25, "hPa"},
        {QUANTITY_SPECIFIC_CONDUCTANCE, 1.5, 1500, "\xC2\xB5S/cm"},
        {QUANTITY_CONDUCTIVITY, 42.914, 42.914, "mS/cm"},
        {QUANTITY_LEVEL, 1.25, 1.25, "m"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        cr_expect_float_eq(quantity_to_written(rows[i].quantity, rows[i].inside), rows[i].written, 1e-9);
        cr_expect_str_eq(quantity_info(rows[i].quantity)->unit, rows[i].unit);
    }
}
