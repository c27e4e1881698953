/* SPDX-License-Identifier: MIT */
#include "archive/month_table.h"

#include <assert.h>
#include <stdio.h>
#include <string.h>

static void add(struct month_column *columns, size_t *n, enum month_cell cell, enum quantity quantity,
                const char *prefix, const char *stem, const char *suffix);
static bool shows_raw_time(const struct record *record);

size_t month_table_columns(const struct dataset *dataset, struct month_column ret[MONTH_COLUMNS_MAX])
{
    const struct record *record = &dataset->record;
    assert(dataset->raw.n == record->n);
    size_t n = 0;
    add(ret, &n, CELL_TIME, QUANTITY_COUNT, "", "time_utc", "");
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (!record->value[q])
            continue;
        const struct quantity_info *info = quantity_info(q);
        add(ret, &n, CELL_VALUE, q, "", info->column, "");
        add(ret, &n, CELL_FLAG, q, "", info->key, "_flag");
        add(ret, &n, CELL_TESTS, q, "", info->key, "_tests");
        if (record->uncertainty[q])
            add(ret, &n, CELL_UNCERTAINTY, q, "", info->key, "_uncertainty");
    }
    add(ret, &n, CELL_BAROMETER, QUANTITY_COUNT, "", "barometer", "");
    if (shows_raw_time(record))
        add(ret, &n, CELL_RAW_TIME, QUANTITY_COUNT, "", "raw_time_utc", "");
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        if (dataset->raw.value[q])
            add(ret, &n, CELL_RAW_VALUE, q, "raw_", quantity_info(q)->column, "");
    add(ret, &n, CELL_DROP, QUANTITY_COUNT, "", "drop", "");
    add(ret, &n, CELL_LINE, QUANTITY_COUNT, "", "line", "");
    return n;
}

static void add(struct month_column *columns, size_t *n, enum month_cell cell, enum quantity quantity,
                const char *prefix, const char *stem, const char *suffix)
{
    assert(*n < MONTH_COLUMNS_MAX);
    struct month_column *column = &columns[(*n)++];
    *column = (struct month_column){.cell = cell, .quantity = quantity};
    int length = snprintf(column->name, sizeof column->name, "%s%s%s", prefix, stem, suffix);
    assert(length > 0 && (size_t)length < sizeof column->name);
    (void)length;
}

static bool shows_raw_time(const struct record *record)
{
    return record->n > 0 && memcmp(record->time, record->raw_time, record->n * sizeof *record->time) != 0;
}
