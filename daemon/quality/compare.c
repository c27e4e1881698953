/* SPDX-License-Identifier: MIT */
#include "quality/compare.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <math.h>
#include <string.h>

static void judge_difference(struct column_view *c, size_t i, enum test test, double difference,
                             double suspect, double fail);
static void test_unexplained(struct column_view *c, const struct companion *limits,
                             const struct column_view *other, int64_t pause);
static double value_at(const struct record *record, enum quantity quantity, int64_t time, int64_t reach);
static bool is_sound(const struct record *record, enum quantity quantity, size_t i);

void compare_related(struct column_view *c, const struct companion *limits, struct record *record,
                     int64_t pause)
{
    if (!limits || !record->value[limits->quantity])
        return;
    struct column_view other = column_of(record, limits->quantity);
    if (limits->suspect > 0 || limits->fail > 0)
        for (size_t i = 0; i < c->n; i++)
            if (column_is_usable(c, i) && column_is_usable(&other, i))
                judge_difference(c, i, TEST_RELATED, fabs(c->value[i] - other.value[i]), limits->suspect,
                                 limits->fail);
    if (limits->rate > 0)
        test_unexplained(c, limits, &other, pause);
}

void compare_neighbour(struct column_view *c, enum quantity quantity, const struct neighbour_limits *limits,
                       const struct neighbour_records *neighbours)
{
    const struct record *record = NULL;
    for (size_t k = 0; limits && neighbours && k < neighbours->count; k++)
        if (strcmp(neighbours->list[k].station, limits->station) == 0)
            record = &neighbours->list[k].record;
    if (!record || !record->value[quantity])
        return;
    for (size_t i = 0; i < c->n; i++) {
        double there = value_at(record, quantity, c->time[i], limits->reach);
        if (column_is_usable(c, i) && !isnan(there))
            judge_difference(c, i, TEST_NEIGHBOUR, fabs(c->value[i] - there), limits->suspect, limits->fail);
    }
}

static void judge_difference(struct column_view *c, size_t i, enum test test, double difference,
                             double suspect, double fail)
{
    uint8_t flag = fail > 0 && difference > fail         ? FLAG_FAIL
                   : suspect > 0 && difference > suspect ? FLAG_SUSPECT
                                                         : FLAG_PASS;
    column_judge(c, i, test, flag);
}

/* A fast change while the other stood still: suspect, never fail, since either may be the true one. */
static void test_unexplained(struct column_view *c, const struct companion *limits,
                             const struct column_view *other, int64_t pause)
{
    double *variation = x_array(c->n, sizeof *variation);
    column_variation(other, limits->window, pause, variation);
    for (size_t i = 1; i < c->n; i++) {
        int64_t step = c->time[i] - c->time[i - 1];
        if (!column_is_usable(c, i - 1) || !column_is_usable(c, i) || step > pause || isnan(variation[i]))
            continue;
        double per_hour = fabs(c->value[i] - c->value[i - 1]) / ((double)step / (double)HOUR_MS);
        column_judge(c, i, TEST_RELATED,
                     per_hour > limits->rate && variation[i] <= limits->steady ? FLAG_SUSPECT : FLAG_PASS);
    }
    cleanup_free(&variation);
}

/* Linear between the two samples around it, if both are sound and no more than `reach` apart; NaN else. */
static double value_at(const struct record *record, enum quantity quantity, int64_t time, int64_t reach)
{
    size_t after = record_at_or_after(record, time);
    if (after == record->n || !is_sound(record, quantity, after))
        return NAN;
    double value = record->value[quantity][after];
    if (record->time[after] == time)
        return value;
    if (after == 0 || !is_sound(record, quantity, after - 1) ||
        record->time[after] - record->time[after - 1] > reach)
        return NAN;
    double before = record->value[quantity][after - 1];
    return before + (value - before) * (double)(time - record->time[after - 1]) /
                        (double)(record->time[after] - record->time[after - 1]);
}

static bool is_sound(const struct record *record, enum quantity quantity, size_t i)
{
    return !isnan(record->value[quantity][i]) && record->flag[quantity][i] != FLAG_FAIL;
}
