/* SPDX-License-Identifier: MIT */
#include "archive/summary.h"

#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <math.h>

static struct arena *arena;
static struct text text;

static void start(void)
{
    arena = arena_new();
    text_init(&text, 1 << 16);
}

static void finish(void)
{
    text_done(&text);
    arena_free(arena);
}

TestSuite(summary, .init = start, .fini = finish);

Test(summary, counts_by_flag_and_leaves_failed_values_out)
{
    struct record *record = &fixture_month(arena)->record;
    record->flag[QUANTITY_LEVEL][3] = FLAG_FAIL; /* the lowest value */
    struct summary s = summarize(record, QUANTITY_LEVEL);
    cr_expect(s.usable == 4 && s.failed == 1 && s.missing == 1 && s.suspect == 0);
    cr_expect(s.min == 1.2012 && s.max == 1.2113 && s.last == 1.2113);
    cr_expect(s.min_time == record->time[0] && s.last_time == record->time[5]);
    cr_expect_eq(summarize(record, QUANTITY_OXYGEN).suspect, 6);
}

Test(summary, tells_whether_anything_is_usable_as_counting_does)
{
    struct dataset *dataset = fixture_month(arena);
    struct record *record = &dataset->record;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        cr_expect_eq(summary_has_usable(dataset, q), summarize(record, q).usable > 0, "%s", quantity_info(q)->key);
    for (size_t i = 0; i + 1 < record->n; i++)
        record->flag[QUANTITY_LEVEL][i] = FLAG_FAIL;
    cr_expect(summary_has_usable(dataset, QUANTITY_LEVEL)); /* the last row */
    record->flag[QUANTITY_LEVEL][record->n - 1] = FLAG_FAIL;
    cr_expect(!summary_has_usable(dataset, QUANTITY_LEVEL));
}

Test(summary, of_a_column_that_is_not_there_is_empty)
{
    struct summary s = summarize(&fixture_month(arena)->record, QUANTITY_BATTERY);
    cr_expect(s.usable == 0 && isnan(s.min) && isnan(s.last) && s.last_time == TIME_NONE);
    summary_add_sentence(&text, &s, QUANTITY_BATTERY);
    cr_expect_eq(text.length, 0);
}

Test(summary, says_a_month_of_a_quantity_in_a_sentence)
{
    struct summary s = summarize(&fixture_month(arena)->record, QUANTITY_LEVEL);
    summary_add_sentence(&text, &s, QUANTITY_LEVEL);
    cr_expect_str_eq(text.bytes, "Water level: 0.000 to 1.211\u00a0m, last 1.211\u00a0m; 1 missing.");
}

Test(summary, writes_numbers_for_people)
{
    static const struct {
        enum quantity quantity;
        double inside;
        const char *written;
    } rows[] = {
        {QUANTITY_LEVEL, -0.3464, "\u22120.346\u00a0m"},
        {QUANTITY_LEVEL, -0.00001, "0.000\u00a0m"},
        {QUANTITY_SPECIFIC_CONDUCTANCE, 27.4941, "27494\u00a0\u00b5S/cm"},
        {QUANTITY_SALINITY, 17.104, "17.10"},
        {QUANTITY_AIR_PRESSURE, 101325, "1013.3\u00a0hPa"},
        {QUANTITY_OXYGEN, NAN, "\u2013"},
    };
    for (size_t k = 0; k < COUNT_OF(rows); k++) {
        text_clear(&text);
        summary_add_value(&text, rows[k].quantity, rows[k].inside);
        cr_expect_str_eq(text.bytes, rows[k].written);
    }
}

Test(summary, writes_differences_with_a_sign_but_for_nothing)
{
    static const struct {
        enum quantity quantity;
        double inside;
        const char *written;
    } rows[] = {
        {QUANTITY_LEVEL, 0.0604, "+60\u00a0mm"},
        {QUANTITY_LEVEL, -0.0004, "0\u00a0mm"},
        {QUANTITY_OXYGEN, -0.0264, "\u22120.03"},
        {QUANTITY_OXYGEN, 0.004, "0.00"},
        {QUANTITY_SPECIFIC_CONDUCTANCE, -3.235, "\u22123235"},
        {QUANTITY_OXYGEN, NAN, "\u2013"},
    };
    for (size_t k = 0; k < COUNT_OF(rows); k++) {
        text_clear(&text);
        summary_add_difference(&text, rows[k].quantity, rows[k].inside);
        cr_expect_str_eq(text.bytes, rows[k].written);
    }
}
