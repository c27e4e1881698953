/* SPDX-License-Identifier: MIT */
/* What the sweeps of this folder share: one column of a record, and how a verdict is written. */
#ifndef RILLWARD_QUALITY_COLUMN_H
#define RILLWARD_QUALITY_COLUMN_H

#include "model/record.h"

#include <math.h>
#include <stdbool.h>

struct column_view {
    size_t n;
    const int64_t *time;
    const double *value;
    uint8_t *flag;
    uint32_t *tests;
};

struct column_view column_of(struct record *record, enum quantity quantity);

/* A value that was not failed because the sensor was in air or a person struck it. */
static inline bool column_is_usable(const struct column_view *column, size_t i)
{
    bool is_ruled_out = column->flag[i] == FLAG_FAIL && column->tests[i] & (TEST_IN_AIR | TEST_PERSON_STRUCK);
    return !isnan(column->value[i]) && !is_ruled_out;
}

/* Worsens the flag, unless a person restored the value; sets the bit unless the verdict is a pass. */
static inline void column_judge(struct column_view *column, size_t i, enum test test, uint8_t flag)
{
    if (flag == FLAG_PASS && column->flag[i] == FLAG_PASS)
        return;                                     /* most verdicts on most samples */
    if (!(column->tests[i] & TEST_PERSON_RESTORED)) /* people outrank tests */
        column->flag[i] = flag_merge(column->flag[i], flag);
    if (flag != FLAG_PASS)
        column->tests[i] |= test;
}

/* Rows whose value is, within the tolerance, that of every row back to `duration` before, without a pause
 * longer than `pause`. ret is zeroed. */
void column_find_flat(const struct column_view *column, double tolerance, int64_t duration, int64_t pause,
                      uint8_t *ret);

/* ret[i]: largest less smallest usable value over [time - window, time]; NaN where the value itself is not
 * usable, or the samples do not reach back over the window without a pause longer than `pause`. */
void column_variation(const struct column_view *column, int64_t window, int64_t pause, double *ret);

#endif
