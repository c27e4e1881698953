/* SPDX-License-Identifier: MIT */
#include "science/lag.h"

#include "base/random.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

enum { N = 1344, REACH = 56 };

static double sum[N], part[N + 2 * REACH], room[LAG_ROOM * N];
static uint64_t state;

static double noise(double deviation)
{
    double total = 0;
    for (int k = 0; k < 12; k++)
        total += (double)random_between(&state, 0, 1000000) / 1000000;
    return (total - 6) * deviation;
}

/* A tide of 3,500, and a walk of steps of 7 that comes `lag` steps late; noise of `rest`. */
static double *make(int lag, double gain, double rest)
{
    for (int i = 1; i < N + 2 * REACH; i++)
        part[i] = part[i - 1] + noise(7);
    for (int i = 0; i < N; i++)
        sum[i] = gain * part[i + REACH - lag] + 3500 * cos(2 * acos(-1) * i / 49.68) + noise(rest);
    return part + REACH;
}

static void begin(void)
{
    state = 11;
    part[0] = 101325;
}

TestSuite(lag, .init = begin);

Test(lag, a_part_that_comes_late_is_found_at_its_lag)
{
    const int lags[] = {1, -1, 4, -20, REACH, -REACH};
    for (size_t k = 0; k < sizeof lags / sizeof *lags; k++) {
        struct lag_result got;
        const double *air = make(lags[k], 1, 5);
        cr_assert_eq(lag_find(N, sum, air, REACH, room, &got), LAG_SEARCHED);
        cr_expect_eq(got.best.lag, lags[k]);
        cr_expect(lag_is_sure(&got), "lag %d: %g standard errors, rival %g", lags[k], got.best.sureness, got.rival);
        cr_expect(fabs(got.best.gain - 1) < 0.15, "gain %g", got.best.gain);
        cr_expect_gt(got.best.pairs, N / 2);
    }
}

Test(lag, as_given_is_no_search)
{
    struct lag_result got;
    cr_expect_eq(lag_find(N, sum, make(0, 1, 5), REACH, room, &got), LAG_AGREES);
    cr_expect(got.best.lag == 0 && got.as_given.sureness > LAG_SURE && isnan(got.rival));
}

/* 113 lags, 200 trials: the highest of pure noise stays under what is asked. */
Test(lag, noise_is_never_sure)
{
    double highest = 0;
    size_t searched = 0;
    for (int trial = 0; trial < 200; trial++) {
        struct lag_result got;
        const double *air = make(0, 0, 7);
        if (lag_find(N, sum, air, REACH, room, &got) != LAG_SEARCHED)
            continue;
        searched++;
        highest = fmax(highest, got.best.sureness);
        cr_expect(!lag_is_sure(&got));
    }
    cr_expect_gt(searched, 100);
    cr_expect(highest < 5 && highest > 2, "%g", highest);
}

Test(lag, too_little_is_unknown)
{
    struct lag_result got;
    const double *air = make(4, 1, 5);
    cr_expect_eq(lag_find(LAG_LEAST_PAIRS, sum, air, REACH, room, &got), LAG_UNKNOWN, "few");
    cr_expect_eq(lag_find(0, sum, air, REACH, room, &got), LAG_UNKNOWN, "none");
    air = make(4, 1, 500);
    cr_expect_eq(lag_find(N, sum, air, REACH, room, &got), LAG_UNKNOWN, "drowned");
    for (int i = 0; i < N; i++)
        sum[i] = 101325;
    cr_expect_eq(lag_find(N, sum, air, REACH, room, &got), LAG_UNKNOWN, "flat");
    for (int i = 0; i < N; i++)
        sum[i] = NAN;
    cr_expect_eq(lag_find(N, sum, air, REACH, room, &got), LAG_UNKNOWN, "missing");
}

Test(lag, gaps_and_a_lift_into_air_do_not_matter)
{
    struct lag_result got;
    const double *air = make(4, 1, 5);
    for (int i = 0; i < N; i += 97)
        sum[i] = NAN;
    for (int i = 600; i < 604; i++)
        sum[i] -= 20000;
    cr_assert_eq(lag_find(N, sum, air, REACH, room, &got), LAG_SEARCHED);
    cr_expect(got.best.lag == 4 && lag_is_sure(&got));
}

/* An air that answers five times too strongly, or against, is none. */
Test(lag, an_impossible_gain_is_not_believed)
{
    struct lag_result got;
    cr_assert_eq(lag_find(N, sum, make(4, 5, 5), REACH, room, &got), LAG_SEARCHED);
    cr_expect(got.best.lag == 4 && !lag_is_sure(&got));
    cr_assert_eq(lag_find(N, sum, make(4, -1, 5), REACH, room, &got), LAG_SEARCHED);
    cr_expect(!lag_is_sure(&got));
}
