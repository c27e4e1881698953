/* SPDX-License-Identifier: MIT */
/* One sheet of a workbook (ISO/IEC 29500-1, SpreadsheetML) as XML, cell by cell. Text is always text: whatever it
 * begins with, no office program runs it. Cells carry no names of their own, since they stand in order; that halves the
 * file. */
#ifndef RILLWARD_ARCHIVE_SHEET_H
#define RILLWARD_ARCHIVE_SHEET_H

#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* What may be chosen in a column below the heading; other words are allowed. */
struct sheet_choice {
    size_t column;    /* from 0 */
    const char *from; /* where the words stand: "lists!$A$1:$A$9" */
};

struct sheet_layout {
    unsigned frozen_rows, frozen_columns;
    const unsigned *widths; /* of the columns, in characters; the last one counts for all that follow */
    size_t width_count, column_count;
    bool has_drawing;      /* its relation is rId1 */
    bool begins_with_date; /* what people write in the first column is shown as a date */
    const struct sheet_choice *choices;
    size_t choice_count, choice_rows; /* rows that offer them */
};

void sheet_begin(struct text *to, const struct sheet_layout *layout);
void sheet_end(struct text *to, const struct sheet_layout *layout);

void sheet_begin_row(struct text *to);
void sheet_end_row(struct text *to);

void sheet_put_empty(struct text *to);
void sheet_put_text(struct text *to, const char *text);
void sheet_put_heading(struct text *to, const char *text); /* bold */
/* Rounded to `decimals` (0..4) and shown with them; empty for NaN. */
void sheet_put_number(struct text *to, double value, int decimals);
void sheet_put_integer(struct text *to, int64_t value);
void sheet_put_time(struct text *to, int64_t time); /* UTC, to the millisecond; empty for TIME_NONE */
void sheet_put_date(struct text *to, int64_t time); /* calendar day, UTC */

/* The same into the caller's bytes, at most SHEET_CELL_MAX, for loops over many rows. Return the place behind. */
enum { SHEET_CELL_MAX = TEXT_NUMBER_MAX + 32 };
char *sheet_print_number(char *at, double value, int decimals);
char *sheet_print_integer(char *at, int64_t value);
char *sheet_print_time(char *at, int64_t time);

/* The part of the workbook that holds the formats used above. */
void sheet_put_styles(struct text *to);

#endif
