/* SPDX-License-Identifier: MIT */
#include "science/alignment.h"

#include <math.h>
#include <stdbool.h>

/* Where the walk along the source stands: `after` is the first usable sample not before the time, `before`
 * the last usable one before it. */
struct bracket {
    size_t before;
    size_t after;
    bool has_before;
};

static struct bracket bracket_start(int64_t time, size_t n, const int64_t *times, const double *values);
static void bracket_move(struct bracket *at, int64_t time, size_t n, const int64_t *times,
                         const double *values);
static size_t first_not_before(int64_t time, size_t n, const int64_t *times);

double alignment_interpolate(int64_t time_ms, int64_t t0_ms, double v0, int64_t t1_ms, double v1)
{
    const bool is_within = (time_ms >= t0_ms && time_ms <= t1_ms) || (time_ms >= t1_ms && time_ms <= t0_ms);
    if (!is_within)
        return NAN;
    if (t0_ms == t1_ms)
        return v0 == v1 ? v0 : NAN;
    const double share = (double)(time_ms - t0_ms) / (double)(t1_ms - t0_ms);
    return v0 + (v1 - v0) * share;
}

void alignment_interpolate_sweep(size_t n, const int64_t *times_ms, size_t source_count,
                                 const int64_t *source_times_ms, const double *source_values,
                                 int64_t longest_gap_ms, double *ret_values, int64_t *ret_gaps_ms)
{
    if (n == 0)
        return;
    struct bracket at = bracket_start(times_ms[0], source_count, source_times_ms, source_values);
    for (size_t i = 0; i < n; i++) {
        bracket_move(&at, times_ms[i], source_count, source_times_ms, source_values);
        double value = NAN;
        int64_t gap = -1;
        if (at.after < source_count && source_times_ms[at.after] == times_ms[i]) {
            value = source_values[at.after];
            gap = 0;
        } else if (at.after < source_count && at.has_before) {
            const int64_t t0 = source_times_ms[at.before];
            const int64_t t1 = source_times_ms[at.after];
            gap = t1 - t0;
            if (gap <= longest_gap_ms)
                value = alignment_interpolate(times_ms[i], t0, source_values[at.before], t1,
                                              source_values[at.after]);
        }
        ret_values[i] = value;
        if (ret_gaps_ms != NULL)
            ret_gaps_ms[i] = gap;
    }
}

double alignment_error(double amplitude, double period, double gap)
{
    if (!(period > 0) || isnan(gap))
        return NAN;
    const double angle = 2 * 3.14159265358979323846 * gap / period;
    return amplitude * fmin(1, angle * angle / 8);
}

/* The source is usually years long and the span a month: begin where the span begins. */
static struct bracket bracket_start(int64_t time, size_t n, const int64_t *times, const double *values)
{
    struct bracket at = {.after = first_not_before(time, n, times)};
    for (size_t i = at.after; i > 0 && !at.has_before; i--) {
        at.has_before = !isnan(values[i - 1]);
        at.before = i - 1;
    }
    return at;
}

static void bracket_move(struct bracket *at, int64_t time, size_t n, const int64_t *times,
                         const double *values)
{
    while (at->after < n && (times[at->after] < time || isnan(values[at->after]))) {
        if (!isnan(values[at->after])) {
            at->before = at->after;
            at->has_before = true;
        }
        at->after++;
    }
}

static size_t first_not_before(int64_t time, size_t n, const int64_t *times)
{
    size_t low = 0;
    size_t high = n;
    while (low < high) {
        const size_t middle = low + (high - low) / 2;
        if (times[middle] < time)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}
