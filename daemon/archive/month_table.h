/* SPDX-License-Identifier: MIT */
/* The columns of a station-month as a table: which there are and in which order, for every format that has
 * columns, so that the data and the description beside them cannot disagree. */
#ifndef RILLWARD_ARCHIVE_MONTH_TABLE_H
#define RILLWARD_ARCHIVE_MONTH_TABLE_H

#include "archive/dataset.h"

enum month_cell {
    CELL_TIME,        /* time_utc */
    CELL_VALUE,       /* level_m, ...: finished value, written unit */
    CELL_FLAG,        /* level_flag */
    CELL_TESTS,       /* level_tests: sum of the masks of enum test */
    CELL_UNCERTAINTY, /* level_uncertainty: k = 1, written unit; only where the record has it */
    CELL_BAROMETER,   /* barometer: id, empty where none was used */
    CELL_RAW_TIME,    /* raw_time_utc: as the logger's clock said; only where any differs */
    CELL_RAW_VALUE,   /* raw_water_pressure_kpa, ...: the reading, written unit */
    CELL_DROP,        /* drop: number of the original that the row came from */
    CELL_LINE,        /* line: in that original, from 1 */
};

struct month_column {
    enum month_cell cell;
    enum quantity quantity; /* QUANTITY_COUNT where the cell has none */
    char name[64];          /* header cell, [a-z0-9_] */
};

#define MONTH_COLUMNS_MAX (5 * QUANTITY_COUNT + 5)

/* Columns of this dataset, in order; returns how many. dataset.raw has as many rows as dataset.record. */
size_t month_table_columns(const struct dataset *dataset, struct month_column ret[MONTH_COLUMNS_MAX]);

#endif
