/* SPDX-License-Identifier: MIT */
#include "science/lag.h"

#include "science/statistics.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#define DEVIATIONS_PER_MEDIAN_DEVIATION 1.4826 /* of a normal distribution */
#define DEVIATIONS_PER_MEAN_DISTANCE 1.2533    /* the same */
#define CLIP 4.0                               /* deviations: a gust is one sample, not the whole verdict */
#define AGREES_SURE 4.0
#define AGREES_GAIN 0.5
#define RIDGE 1e-6 /* of the variance: a series of few steps has a matrix of no full rank */

struct equations {
    double matrix[LAG_ORDER][LAG_ORDER]; /* lower half */
    double right[LAG_ORDER];
    size_t count;
};

/* What is left of a series, centred and clipped; NaN where the filter lacks a value. */
struct rest {
    double *value;
    double deviation;
    size_t count;
};

static void difference(size_t n, const double *values, double *ret);
static void drop_wild(size_t n, double *values, double *room);
static bool fit(size_t n, const double *values, double coefficients[LAG_ORDER]);
static void add_row(struct equations *equations, const double *at);
static bool solve(struct equations *equations, double coefficients[LAG_ORDER]);
static struct rest filter(size_t n, const double *values, const double coefficients[LAG_ORDER], double *ret);
static void centre(size_t n, struct rest *rest);
static bool can_tell(const struct rest *sum, const struct rest *part);
static struct lag_fit measure(size_t n, const struct rest *sum, const struct rest *part, int lag, double inflation);
static double memory_of(size_t n, const struct rest *sum, const struct rest *part);
static double own_correlation(size_t n, const struct rest *rest, size_t lag);
static void search(size_t n, const struct rest *sum, const struct rest *part, int reach, double *room,
                   struct lag_result *ret);
static double product(size_t n, const double *a, const double *b);
static size_t overlap(size_t n, int lag, size_t *ret_sum, size_t *ret_part);

enum lag_verdict lag_find(size_t n, const double *sum, const double *part, int reach, double *room,
                          struct lag_result *ret)
{
    double *sum_rest = room, *part_rest = room + n, *scratch = room + 2 * n, *sum_steps = room + 3 * n,
           *part_steps = room + 4 * n, coefficients[LAG_ORDER];
    difference(n, sum, sum_steps);
    difference(n, part, part_steps);
    drop_wild(n, sum_steps, scratch);
    if (!fit(n, sum_steps, coefficients))
        return LAG_UNKNOWN;
    struct rest left = filter(n, sum_steps, coefficients, sum_rest);
    struct rest right = filter(n, part_steps, coefficients, part_rest);
    if (!can_tell(&left, &right))
        return LAG_UNKNOWN;
    ret->as_given = ret->best = measure(n, &left, &right, 0, 1);
    ret->rival = NAN;
    if (ret->as_given.sureness >= AGREES_SURE && ret->as_given.gain >= AGREES_GAIN)
        return LAG_AGREES;
    search(n, &left, &right, reach, scratch, ret);
    return ret->best.lag == 0 && ret->best.sureness >= LAG_SURE ? LAG_AGREES : LAG_SEARCHED;
}

int lag_is_sure(const struct lag_result *result)
{
    const struct lag_fit *best = &result->best, *given = &result->as_given;
    bool is_sure = best->sureness >= LAG_SURE && best->pairs >= LAG_LEAST_INDEPENDENT;
    bool is_possible = best->gain >= LAG_GAIN_MIN && best->gain <= LAG_GAIN_MAX;
    bool is_better = best->lag != 0 && !(given->sureness > best->sureness - LAG_AHEAD) &&
                     !(given->gain > best->gain / 2) && best->sureness - result->rival >= LAG_AHEAD;
    return is_sure && is_possible && is_better;
}

static void difference(size_t n, const double *values, double *ret)
{
    for (size_t i = 0; i < n; i++)
        ret[i] = i > 0 ? values[i] - values[i - 1] : NAN;
}

static void drop_wild(size_t n, double *values, double *room)
{
    memcpy(room, values, n * sizeof *room);
    double middle = statistics_median(n, room);
    double limit = LAG_WILD * DEVIATIONS_PER_MEDIAN_DEVIATION * statistics_median_deviation(n, room);
    for (size_t i = 0; limit > 0 && i < n; i++)
        if (fabs(values[i] - middle) > limit)
            values[i] = NAN;
}

/* Least squares of each value on the LAG_ORDER before it. */
static bool fit(size_t n, const double *values, double coefficients[LAG_ORDER])
{
    struct equations equations = {.count = 0};
    size_t whole = 0; /* values in a row, this one included */
    for (size_t i = 0; i < n; i++) {
        whole = isnan(values[i]) ? 0 : whole + 1;
        if (whole > LAG_ORDER)
            add_row(&equations, &values[i]);
    }
    return equations.count >= LAG_LEAST_PAIRS && solve(&equations, coefficients);
}

static void add_row(struct equations *equations, const double *at)
{
    for (int row = 0; row < LAG_ORDER; row++) {
        double value = at[-1 - row];
        for (int column = 0; column <= row; column++)
            equations->matrix[row][column] += value * at[-1 - column];
        equations->right[row] += value * at[0];
    }
    equations->count++;
}

/* Cholesky; false where the series does not vary. */
static bool solve(struct equations *equations, double coefficients[LAG_ORDER])
{
    double(*m)[LAG_ORDER] = equations->matrix, *x = coefficients;
    double ridge = RIDGE * m[0][0];
    if (!(ridge > 0))
        return false;
    for (int row = 0; row < LAG_ORDER; row++) {
        m[row][row] += ridge;
        for (int column = 0; column <= row; column++) {
            double rest = m[row][column];
            for (int k = 0; k < column; k++)
                rest -= m[row][k] * m[column][k];
            if (row == column && !(rest > 0))
                return false;
            m[row][column] = row == column ? sqrt(rest) : rest / m[column][column];
        }
    }
    for (int row = 0; row < LAG_ORDER; row++) {
        x[row] = equations->right[row];
        for (int k = 0; k < row; k++)
            x[row] -= m[row][k] * x[k];
        x[row] /= m[row][row];
    }
    for (int row = LAG_ORDER - 1; row >= 0; row--) {
        for (int k = row + 1; k < LAG_ORDER; k++)
            x[row] -= m[k][row] * x[k];
        x[row] /= m[row][row];
    }
    return true;
}

static struct rest filter(size_t n, const double *values, const double coefficients[LAG_ORDER], double *ret)
{
    struct rest rest = {ret, 0, 0};
    for (size_t i = 0; i < n; i++) {
        ret[i] = i < LAG_ORDER ? NAN : values[i];
        for (size_t k = 0; i >= LAG_ORDER && k < LAG_ORDER; k++)
            ret[i] -= coefficients[k] * values[i - 1 - k];
    }
    centre(n, &rest);
    return rest;
}

/* About the mean; clipped by the mean distance from it, which a few gusts move less than its square. */
static void centre(size_t n, struct rest *rest)
{
    double sum = 0, distance = 0, squares = 0;
    for (size_t i = 0; i < n; i++) {
        sum += isnan(rest->value[i]) ? 0 : rest->value[i];
        rest->count += isnan(rest->value[i]) ? 0 : 1;
    }
    double count = fmax(1, (double)rest->count), middle = sum / count;
    for (size_t i = 0; i < n; i++) {
        rest->value[i] -= middle;
        distance += isnan(rest->value[i]) ? 0 : fabs(rest->value[i]);
    }
    double limit = CLIP * DEVIATIONS_PER_MEAN_DISTANCE * distance / count;
    for (size_t i = 0; i < n; i++) {
        if (isnan(rest->value[i]))
            continue;
        rest->value[i] = fmax(-limit, fmin(limit, rest->value[i]));
        squares += rest->value[i] * rest->value[i];
    }
    rest->deviation = sqrt(squares / count);
}

/* Whether an honest pair would stand out: the standard error of the gain against the least that is asked of it. */
static bool can_tell(const struct rest *sum, const struct rest *part)
{
    size_t pairs = sum->count < part->count ? sum->count : part->count;
    if (pairs < LAG_LEAST_PAIRS || !(sum->deviation > 0) || !(part->deviation > 0))
        return false;
    return LAG_SURE * sum->deviation <= LAG_GAIN_MAX * part->deviation * sqrt((double)pairs);
}

static struct lag_fit measure(size_t n, const struct rest *sum, const struct rest *part, int lag, double inflation)
{
    size_t i, k, length = overlap(n, lag, &i, &k), pairs = 0;
    for (size_t at = 0; at < length; at++)
        pairs += !isnan(sum->value[i + at]) && !isnan(part->value[k + at]);
    double correlation = statistics_correlation(length, sum->value + i, part->value + k);
    double count = (double)pairs / inflation;
    return (struct lag_fit){.lag = lag,
                            .correlation = correlation,
                            .gain = correlation * sum->deviation / part->deviation,
                            .sureness = isnan(correlation) ? 0 : correlation * sqrt(count),
                            .pairs = (size_t)count};
}

/* Bartlett: by how much what remains of a memory in both makes pairs count less; at least 1. */
static double memory_of(size_t n, const struct rest *sum, const struct rest *part)
{
    double inflation = 1;
    for (size_t lag = 1; lag <= LAG_ORDER; lag++)
        inflation += 2 * own_correlation(n, sum, lag) * own_correlation(n, part, lag);
    return fmax(1, inflation);
}

static double own_correlation(size_t n, const struct rest *rest, size_t lag)
{
    double product = 0;
    size_t pairs = 0;
    for (size_t i = lag; i < n; i++) {
        double term = rest->value[i] * rest->value[i - lag];
        product += isnan(term) ? 0 : term;
        pairs += isnan(term) ? 0 : 1;
    }
    return pairs > 0 ? product / ((double)pairs * rest->deviation * rest->deviation) : 0;
}

/* All lags by plain products, a missing value as none; then the best by the book. `room` has 3 n numbers. */
static void search(size_t n, const struct rest *sum, const struct rest *part, int reach, double *room,
                   struct lag_result *ret)
{
    double *left = room, *right = room + n, *products = room + 2 * n;
    double rival = -INFINITY;
    if ((size_t)reach > (n - 1) / 2)
        reach = (int)((n - 1) / 2);
    int best = -reach;
    for (size_t i = 0; i < n; i++) {
        left[i] = isnan(sum->value[i]) ? 0 : sum->value[i];
        right[i] = isnan(part->value[i]) ? 0 : part->value[i];
    }
    for (int lag = -reach; lag <= reach; lag++) {
        size_t i, k, length = overlap(n, lag, &i, &k);
        products[lag + reach] = product(length, left + i, right + k);
        best = products[lag + reach] > products[best + reach] ? lag : best;
    }
    for (int lag = -reach; lag <= reach; lag++)
        if (lag < best - LAG_SHOULDER || lag > best + LAG_SHOULDER)
            rival = fmax(rival, products[lag + reach]);
    double highest = products[best + reach], inflation = memory_of(n, sum, part);
    ret->as_given = measure(n, sum, part, 0, inflation);
    ret->best = measure(n, sum, part, best, inflation);
    ret->rival = highest > 0 ? ret->best.sureness * rival / highest : INFINITY;
}

/* Four sums side by side, which a processor adds at once. */
static double product(size_t n, const double *a, const double *b)
{
    double sums[4] = {0};
    size_t i = 0;
    for (; i + 4 <= n; i += 4)
        for (size_t k = 0; k < 4; k++)
            sums[k] += a[i + k] * b[i + k];
    for (; i < n; i++)
        sums[0] += a[i] * b[i];
    return sums[0] + sums[1] + (sums[2] + sums[3]);
}

/* sum[ret_sum + at] stands beside part[ret_part + at]. */
static size_t overlap(size_t n, int lag, size_t *ret_sum, size_t *ret_part)
{
    size_t shift = (size_t)(lag < 0 ? -lag : lag);
    *ret_sum = lag > 0 ? shift : 0;
    *ret_part = lag < 0 ? shift : 0;
    return shift < n ? n - shift : 0;
}
