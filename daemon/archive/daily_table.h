/* SPDX-License-Identifier: MIT */
/* The columns of the daily values as a table, and what stands in each cell, for every format that shows them. */
#ifndef RILLWARD_ARCHIVE_DAILY_TABLE_H
#define RILLWARD_ARCHIVE_DAILY_TABLE_H

#include "archive/daily.h"

enum daily_column_kind {
    DAILY_DATE,         /* date: of the day, by the station's standard time */
    DAILY_FROM,         /* from_utc: its start */
    DAILY_SAMPLES,      /* samples */
    DAILY_EXPECTED,     /* expected_samples */
    DAILY_MINIMUM,      /* minimum_level_m */
    DAILY_MINIMUM_TIME, /* minimum_level_time_utc */
    DAILY_MAXIMUM,
    DAILY_MAXIMUM_TIME,
    DAILY_MEAN,
    DAILY_USED,    /* level_used */
    DAILY_SUSPECT, /* level_suspect */
    DAILY_GOOD,    /* level_good_percent */
    DAILY_BELOW,   /* hours_oxygen_below_2_5_mg_l */
};

struct daily_column {
    enum daily_column_kind kind;
    enum quantity quantity; /* QUANTITY_COUNT where the column has none */
    size_t limit;           /* DAILY_BELOW: position in daily.limits */
    char name[80];          /* header cell, [a-z0-9_] */
};

#define DAILY_COLUMNS_MAX (4 + 8 * QUANTITY_COUNT + DAILY_LIMITS_MAX)

size_t daily_table_columns(const struct daily *daily, struct daily_column ret[DAILY_COLUMNS_MAX]);

enum daily_cell_kind { DAILY_CELL_EMPTY, DAILY_CELL_DATE, DAILY_CELL_TIME, DAILY_CELL_NUMBER };

struct daily_cell {
    enum daily_cell_kind kind;
    int64_t time;  /* UTC; of a date: midnight of the same calendar day, UTC */
    double number; /* rounded to `decimals` */
    int decimals;
};
struct daily_cell daily_table_cell(const struct daily_row *row, const struct daily_column *column, int64_t utc_offset);

#endif
