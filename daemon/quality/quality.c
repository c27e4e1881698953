/* SPDX-License-Identifier: MIT */
#include "quality/quality.h"

#include "base/timestamp.h"

#include <math.h>

enum { PAUSE_INTERVALS = 3 };

/* One column of a record. */
struct column_view {
    size_t n;
    const int64_t *time;
    const double *value;
    uint8_t *flag;
    uint32_t *tests;
};

static struct column_view view_of(struct record *record, enum quantity quantity);
static bool is_in_air(const struct column_view *c, size_t i);
static bool is_usable(const struct column_view *c, size_t i);
static void judge(struct column_view *c, size_t i, enum test test, uint8_t flag);
static void test_missing(struct column_view *c);
static void test_range(struct column_view *c, const struct quality_limits *limits);
static void test_spike(struct column_view *c, const struct quality_limits *limits, int64_t pause);
static void test_rate(struct column_view *c, const struct quality_limits *limits, int64_t pause);
static void test_flat(struct column_view *c, const struct quality_limits *limits, int64_t pause);
static void test_gap(struct column_view *c, int64_t pause);

void quality_before(const struct config *config, const struct station *station, struct record *record)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!record->value[q])
            continue;
        struct column_view column = view_of(record, q);
        struct quality_limits limits = config_quality(config, station, q);
        test_missing(&column);
        test_range(&column, &limits);
    }
}

void quality_after(const struct config *config, const struct station *station, int64_t interval, struct record *record)
{
    int64_t pause = PAUSE_INTERVALS * interval;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!record->value[q])
            continue;
        struct column_view column = view_of(record, q);
        struct quality_limits limits = config_quality(config, station, q);
        test_missing(&column);
        test_range(&column, &limits);
        test_spike(&column, &limits, pause);
        test_rate(&column, &limits, pause);
        test_flat(&column, &limits, pause);
        test_gap(&column, pause);
    }
}

int64_t quality_lead_in(const struct config *config, const struct station *station)
{
    int64_t longest = HOUR_MS;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        struct quality_limits limits = config_quality(config, station, q);
        longest = limits.flat_suspect > longest ? limits.flat_suspect : longest;
        longest = limits.flat_fail > longest ? limits.flat_fail : longest;
    }
    return longest + HOUR_MS;
}

int64_t quality_lead_out(int64_t interval)
{
    return PAUSE_INTERVALS * interval; /* a spike is judged by the sample after it */
}

static struct column_view view_of(struct record *record, enum quantity quantity)
{
    return (struct column_view){record->n, record->time, record->value[quantity], record->flag[quantity],
                                record->tests[quantity]};
}

static bool is_in_air(const struct column_view *c, size_t i)
{
    return c->tests[i] & TEST_IN_AIR;
}

static bool is_usable(const struct column_view *c, size_t i)
{
    return !isnan(c->value[i]) && !is_in_air(c, i);
}

static void judge(struct column_view *c, size_t i, enum test test, uint8_t flag)
{
    c->flag[i] = flag_merge(c->flag[i], flag);
    if (flag != FLAG_PASS)
        c->tests[i] |= test;
}

static void test_missing(struct column_view *c)
{
    for (size_t i = 0; i < c->n; i++)
        if (isnan(c->value[i]))
            c->flag[i] = FLAG_MISSING;
}

static void test_range(struct column_view *c, const struct quality_limits *limits)
{
    bool has_sensor = !isnan(limits->sensor_min) || !isnan(limits->sensor_max);
    bool has_usual = !isnan(limits->usual_min) || !isnan(limits->usual_max);
    if (!has_sensor && !has_usual)
        return;
    for (size_t i = 0; i < c->n; i++) {
        double v = c->value[i];
        if (!is_usable(c, i))
            continue;
        if (v < limits->sensor_min || v > limits->sensor_max) /* false where the limit is NaN */
            judge(c, i, TEST_GROSS_RANGE, FLAG_FAIL);
        else if (v < limits->usual_min || v > limits->usual_max)
            judge(c, i, TEST_GROSS_RANGE, FLAG_SUSPECT);
        else
            judge(c, i, TEST_GROSS_RANGE, FLAG_PASS);
    }
}

/* Distance from the mean of both neighbours (QARTOD water level manual v2.1, test 6). */
static void test_spike(struct column_view *c, const struct quality_limits *limits, int64_t pause)
{
    if (isnan(limits->spike_suspect) && isnan(limits->spike_fail))
        return;
    for (size_t i = 1; i + 1 < c->n; i++) {
        if (!is_usable(c, i - 1) || !is_usable(c, i) || !is_usable(c, i + 1) ||
            c->time[i + 1] - c->time[i - 1] > 2 * pause)
            continue;
        double distance = fabs(c->value[i] - (c->value[i - 1] + c->value[i + 1]) / 2);
        if (distance > limits->spike_fail)
            judge(c, i, TEST_SPIKE, FLAG_FAIL);
        else if (distance > limits->spike_suspect)
            judge(c, i, TEST_SPIKE, FLAG_SUSPECT);
        else
            judge(c, i, TEST_SPIKE, FLAG_PASS);
    }
}

/* By true time, not by index; suspect at most, since a fast change may well be real. */
static void test_rate(struct column_view *c, const struct quality_limits *limits, int64_t pause)
{
    if (isnan(limits->rate))
        return;
    for (size_t i = 1; i < c->n; i++) {
        int64_t step = c->time[i] - c->time[i - 1];
        if (!is_usable(c, i - 1) || !is_usable(c, i) || step > pause)
            continue;
        double per_hour = fabs(c->value[i] - c->value[i - 1]) / ((double)step / (double)HOUR_MS);
        judge(c, i, TEST_RATE, per_hour > limits->rate ? FLAG_SUSPECT : FLAG_PASS);
    }
}

/* The count includes the present value: the manual's text, not its code column. */
static void test_flat(struct column_view *c, const struct quality_limits *limits, int64_t pause)
{
    if (limits->flat_suspect <= 0 && limits->flat_fail <= 0)
        return;
    size_t start = 0; /* of the run of values that stayed within the tolerance of its first */
    for (size_t i = 0; i < c->n; i++) {
        bool follows = i > 0 && is_usable(c, i) && is_usable(c, start) && c->time[i] - c->time[i - 1] <= pause &&
                       fabs(c->value[i] - c->value[start]) <= limits->flat_tolerance;
        if (!follows)
            start = i;
        if (!is_usable(c, i))
            continue;
        int64_t lasted = c->time[i] - c->time[start];
        if (limits->flat_fail > 0 && lasted >= limits->flat_fail)
            judge(c, i, TEST_FLAT, FLAG_FAIL);
        else if (limits->flat_suspect > 0 && lasted >= limits->flat_suspect)
            judge(c, i, TEST_FLAT, FLAG_SUSPECT);
        else
            judge(c, i, TEST_FLAT, FLAG_PASS);
    }
}

/* A pause says nothing about the value after it: the bit is set, the flag is not. */
static void test_gap(struct column_view *c, int64_t pause)
{
    for (size_t i = 1; i < c->n; i++)
        if (c->time[i] - c->time[i - 1] > pause)
            c->tests[i] |= TEST_GAP;
}
