/* SPDX-License-Identifier: MIT */
/* A line chart inside a workbook (ISO/IEC 29500-1, DrawingML): one or two series over dates, each with its own axis.
 * The values stand in the chart as well, for programs that do not calculate. */
#ifndef RILLWARD_ARCHIVE_SHEET_CHART_H
#define RILLWARD_ARCHIVE_SHEET_CHART_H

#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SHEET_CHART_SERIES_MAX = 2 };

struct sheet_series {
    const char *title;    /* of series and axis, with the unit */
    size_t column;        /* on the sheet, from 0 */
    const double *values; /* NaN missing */
    int decimals;
};

struct sheet_chart {
    const char *sheet, *title; /* name of the sheet: letters only */
    size_t rows;               /* of data, below one header row; dates stand in the first column */
    const int64_t *dates;      /* midnight UTC */
    const struct sheet_series *series;
    size_t series_count; /* 1 .. SHEET_CHART_SERIES_MAX */
};

/* The chart itself, and the drawing that holds it (its relation is rId1): its top left corner stands in the given row
 * (from 0) of column A. */
void sheet_chart_put(struct text *to, const struct sheet_chart *chart);
void sheet_chart_put_drawing(struct text *to, size_t row);

/* "A", "Z", "AA": name of a column, from 0. Returns ret. */
char *sheet_column_name(size_t column, char ret[8]);

#endif
