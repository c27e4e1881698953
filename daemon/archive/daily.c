/* SPDX-License-Identifier: MIT */
#include "archive/daily.h"

#include "base/timestamp.h"
#include "science/statistics.h"

#include <math.h>
#include <string.h>

static void begin_row(const struct daily *daily, struct span span, struct daily_row *row);
static void add_samples(const struct record *record, size_t from, size_t to, struct daily_row *row);
static void add_column(const struct record *record, enum quantity quantity, size_t from, size_t to,
                       struct daily_value *value);
static void add_time_below(const struct daily *daily, const struct record *record, size_t from, size_t to,
                           struct daily_row *row);
static bool is_usable(const struct record *record, enum quantity quantity, size_t row);

void daily_compute(const struct dataset *dataset, struct arena *arena, struct daily *ret)
{
    const struct record *record = &dataset->record;
    *ret = (struct daily){.columns = record_columns(record), .interval = daily_interval(dataset, arena)};
    if (record->value[QUANTITY_OXYGEN])
        ret->limit_count = daily_oxygen_limits(dataset->config, dataset->station, ret->limits);
    ret->count = (size_t)((dataset->span.to - dataset->span.from) / DAY_MS);
    ret->days = arena_array(arena, ret->count, sizeof *ret->days);
    for (size_t i = 0; i < ret->count; i++) {
        int64_t start = dataset->span.from + (int64_t)i * DAY_MS;
        begin_row(ret, (struct span){start, start + DAY_MS}, &ret->days[i]);
        size_t from = record_at_or_after(record, start), to = record_at_or_after(record, start + DAY_MS);
        add_samples(record, from, to, &ret->days[i]);
        add_time_below(ret, record, from, to, &ret->days[i]);
    }
    begin_row(ret, dataset->span, &ret->month);
    size_t from = record_at_or_after(record, dataset->span.from);
    size_t to = record_at_or_after(record, dataset->span.to);
    add_samples(record, from, to, &ret->month);
    add_time_below(ret, record, from, to, &ret->month);
}

const struct daily *daily_of(const struct dataset *dataset, struct arena *arena)
{
    if (dataset->daily)
        return dataset->daily;
    struct daily *daily = arena_alloc(arena, sizeof *daily);
    daily_compute(dataset, arena, daily);
    return daily;
}

void daily_hours(const struct daily *daily, struct daily_hours *ret)
{
    *ret = (struct daily_hours){.limit_count = daily->limit_count};
    for (size_t k = 0; k < daily->limit_count; k++) {
        ret->limits[k] = daily->limits[k];
        ret->below[k] = daily->month.below[k];
        for (size_t d = 0; d < daily->count; d++)
            ret->days[k] += daily->days[d].below[k] > 0;
    }
}

struct daily_hours daily_hours_of(const struct dataset *dataset)
{
    if (dataset->hours)
        return *dataset->hours;
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct daily_hours hours;
    daily_hours(daily_of(dataset, arena), &hours);
    return hours;
}

static void begin_row(const struct daily *daily, struct span span, struct daily_row *row)
{
    *row = (struct daily_row){.span = span};
    if (daily->interval > 0)
        row->expected = (size_t)((span.to - span.from) / daily->interval);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        row->value[q] = (struct daily_value){
            .minimum = NAN, .maximum = NAN, .mean = NAN, .minimum_time = TIME_NONE, .maximum_time = TIME_NONE};
}

static void add_samples(const struct record *record, size_t from, size_t to, struct daily_row *row)
{
    row->samples = to - from;
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        if (record->value[q])
            add_column(record, q, from, to, &row->value[q]);
}

static void add_column(const struct record *record, enum quantity quantity, size_t from, size_t to,
                       struct daily_value *value)
{
    const double *values = record->value[quantity];
    const uint8_t *flags = record->flag[quantity];
    double sum = 0;
    for (size_t i = from; i < to; i++) {
        value->suspect += flags[i] == FLAG_SUSPECT && !isnan(values[i]);
        if (!is_usable(record, quantity, i))
            continue;
        value->used++;
        value->good += flags[i] == FLAG_PASS;
        sum += values[i];
        if (!(values[i] >= value->minimum)) {
            value->minimum = values[i];
            value->minimum_time = record->time[i];
        }
        if (!(values[i] <= value->maximum)) {
            value->maximum = values[i];
            value->maximum_time = record->time[i];
        }
    }
    if (value->used > 0)
        value->mean = sum / (double)value->used;
}

static void add_time_below(const struct daily *daily, const struct record *record, size_t from, size_t to,
                           struct daily_row *row)
{
    for (size_t i = from; daily->limit_count > 0 && i < to; i++) {
        if (!is_usable(record, QUANTITY_OXYGEN, i))
            continue;
        int64_t stands_for = daily->interval;
        if (i + 1 < record->n && record->time[i + 1] - record->time[i] < stands_for)
            stands_for = record->time[i + 1] - record->time[i];
        for (size_t k = 0; k < daily->limit_count; k++)
            if (record->value[QUANTITY_OXYGEN][i] < daily->limits[k])
                row->below[k] += stands_for;
    }
}

static bool is_usable(const struct record *record, enum quantity quantity, size_t row)
{
    uint8_t flag = record->flag[quantity][row];
    return (flag == FLAG_PASS || flag == FLAG_NOT_EVALUATED) && !isnan(record->value[quantity][row]);
}

double daily_good_percent(const struct daily_row *row, enum quantity quantity)
{
    size_t whole = row->samples > row->expected ? row->samples : row->expected;
    return whole > 0 ? 100.0 * (double)row->value[quantity].good / (double)whole : NAN;
}

int64_t daily_interval(const struct dataset *dataset, struct arena *arena)
{
    const struct record *record = &dataset->record;
    if (dataset->daily)
        return dataset->daily->interval;
    if (dataset->station->interval > 0)
        return dataset->station->interval;
    return statistics_usual_step(record->n, record->time, INT64_MAX, arena_room(arena, record->n, sizeof(double)));
}

size_t daily_oxygen_limits(const struct config *config, const struct station *station, double ret[DAILY_LIMITS_MAX])
{
    static const double usual[] = {2, 3, 5};
    size_t n = 0;
    for (size_t i = 0; i < config->rule_count && n < DAILY_LIMITS_MAX; i++) {
        const struct rule *rule = &config->rules[i];
        if (rule->kind != RULE_BELOW || rule->quantity != QUANTITY_OXYGEN || !rule_watches(rule, station->id))
            continue;
        size_t at = 0;
        while (at < n && ret[at] < rule->limit)
            at++;
        if (at < n && ret[at] == rule->limit)
            continue;
        memmove(&ret[at + 1], &ret[at], (n - at) * sizeof *ret);
        ret[at] = rule->limit;
        n++;
    }
    if (n > 0)
        return n;
    memcpy(ret, usual, sizeof usual);
    return COUNT_OF(usual);
}
