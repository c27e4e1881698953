/* SPDX-License-Identifier: MIT */
#include "model/flags.h"

#include <criterion/criterion.h>
#include <string.h>

/* QARTOD: fail over suspect over pass over not evaluated over missing. */
static const uint8_t by_weight[] = {FLAG_MISSING, FLAG_NOT_EVALUATED, FLAG_PASS, FLAG_SUSPECT, FLAG_FAIL};

Test(flags, the_heavier_of_two_wins_in_either_order)
{
    for (size_t a = 0; a < 5; a++)
        for (size_t b = 0; b < 5; b++)
            cr_expect_eq(flag_merge(by_weight[a], by_weight[b]), by_weight[a > b ? a : b], "%d, %d", by_weight[a],
                         by_weight[b]);
}

Test(flags, three_roll_up_to_the_heaviest_however_they_are_merged)
{
    for (size_t a = 0; a < 5; a++)
        for (size_t b = 0; b < 5; b++)
            for (size_t c = 0; c < 5; c++) {
                size_t heaviest = a > b ? a : b;
                heaviest = heaviest > c ? heaviest : c;
                uint8_t x = by_weight[a], y = by_weight[b], z = by_weight[c];
                cr_expect_eq(flag_merge(flag_merge(x, y), z), by_weight[heaviest]);
                cr_expect_eq(flag_merge(x, flag_merge(y, z)), by_weight[heaviest]);
            }
}

Test(flags, numbers_are_those_of_the_scheme)
{
    cr_expect(FLAG_PASS == 1 && FLAG_NOT_EVALUATED == 2 && FLAG_SUSPECT == 3 && FLAG_FAIL == 4 && FLAG_MISSING == 9);
    cr_expect_str_eq(flag_word(1), "pass");
    cr_expect_str_eq(flag_word(2), "not evaluated");
    cr_expect_str_eq(flag_word(3), "suspect");
    cr_expect_str_eq(flag_word(4), "fail");
    cr_expect_str_eq(flag_word(9), "missing");
    cr_expect_str_eq(flag_word(5), "unknown");
}

Test(flags, every_bit_has_a_key_of_its_own_and_a_sentence)
{
    for (unsigned bit = 0; bit < TEST_COUNT; bit++) {
        const struct test_info *info = test_info(bit);
        cr_expect(*info->key && strspn(info->key, "abcdefghijklmnopqrstuvwxyz_") == strlen(info->key), "bit %u", bit);
        cr_expect_gt(strlen(info->meaning), 10, "bit %u", bit);
        for (unsigned other = 0; other < bit; other++)
            cr_expect_str_neq(info->key, test_info(other)->key);
    }
    cr_expect_eq(TEST_NO_TEMPERATURE, 1u << (TEST_COUNT - 1), "the last bit is counted");
}

/* They stand in published files. */
Test(flags, bits_keep_their_keys)
{
    static const char *const rows[] = {"gap",
                                       "syntax",
                                       "gross_range",
                                       "climatology",
                                       "spike",
                                       "rate_of_change",
                                       "flat_line",
                                       "attenuated_signal",
                                       "related_quantity",
                                       "neighbour",
                                       "in_air",
                                       "settling",
                                       "no_air_pressure",
                                       "air_pressure_gap",
                                       "no_reference",
                                       "corrected",
                                       "stated_salinity",
                                       "too_much_drift",
                                       "formula_range",
                                       "struck_by_note",
                                       "restored_by_note",
                                       "position",
                                       "no_temperature"};
    cr_assert_eq(sizeof rows / sizeof rows[0], TEST_COUNT, "a new test is written here, too");
    for (unsigned bit = 0; bit < TEST_COUNT; bit++)
        cr_expect_str_eq(test_info(bit)->key, rows[bit]);
    cr_expect_eq(TEST_GAP, 1u << 0);
    cr_expect_eq(TEST_SPIKE, 1u << 4);
    cr_expect_eq(TEST_IN_AIR, 1u << 10);
    cr_expect_eq(TEST_CORRECTED, 1u << 15);
    cr_expect_eq(TEST_POSITION, 1u << 21);
}
