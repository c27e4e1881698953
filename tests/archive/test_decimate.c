/* SPDX-License-Identifier: MIT */
#include "archive/decimate.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

enum { MANY = 100000, COLUMNS = 1000 };

static int64_t time[MANY];
static double value[MANY];
static struct kept_row kept[MANY];

static const struct span month = {0, (int64_t)MANY *MINUTE_MS};

static void fill(void)
{
    for (size_t i = 0; i < MANY; i++) {
        time[i] = (int64_t)i * MINUTE_MS;
        value[i] = sin((double)i * 0.001) + sin((double)i * 1.7) * 0.1;
    }
}

TestSuite(decimate, .init = fill);

static size_t run(void)
{
    return decimate(time, value, MANY, month, COLUMNS, 3 * MINUTE_MS, kept);
}

static bool keeps(size_t n, size_t row)
{
    for (size_t k = 0; k < n; k++)
        if (kept[k].row == row)
            return true;
    return false;
}

Test(decimate, keeps_four_samples_of_a_column_at_most)
{
    size_t n = run();
    cr_expect_leq(n, 4 * COLUMNS);
    cr_expect_gt(n, 2 * COLUMNS);
}

Test(decimate, keeps_every_extreme_however_short)
{
    const size_t spikes[] = {7, 12345, 50049, 50051, 99998};
    for (size_t k = 0; k < COUNT_OF(spikes); k++)
        value[spikes[k]] = k % 2 ? -50 - (double)k : 50 + (double)k;
    size_t n = run();
    for (size_t k = 0; k < COUNT_OF(spikes); k++)
        cr_expect(keeps(n, spikes[k]), "%zu", spikes[k]);
}

Test(decimate, keeps_the_highest_and_lowest_of_every_column)
{
    size_t n = run(), at = 0;
    for (size_t c = 0; c < COLUMNS; c++) {
        double low = INFINITY, high = -INFINITY, kept_low = INFINITY, kept_high = -INFINITY;
        for (size_t i = c * MANY / COLUMNS; i < (c + 1) * MANY / COLUMNS; i++) {
            low = fmin(low, value[i]);
            high = fmax(high, value[i]);
        }
        for (; at < n && kept[at].row < (c + 1) * MANY / COLUMNS; at++) {
            kept_low = fmin(kept_low, value[kept[at].row]);
            kept_high = fmax(kept_high, value[kept[at].row]);
        }
        cr_assert_eq(kept_low, low, "column %zu", c);
        cr_assert_eq(kept_high, high, "column %zu", c);
    }
}

Test(decimate, keeps_first_and_last_and_ascends)
{
    size_t n = run();
    cr_expect_eq(kept[0].row, 0);
    cr_expect_eq(kept[n - 1].row, MANY - 1);
    for (size_t k = 1; k < n; k++)
        cr_assert_lt(kept[k - 1].row, kept[k].row);
}

Test(decimate, breaks_the_line_at_missing_values_and_long_pauses_only)
{
    value[5000] = NAN;
    for (size_t i = 70000; i < MANY; i++)
        time[i] += 10 * MINUTE_MS;
    size_t n = decimate(time, value, MANY, (struct span){0, time[MANY - 1] + 1}, COLUMNS, 3 * MINUTE_MS, kept),
           begins = 0;
    for (size_t k = 0; k < n; k++) {
        bool expected = kept[k].row == 0 || kept[k].row == 5001 || kept[k].row == 70000;
        cr_expect_eq(kept[k].begins, expected, "row %zu", kept[k].row);
        begins += kept[k].begins;
    }
    cr_expect_eq(begins, 3);
}

Test(decimate, leaves_out_what_is_missing_or_outside)
{
    for (size_t i = 0; i < MANY; i++)
        value[i] = NAN;
    cr_expect_eq(run(), 0);
    fill();
    size_t n = decimate(time, value, MANY, (struct span){time[100], time[200]}, COLUMNS, 3 * MINUTE_MS, kept);
    cr_expect_eq(n, 100);
    cr_expect_eq(kept[0].row, 100);
    cr_expect_eq(kept[n - 1].row, 199);
    cr_expect_eq(decimate(time, value, 0, month, COLUMNS, 0, kept), 0);
}

Test(decimate, keeps_a_lonely_sample_between_missing_ones)
{
    for (size_t i = 0; i < MANY; i++)
        value[i] = i % 2 ? NAN : value[i];
    cr_expect_eq(run(), MANY / 2);
    for (size_t k = 0; k < MANY / 2; k++)
        cr_assert(kept[k].begins && kept[k].row == 2 * k);
}
