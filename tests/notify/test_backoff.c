/* SPDX-License-Identifier: MIT */
#include "notify/backoff.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>

static const int64_t steps[] = {5 * SECOND_MS, 30 * SECOND_MS, 2 * MINUTE_MS, 5 * MINUTE_MS, 15 * MINUTE_MS,
                                HOUR_MS,       3 * HOUR_MS,    3 * HOUR_MS,   3 * HOUR_MS};

Test(backoff, waits_longer_each_time_within_a_fifth)
{
    for (size_t i = 0; i < COUNT_OF(steps); i++)
        for (uint64_t seed = 0; seed < 1000; seed++) {
            int64_t delay = backoff_delay((int64_t)i + 1, seed);
            cr_assert(delay >= steps[i] * 4 / 5 && delay <= steps[i] * 6 / 5, "%lld", (long long)delay);
        }
}

Test(backoff, spreads_over_the_whole_fifth)
{
    int64_t least = INT64_MAX, most = 0;
    for (uint64_t seed = 0; seed < 1000; seed++) {
        int64_t delay = backoff_delay(6, seed);
        least = delay < least ? delay : least;
        most = delay > most ? delay : most;
    }
    cr_expect_lt(least, HOUR_MS * 81 / 100);
    cr_expect_gt(most, HOUR_MS * 119 / 100);
}

Test(backoff, is_the_same_for_the_same_notice)
{
    cr_expect_eq(backoff_delay(3, backoff_seed("a-1")), backoff_delay(3, backoff_seed("a-1")));
    cr_expect_neq(backoff_delay(3, backoff_seed("a-1")), backoff_delay(3, backoff_seed("a-2")));
}

Test(backoff, takes_any_count)
{
    cr_expect_leq(backoff_delay(0, 1), 6 * SECOND_MS);
    cr_expect_leq(backoff_delay(INT64_MIN, 1), 6 * SECOND_MS);
    cr_expect_leq(backoff_delay(INT64_MAX, 1), 3 * HOUR_MS * 6 / 5);
}

Test(backoff, gives_up_after_five_days)
{
    int64_t created = 1700000000000;
    cr_expect_not(backoff_gives_up(created, created));
    cr_expect_not(backoff_gives_up(created, created + 5 * DAY_MS));
    cr_expect(backoff_gives_up(created, created + 5 * DAY_MS + 1));
    cr_expect_not(backoff_gives_up(created, created - 30 * DAY_MS)); /* a clock set back */
}
