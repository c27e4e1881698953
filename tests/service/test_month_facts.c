/* SPDX-License-Identifier: MIT */
#include "service/month_facts.h"

#include <criterion/criterion.h>

static struct known_months *known;
static struct month_facts got;

static void start(void)
{
    known = known_months_new(2000);
}

static void finish(void)
{
    known_months_free(known);
}

TestSuite(month_facts, .init = start, .fini = finish);

static void put(size_t station, int32_t month, size_t usable)
{
    struct month_facts facts = {.month = month, .hours.limit_count = 1};
    facts.summaries[QUANTITY_LEVEL].usable = usable;
    known_months_put(known, station, &facts);
}

Test(month_facts, are_taken_once)
{
    put(3, 24000, 7);
    cr_assert(known_months_take(known, 3, 24000, &got));
    cr_expect(got.summaries[QUANTITY_LEVEL].usable == 7 && got.hours.limit_count == 1);
    cr_expect_not(known_months_take(known, 3, 24000, &got));
}

Test(month_facts, are_those_of_the_newest_month_as_it_was_put_last)
{
    put(3, 24000, 7);
    put(3, 24001, 8);
    put(3, 24001, 9);
    put(3, 23999, 5);
    cr_assert(known_months_take(known, 3, 24001, &got));
    cr_expect_eq(got.summaries[QUANTITY_LEVEL].usable, 9);
}

Test(month_facts, of_another_month_or_station_are_not_known)
{
    put(3, 24000, 7);
    cr_expect_not(known_months_take(known, 4, 24000, &got));
    cr_expect_not(known_months_take(known, 3, 24001, &got), "the page is about a month that nobody wrote since");
    cr_expect_not(known_months_take(known, 3, 24000, &got), "what was passed over is old");
}

Test(month_facts, can_be_forgotten)
{
    put(3, 24000, 7);
    known_months_forget(known, 3);
    known_months_forget(known, 4);
    cr_expect_not(known_months_take(known, 3, 24000, &got));
}

Test(month_facts, of_very_many_stations_only_some_are_kept)
{
    size_t kept = 0;
    for (size_t k = 0; k < 2000; k++)
        put(k, 24000, k);
    put(5, 24001, 1); /* who is known has room */
    cr_expect(known_months_take(known, 5, 24001, &got));
    for (size_t k = 0; k < 2000; k++)
        kept += known_months_take(known, k, 24000, &got);
    cr_expect(kept > 500 && kept < 1500, "%zu", kept);
    put(1999, 24000, 1);
    cr_expect(known_months_take(known, 1999, 24000, &got), "there is room again");
}
