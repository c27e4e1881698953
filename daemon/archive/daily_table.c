/* SPDX-License-Identifier: MIT */
#include "archive/daily_table.h"

#include "archive/written.h"
#include "base/timestamp.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static struct daily_column *add(struct daily_column *columns, size_t *n, enum daily_column_kind kind,
                                enum quantity quantity, const char *prefix, const char *stem, const char *suffix);
static void add_quantity(struct daily_column *columns, size_t *n, enum quantity quantity);
static void name_limit(double limit, char ret[16]);
static struct daily_cell time_cell(int64_t time);
static struct daily_cell number_cell(double number, int decimals);

size_t daily_table_columns(const struct daily *daily, struct daily_column ret[DAILY_COLUMNS_MAX])
{
    size_t n = 0;
    add(ret, &n, DAILY_DATE, QUANTITY_COUNT, "", "date", "");
    add(ret, &n, DAILY_FROM, QUANTITY_COUNT, "", "from_utc", "");
    add(ret, &n, DAILY_SAMPLES, QUANTITY_COUNT, "", "samples", "");
    add(ret, &n, DAILY_EXPECTED, QUANTITY_COUNT, "", "expected_samples", "");
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        if (daily->columns >> q & 1)
            add_quantity(ret, &n, q);
    for (size_t i = 0; i < daily->limit_count; i++) {
        char limit[16];
        name_limit(daily->limits[i], limit);
        add(ret, &n, DAILY_BELOW, QUANTITY_OXYGEN, "hours_oxygen_below_", limit, "_mg_l")->limit = i;
    }
    return n;
}

static void add_quantity(struct daily_column *columns, size_t *n, enum quantity quantity)
{
    const struct quantity_info *info = quantity_info(quantity);
    add(columns, n, DAILY_MINIMUM, quantity, "minimum_", info->column, "");
    add(columns, n, DAILY_MINIMUM_TIME, quantity, "minimum_", info->key, "_time_utc");
    add(columns, n, DAILY_MAXIMUM, quantity, "maximum_", info->column, "");
    add(columns, n, DAILY_MAXIMUM_TIME, quantity, "maximum_", info->key, "_time_utc");
    add(columns, n, DAILY_MEAN, quantity, "mean_", info->column, "");
    add(columns, n, DAILY_USED, quantity, "", info->key, "_used");
    add(columns, n, DAILY_SUSPECT, quantity, "", info->key, "_suspect");
    add(columns, n, DAILY_GOOD, quantity, "", info->key, "_good_percent");
}

static struct daily_column *add(struct daily_column *columns, size_t *n, enum daily_column_kind kind,
                                enum quantity quantity, const char *prefix, const char *stem, const char *suffix)
{
    assert(*n < DAILY_COLUMNS_MAX);
    struct daily_column *column = &columns[(*n)++];
    *column = (struct daily_column){.kind = kind, .quantity = quantity};
    int length = snprintf(column->name, sizeof column->name, "%s%s%s", prefix, stem, suffix);
    assert(length > 0 && (size_t)length < sizeof column->name);
    (void)length;
    return column;
}

/* "2", "2_5"; four decimals tell any two limits apart that a sensor can. */
static void name_limit(double limit, char ret[16])
{
    struct text text;
    text_init(&text, 12);
    text_number(&text, limit, 4);
    snprintf(ret, 16, "%s", text.length > 0 ? text.bytes : "0");
    text_done(&text);
    size_t length = strlen(ret);
    while (strchr(ret, '.') && (ret[length - 1] == '0' || ret[length - 1] == '.'))
        ret[--length] = '\0';
    for (size_t i = 0; i < length; i++)
        if (ret[i] == '.' || ret[i] == '-')
            ret[i] = '_';
}

struct daily_cell daily_table_cell(const struct daily_row *row, const struct daily_column *column, int64_t utc_offset)
{
    enum quantity q = column->quantity;
    const struct daily_value *value = q < QUANTITY_COUNT ? &row->value[q] : NULL;
    int decimals = value ? quantity_info(q)->decimals : 0;
    switch (column->kind) {
    case DAILY_DATE: return (struct daily_cell){.kind = DAILY_CELL_DATE, .time = row->span.from + utc_offset};
    case DAILY_FROM: return time_cell(row->span.from);
    case DAILY_SAMPLES: return number_cell((double)row->samples, 0);
    case DAILY_EXPECTED: return number_cell(row->expected > 0 ? (double)row->expected : NAN, 0);
    case DAILY_MINIMUM: return number_cell(quantity_to_written(q, value->minimum), decimals);
    case DAILY_MINIMUM_TIME: return time_cell(value->minimum_time);
    case DAILY_MAXIMUM: return number_cell(quantity_to_written(q, value->maximum), decimals);
    case DAILY_MAXIMUM_TIME: return time_cell(value->maximum_time);
    case DAILY_MEAN: return number_cell(quantity_to_written(q, value->mean), decimals);
    case DAILY_USED: return number_cell((double)value->used, 0);
    case DAILY_SUSPECT: return number_cell((double)value->suspect, 0);
    case DAILY_GOOD: return number_cell(daily_good_percent(row, q), 1);
    case DAILY_BELOW:
        return number_cell(value->used > 0 ? (double)row->below[column->limit] / (double)HOUR_MS : NAN, 2);
    }
    return (struct daily_cell){0};
}

static struct daily_cell time_cell(int64_t time)
{
    return (struct daily_cell){.kind = time == TIME_NONE ? DAILY_CELL_EMPTY : DAILY_CELL_TIME, .time = time};
}

static struct daily_cell number_cell(double number, int decimals)
{
    return (struct daily_cell){.kind = isnan(number) ? DAILY_CELL_EMPTY : DAILY_CELL_NUMBER,
                               .number = written_round(number, decimals),
                               .decimals = decimals};
}
