/* SPDX-License-Identifier: MIT */
#include "quality/quality.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <math.h>

enum { PAUSE_INTERVALS = 3 };
#define LONGEST_PAUSE (6 * HOUR_MS) /* bounds how far the tests look, whatever the interval turns out to be */

/* One column of a record. */
struct column_view {
    size_t n;
    const int64_t *time;
    const double *value;
    uint8_t *flag;
    uint32_t *tests;
};

/* The smallest or largest value of a window that moves on: rows that may still be it, the best first. */
struct extreme {
    size_t *rows;
    size_t first, count;
    double sign; /* 1: largest, -1: smallest */
};

static int64_t pause_of(int64_t interval);
static struct column_view view_of(struct record *record, enum quantity quantity);
static bool is_ruled_out(const struct column_view *c, size_t i);
static bool is_usable(const struct column_view *c, size_t i);
static void judge(struct column_view *c, size_t i, enum test test, uint8_t flag);
static void test_missing(struct column_view *c);
static void test_range(struct column_view *c, const struct quality_limits *limits);
static void test_spike(struct column_view *c, const struct quality_limits *limits, int64_t pause);
static void test_rate(struct column_view *c, const struct quality_limits *limits, int64_t pause);
static void test_flat(struct column_view *c, const struct quality_limits *limits, int64_t pause);
static void find_flat(const struct column_view *c, double tolerance, int64_t duration, int64_t pause, uint8_t *ret);
static void extreme_add(struct extreme *extreme, const double *value, size_t i);
static double extreme_from(struct extreme *extreme, const double *value, size_t from);
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
    int64_t pause = pause_of(interval);
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
    int64_t longest = 0;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        struct quality_limits limits = config_quality(config, station, q);
        longest = limits.flat_suspect > longest ? limits.flat_suspect : longest;
        longest = limits.flat_fail > longest ? limits.flat_fail : longest;
    }
    return longest + LONGEST_PAUSE;
}

int64_t quality_lead_out(void)
{
    return LONGEST_PAUSE; /* a spike is judged by the sample after it */
}

static int64_t pause_of(int64_t interval)
{
    return interval < LONGEST_PAUSE / PAUSE_INTERVALS ? PAUSE_INTERVALS * interval : LONGEST_PAUSE;
}

static struct column_view view_of(struct record *record, enum quantity quantity)
{
    return (struct column_view){record->n, record->time, record->value[quantity], record->flag[quantity],
                                record->tests[quantity]};
}

static bool is_ruled_out(const struct column_view *c, size_t i)
{
    return c->flag[i] == FLAG_FAIL && c->tests[i] & (TEST_IN_AIR | TEST_PERSON_STRUCK);
}

static bool is_usable(const struct column_view *c, size_t i)
{
    return !isnan(c->value[i]) && !is_ruled_out(c, i);
}

static void judge(struct column_view *c, size_t i, enum test test, uint8_t flag)
{
    if (!(c->tests[i] & TEST_PERSON_RESTORED)) /* people outrank tests */
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
        if (!is_usable(c, i - 1) || !is_usable(c, i) || !is_usable(c, i + 1) || c->time[i] - c->time[i - 1] > pause ||
            c->time[i + 1] - c->time[i] > pause)
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

/* The present value counts too: the manual's text, not its code column. */
static void test_flat(struct column_view *c, const struct quality_limits *limits, int64_t pause)
{
    if (limits->flat_suspect <= 0 && limits->flat_fail <= 0)
        return;
    uint8_t *suspect = x_array(c->n, sizeof *suspect), *fail = x_array(c->n, sizeof *fail);
    find_flat(c, limits->flat_tolerance, limits->flat_suspect, pause, suspect);
    find_flat(c, limits->flat_tolerance, limits->flat_fail, pause, fail);
    for (size_t i = 0; i < c->n; i++)
        if (is_usable(c, i))
            judge(c, i, TEST_FLAT, fail[i] ? FLAG_FAIL : suspect[i] ? FLAG_SUSPECT : FLAG_PASS);
    cleanup_free(&suspect);
    cleanup_free(&fail);
}

/* Rows whose value is, within the tolerance, that of every row back to `duration` before, without a pause. Held against
 * the present value, not against the one that began a run, so that it does not matter where the history begins. */
static void find_flat(const struct column_view *c, double tolerance, int64_t duration, int64_t pause, uint8_t *ret)
{
    if (duration <= 0)
        return;
    struct extreme largest = {.rows = x_array(c->n, sizeof(size_t)), .sign = 1};
    struct extreme smallest = {.rows = x_array(c->n, sizeof(size_t)), .sign = -1};
    size_t unbroken = 0, reached = 0; /* where the stretch began; the last row that is `duration` old or older */
    for (size_t i = 0; i < c->n; i++) {
        if (!is_usable(c, i)) {
            unbroken = i + 1;
            continue;
        }
        if (i > unbroken && c->time[i] - c->time[i - 1] > pause)
            unbroken = i;
        while (reached < i && c->time[reached + 1] <= c->time[i] - duration)
            reached++;
        extreme_add(&largest, c->value, i);
        extreme_add(&smallest, c->value, i);
        size_t from = reached > unbroken ? reached : unbroken;
        ret[i] = c->time[i] - c->time[from] >= duration &&
                 extreme_from(&largest, c->value, from) - c->value[i] <= tolerance &&
                 c->value[i] - extreme_from(&smallest, c->value, from) <= tolerance;
    }
    cleanup_free(&largest.rows);
    cleanup_free(&smallest.rows);
}

/* What is no better than the newcomer, and older, will never be the extreme again. */
static void extreme_add(struct extreme *extreme, const double *value, size_t i)
{
    while (extreme->count > 0 &&
           extreme->sign * value[extreme->rows[extreme->first + extreme->count - 1]] <= extreme->sign * value[i])
        extreme->count--;
    extreme->rows[extreme->first + extreme->count++] = i;
}

static double extreme_from(struct extreme *extreme, const double *value, size_t from)
{
    for (; extreme->rows[extreme->first] < from; extreme->count--)
        extreme->first++;
    return value[extreme->rows[extreme->first]];
}

/* A pause says nothing about the value after it: the bit is set, the flag is not. Before the first row nothing is
 * known: the longest pause of all. */
static void test_gap(struct column_view *c, int64_t pause)
{
    for (size_t i = 0; i < c->n; i++)
        if (i == 0 || c->time[i] - c->time[i - 1] > pause)
            c->tests[i] |= TEST_GAP;
}
