/* SPDX-License-Identifier: MIT */
#include "quality/quality.h"

#include "base/memory.h"
#include "base/timestamp.h"
#include "quality/column.h"
#include "quality/compare.h"

#include <math.h>

enum { PAUSE_INTERVALS = 3 };
#define LONGEST_PAUSE (6 * HOUR_MS) /* bounds how far the tests look, whatever the interval turns out to be */

static int64_t pause_of(int64_t interval);
static void test_missing(struct column_view *c);
static void test_range(struct column_view *c, const struct quality_limits *limits);
static void test_spike(struct column_view *c, const struct quality_limits *limits, int64_t pause);
static void test_rate(struct column_view *c, const struct quality_limits *limits, int64_t pause);
static void test_flat(struct column_view *c, const struct quality_limits *limits, int64_t pause);
static void test_months(struct column_view *c, const struct climatology *months, int64_t utc_offset);
static void test_attenuated(struct column_view *c, const struct attenuation *limits, int64_t pause);
static void test_gap(struct column_view *c, int64_t pause);
static void test_position(const struct station *station, struct record *record);
static double distance_from(const struct station *station, double latitude, double longitude);

void quality_before(const struct config *config, const struct station *station, struct record *record)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!record->value[q])
            continue;
        struct column_view column = column_of(record, q);
        struct quality_limits limits = config_quality(config, station, q);
        test_missing(&column);
        test_range(&column, &limits);
    }
    test_position(station, record);
}

void quality_after(const struct config *config, const struct station *station, int64_t interval,
                   const struct neighbour_records *neighbours, struct record *record)
{
    int64_t pause = pause_of(interval);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!record->value[q])
            continue;
        struct column_view column = column_of(record, q);
        struct quality_limits limits = config_quality(config, station, q);
        test_missing(&column);
        test_range(&column, &limits);
        test_spike(&column, &limits, pause);
        test_rate(&column, &limits, pause);
        test_flat(&column, &limits, pause);
        test_months(&column, limits.months, station->utc_offset);
        test_attenuated(&column, limits.attenuated, pause);
        test_gap(&column, pause);
        compare_related(&column, limits.related, record, pause);
        compare_neighbour(&column, q, limits.neighbour, neighbours);
    }
}

/* Every limit that looks back in time, or a span derived alone differs from the whole. */
QUALITY_LIMITS_ARE(14);
int64_t quality_lead_in(const struct config *config, const struct station *station)
{
    int64_t longest = 0;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        struct quality_limits limits = config_quality(config, station, q);
        longest = limits.flat_suspect > longest ? limits.flat_suspect : longest;
        longest = limits.flat_fail > longest ? limits.flat_fail : longest;
        if (limits.attenuated && limits.attenuated->window > longest)
            longest = limits.attenuated->window;
        if (limits.related && limits.related->window > longest)
            longest = limits.related->window;
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
        if (!column_is_usable(c, i))
            continue;
        if (v < limits->sensor_min || v > limits->sensor_max) /* false where the limit is NaN */
            column_judge(c, i, TEST_GROSS_RANGE, FLAG_FAIL);
        else if (v < limits->usual_min || v > limits->usual_max)
            column_judge(c, i, TEST_GROSS_RANGE, FLAG_SUSPECT);
        else
            column_judge(c, i, TEST_GROSS_RANGE, FLAG_PASS);
    }
}

/* Distance from the mean of both neighbours (QARTOD water level manual v2.1, test 6). */
static void test_spike(struct column_view *c, const struct quality_limits *limits, int64_t pause)
{
    if (isnan(limits->spike_suspect) && isnan(limits->spike_fail))
        return;
    for (size_t i = 1; i + 1 < c->n; i++) {
        if (!column_is_usable(c, i - 1) || !column_is_usable(c, i) || !column_is_usable(c, i + 1) ||
            c->time[i] - c->time[i - 1] > pause || c->time[i + 1] - c->time[i] > pause)
            continue;
        double distance = fabs(c->value[i] - (c->value[i - 1] + c->value[i + 1]) / 2);
        if (distance > limits->spike_fail)
            column_judge(c, i, TEST_SPIKE, FLAG_FAIL);
        else if (distance > limits->spike_suspect)
            column_judge(c, i, TEST_SPIKE, FLAG_SUSPECT);
        else
            column_judge(c, i, TEST_SPIKE, FLAG_PASS);
    }
}

/* By true time, not by index; suspect at most, since a fast change may well be real. */
static void test_rate(struct column_view *c, const struct quality_limits *limits, int64_t pause)
{
    if (isnan(limits->rate))
        return;
    for (size_t i = 1; i < c->n; i++) {
        int64_t step = c->time[i] - c->time[i - 1];
        if (!column_is_usable(c, i - 1) || !column_is_usable(c, i) || step > pause)
            continue;
        double per_hour = fabs(c->value[i] - c->value[i - 1]) / ((double)step / (double)HOUR_MS);
        column_judge(c, i, TEST_RATE, per_hour > limits->rate ? FLAG_SUSPECT : FLAG_PASS);
    }
}

/* The present value counts too: the manual's text, not its code column. */
static void test_flat(struct column_view *c, const struct quality_limits *limits, int64_t pause)
{
    if (limits->flat_suspect <= 0 && limits->flat_fail <= 0)
        return;
    uint8_t *suspect = x_array(c->n, sizeof *suspect), *fail = x_array(c->n, sizeof *fail);
    column_find_flat(c, limits->flat_tolerance, limits->flat_suspect, pause, suspect);
    column_find_flat(c, limits->flat_tolerance, limits->flat_fail, pause, fail);
    for (size_t i = 0; i < c->n; i++)
        if (column_is_usable(c, i))
            column_judge(c, i, TEST_FLAT, fail[i] ? FLAG_FAIL : suspect[i] ? FLAG_SUSPECT : FLAG_PASS);
    cleanup_free(&suspect);
    cleanup_free(&fail);
}

/* Outside the usual range of its month, which is never more than suspect (test 5 of the manual). */
static void test_months(struct column_view *c, const struct climatology *months, int64_t utc_offset)
{
    for (size_t i = 0; months && i < c->n; i++) {
        struct civil local = timestamp_to_civil(c->time[i] + utc_offset);
        const double *usual = months->range[local.month - 1];
        if (!column_is_usable(c, i) || (isinf(usual[0]) && isinf(usual[1])))
            continue;
        bool is_usual = c->value[i] >= usual[0] && c->value[i] <= usual[1];
        column_judge(c, i, TEST_CLIMATOLOGY, is_usual ? FLAG_PASS : FLAG_SUSPECT);
    }
}

/* The manual's test 10, by largest less smallest value. */
static void test_attenuated(struct column_view *c, const struct attenuation *limits, int64_t pause)
{
    if (!limits)
        return;
    double *variation = x_array(c->n, sizeof *variation);
    column_variation(c, limits->window, pause, variation);
    for (size_t i = 0; i < c->n; i++)
        if (!isnan(variation[i]))
            column_judge(c, i, TEST_ATTENUATED,
                         variation[i] < limits->fail      ? FLAG_FAIL
                         : variation[i] < limits->suspect ? FLAG_SUSPECT
                                                          : FLAG_PASS);
    cleanup_free(&variation);
}

/* A pause says nothing about the value after it: the bit is set, the flag is not. Before the first row nothing is
 * known: the longest pause of all. */
static void test_gap(struct column_view *c, int64_t pause)
{
    for (size_t i = 0; i < c->n; i++)
        if (i == 0 || c->time[i] - c->time[i - 1] > pause)
            c->tests[i] |= TEST_GAP;
}

/* The manual's test 3, for a station that does not move: what the file says of the logger's place, where it does. A
 * place that does not exist fails itself and casts doubt on the rest. */
static void test_position(const struct station *station, struct record *record)
{
    const double *latitude = record->value[QUANTITY_SENSOR_LATITUDE],
                 *longitude = record->value[QUANTITY_SENSOR_LONGITUDE];
    for (size_t i = 0; latitude && longitude && i < record->n; i++) {
        if (isnan(latitude[i]) || isnan(longitude[i]) ||
            distance_from(station, latitude[i], longitude[i]) <= station->position_reach)
            continue;
        for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
            struct column_view column = column_of(record, q);
            if (column.value && column_is_usable(&column, i))
                column_judge(&column, i, TEST_POSITION, FLAG_SUSPECT);
        }
    }
}

/* In m, on the sphere of the mean radius (IUGG); infinite for a place that does not exist. */
static double distance_from(const struct station *station, double latitude, double longitude)
{
    const double radians = acos(-1.0) / 180, radius = 6371008.8;
    if (fabs(latitude) > 90 || fabs(longitude) > 180)
        return INFINITY;
    double s = sin((latitude - station->latitude) * radians / 2),
           t = sin((longitude - station->longitude) * radians / 2);
    double h = s * s + cos(latitude * radians) * cos(station->latitude * radians) * t * t;
    return 2 * radius * asin(fmin(1, sqrt(h)));
}
