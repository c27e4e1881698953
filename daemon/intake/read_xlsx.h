/* SPDX-License-Identifier: MIT */
/* A sheet of a workbook as a table. The sheet is inflated and parsed as rows are asked for, and never held.
 *
 * Rows without a filled cell are not given, so a sheet may be formatted down to its end; hidden rows count like others;
 * a row's `line` is its number in the sheet. Cells are what they show, as far as tables need it:
 *
 *   number       CELL_NUMBER, the shortest text of the same value; with a per cent format CELL_PERCENT
 *   date         a number with a date format, or an ISO date: CELL_CIVIL or CELL_TIME, which no 'format' has to fit
 *   text         shared, in the cell, or of a formula, with the marks of rich text and readings aids left out
 *   yes or no    "TRUE", "FALSE"
 *   error        its text, "#N/A": no number, so it becomes an unreadable cell
 *   formula      the result that was kept with it; empty where none was */
#ifndef RILLWARD_INTAKE_READ_XLSX_H
#define RILLWARD_INTAKE_READ_XLSX_H

#include "intake/table.h"
#include "intake/xlsx_book.h"

enum { XLSX_LAST_ROW = 1048576 };

/* `book` must outlive the table, and xlsx_close() comes before the book is closed. `comment`: a row whose first cell
 * begins with it is a comment; "" for none. */
void xlsx_open(struct xlsx_book *book, const struct xlsx_sheet *sheet, const char *comment, struct table *ret);
void xlsx_close(struct table *table);

#endif
