/* SPDX-License-Identifier: MIT */
#include "archive/decimate.h"

#include <math.h>

/* The samples of one column that belong to one unbroken piece of line. */
struct bucket {
    int64_t column;
    size_t first, lowest, highest, last;
    bool begins;
};

static size_t flush(const struct bucket *bucket, struct kept_row *ret);
static void add(struct bucket *bucket, const double *value, size_t row);

size_t decimate(const int64_t *time, const double *value, size_t n, struct span span, int columns, int64_t pause,
                struct kept_row *ret)
{
    const double columns_per_ms = columns / (double)(span.to - span.from);
    struct bucket bucket = {.column = -1};
    size_t kept = 0;
    bool is_broken = true;
    for (size_t i = 0; i < n && time[i] < span.to; i++) {
        if (time[i] < span.from)
            continue;
        if (isnan(value[i])) {
            is_broken = true;
            continue;
        }
        int64_t column = (int64_t)((double)(time[i] - span.from) * columns_per_ms);
        bool begins = is_broken || time[i] - time[bucket.last] > pause;
        if (begins || column != bucket.column) {
            kept += bucket.column >= 0 ? flush(&bucket, ret + kept) : 0;
            bucket = (struct bucket){column, i, i, i, i, begins};
        }
        add(&bucket, value, i);
        is_broken = false;
    }
    return kept + (bucket.column >= 0 ? flush(&bucket, ret + kept) : 0);
}

static void add(struct bucket *bucket, const double *value, size_t row)
{
    if (value[row] < value[bucket->lowest])
        bucket->lowest = row;
    if (value[row] > value[bucket->highest])
        bucket->highest = row;
    bucket->last = row;
}

/* In order of time, each row once. */
static size_t flush(const struct bucket *bucket, struct kept_row *ret)
{
    bool low_first = bucket->lowest < bucket->highest;
    const size_t rows[] = {bucket->first, low_first ? bucket->lowest : bucket->highest,
                           low_first ? bucket->highest : bucket->lowest, bucket->last};
    size_t n = 0;
    for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++)
        if (n == 0 || rows[k] != ret[n - 1].row)
            ret[n++] = (struct kept_row){rows[k], false};
    ret[0].begins = bucket->begins;
    return n;
}
