/* SPDX-License-Identifier: MIT */
#include "science/statistics.h"

#include <math.h>

#define DEVIATIONS_PER_MEDIAN_DEVIATION 1.4826 /* of a normal distribution */
#define PAIR_LIMIT (STATISTICS_ROBUST_LIMIT * (STATISTICS_ROBUST_LIMIT - 1) / 2)

/* Sums about the centre of the pairs in which both sides are present. */
struct moments {
    size_t count;
    double x_mean, y_mean;
    double xx, xy, yy;
};

static struct moments moments_of(size_t n, const double *x, const double *y);
static size_t drop_missing(size_t n, double *values);
static double order_statistic(size_t n, double *values, size_t rank);
static double least(size_t n, const double *values);
static void swap(double *a, double *b);
static size_t pair_slopes(size_t n, const double *x, const double *y, double *slopes);

double statistics_mean(size_t n, const double *values)
{
    double sum = 0;
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        if (isnan(values[i]))
            continue;
        sum += values[i];
        count++;
    }
    return count > 0 ? sum / (double)count : NAN;
}

double statistics_standard_deviation(size_t n, const double *values)
{
    const struct moments m = moments_of(n, values, values);
    return m.count > 1 ? sqrt(m.xx / (double)(m.count - 1)) : NAN;
}

double statistics_quantile(size_t n, double *values, double quantile)
{
    const size_t count = drop_missing(n, values);
    if (count == 0 || !(quantile >= 0 && quantile <= 1))
        return NAN;
    const double position = (double)(count - 1) * quantile;
    const size_t rank = (size_t)position;
    const double share = position - (double)rank;
    const double lower = order_statistic(count, values, rank);
    if (share <= 0)
        return lower;
    const double upper = least(count - rank - 1, values + rank + 1);
    return lower + (upper - lower) * share;
}

double statistics_median(size_t n, double *values)
{
    return statistics_quantile(n, values, 0.5);
}

double statistics_median_deviation(size_t n, double *values)
{
    const double median = statistics_median(n, values);
    for (size_t i = 0; i < n; i++)
        values[i] = fabs(values[i] - median);
    return statistics_median(n, values);
}

int64_t statistics_usual_step(size_t n, const int64_t *times, int64_t longest, double *scratch)
{
    /* The only step that can be more than half of all (Boyer and Moore): then it is the middle one, too. */
    int64_t common = 0;
    size_t lead = 0, count = 0, alike = 0;
    for (size_t i = 1; i < n; i++) {
        int64_t step = times[i] - times[i - 1];
        if (step > longest)
            continue;
        scratch[count++] = (double)step;
        common = lead == 0 ? step : common;
        lead = step == common ? lead + 1 : lead - 1;
    }
    for (size_t i = 0; i < count; i++)
        alike += scratch[i] == (double)common;
    if (count == 0 || 2 * alike > count)
        return common;
    return (int64_t)order_statistic(count, scratch, count / 2);
}

double statistics_correlation(size_t n, const double *x, const double *y)
{
    const struct moments m = moments_of(n, x, y);
    if (m.count < 2 || !(m.xx > 0) || !(m.yy > 0))
        return NAN;
    return m.xy / (sqrt(m.xx) * sqrt(m.yy));
}

bool statistics_fit_line(size_t n, const double *x, const double *y, struct statistics_line *ret_line)
{
    const struct moments m = moments_of(n, x, y);
    if (m.count < 2 || !(m.xx > 0))
        return false;
    const double slope = m.xy / m.xx;
    const double residual_squares = fmax(0, m.yy - slope * m.xy); /* below 0 only by rounding */
    const double deviation = m.count > 2 ? sqrt(residual_squares / (double)(m.count - 2)) : NAN;
    *ret_line = (struct statistics_line){
        .x_centre = m.x_mean,
        .y_centre = m.y_mean,
        .slope = slope,
        .slope_uncertainty = deviation / sqrt(m.xx),
        .residual_deviation = deviation,
        .count = m.count,
    };
    return true;
}

bool statistics_fit_line_robust(size_t n, const double *x, const double *y, struct statistics_line *ret_line)
{
    const struct moments m = moments_of(n, x, y);
    if (n > STATISTICS_ROBUST_LIMIT || m.count < 2 || !(m.xx > 0))
        return false;
    double slopes[PAIR_LIMIT];
    const double slope = statistics_median(pair_slopes(n, x, y, slopes), slopes);

    double rest[STATISTICS_ROBUST_LIMIT];
    for (size_t i = 0; i < n; i++)
        rest[i] = y[i] - slope * (x[i] - m.x_mean);
    const double height = statistics_median(n, rest);
    const double deviation = DEVIATIONS_PER_MEDIAN_DEVIATION * statistics_median_deviation(n, rest);
    *ret_line = (struct statistics_line){
        .x_centre = m.x_mean,
        .y_centre = height,
        .slope = slope,
        .slope_uncertainty = NAN,
        .residual_deviation = deviation,
        .count = m.count,
    };
    return true;
}

double statistics_line_at(const struct statistics_line *line, double x)
{
    return line->y_centre + line->slope * (x - line->x_centre);
}

size_t statistics_most_in_window(size_t n, const int64_t *times_ms, int64_t window_ms)
{
    size_t most = 0;
    size_t first = 0;
    for (size_t last = 0; last < n; last++) {
        while (times_ms[last] - times_ms[first] >= window_ms)
            first++;
        const size_t count = last - first + 1;
        most = count > most ? count : most;
    }
    return most;
}

/* Two passes: the sums are taken about the mean, so large offsets (times in ms) do not eat the digits. */
static struct moments moments_of(size_t n, const double *x, const double *y)
{
    struct moments m = {0};
    double x_sum = 0;
    double y_sum = 0;
    for (size_t i = 0; i < n; i++) {
        if (isnan(x[i]) || isnan(y[i]))
            continue;
        x_sum += x[i];
        y_sum += y[i];
        m.count++;
    }
    if (m.count == 0)
        return m;
    m.x_mean = x_sum / (double)m.count;
    m.y_mean = y_sum / (double)m.count;
    for (size_t i = 0; i < n; i++) {
        if (isnan(x[i]) || isnan(y[i]))
            continue;
        const double dx = x[i] - m.x_mean;
        const double dy = y[i] - m.y_mean;
        m.xx += dx * dx;
        m.xy += dx * dy;
        m.yy += dy * dy;
    }
    return m;
}

/* Moves the present values to the front, and the missing ones behind them; gives the number of present
 * ones. */
static size_t drop_missing(size_t n, double *values)
{
    size_t kept = 0;
    for (size_t i = 0; i < n; i++) {
        if (!isnan(values[i]))
            swap(&values[kept++], &values[i]);
    }
    return kept;
}

/* Hoare's selection. Afterwards no value before `rank` is larger, and none behind it smaller, than the one
 * at it. The middle element as pivot keeps sorted input, the common case, at linear cost. */
static double order_statistic(size_t n, double *values, size_t rank)
{
    size_t low = 0;
    size_t high = n - 1;
    while (low < high) {
        const double pivot = values[low + (high - low) / 2];
        size_t i = low;
        size_t j = high;
        while (i <= j) {
            while (values[i] < pivot)
                i++;
            while (pivot < values[j])
                j--;
            if (i > j)
                break;
            swap(&values[i++], &values[j]);
            if (j == 0) /* i is 1 or more by now, so the loop is over */
                break;
            j--;
        }
        if (rank <= j)
            high = j;
        else if (rank >= i)
            low = i;
        else
            break;
    }
    return values[rank];
}

static double least(size_t n, const double *values)
{
    double smallest = values[0];
    for (size_t i = 1; i < n; i++)
        smallest = values[i] < smallest ? values[i] : smallest;
    return smallest;
}

static void swap(double *a, double *b)
{
    const double kept = *a;
    *a = *b;
    *b = kept;
}

static size_t pair_slopes(size_t n, const double *x, const double *y, double *slopes)
{
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        for (size_t k = i + 1; k < n; k++) {
            const double run = x[k] - x[i];
            if (run < 0 || run > 0)
                slopes[count++] = (y[k] - y[i]) / run;
        }
    }
    return count;
}
