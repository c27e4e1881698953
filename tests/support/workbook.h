/* SPDX-License-Identifier: MIT */
/* Workbooks in memory, for tests: parts put into a ZIP archive. */
#ifndef RILLWARD_TESTS_SUPPORT_WORKBOOK_H
#define RILLWARD_TESTS_SUPPORT_WORKBOOK_H

#include "base/memory.h"

#include <stddef.h>

struct workbook_part {
    const char *name, *text;
    size_t length; /* 0: that of the NUL-ended text */
};

/* The archive, in the arena. */
char *workbook_zip(struct arena *arena, const struct workbook_part *parts, size_t count, size_t *ret_length);

/* A workbook with one sheet "Data", whose whole XML is `sheet`, and shared texts and cell formats: texts 0 "Time",
 * 1 "Temp (C)", 2 "DO (mg/L)"; formats 0 plain, 1 date and time (built in), 2 date (custom), 3 time of day, 4 per cent.
 */
char *workbook_of_sheet(struct arena *arena, const char *sheet, size_t sheet_length, size_t *ret_length);

/* "<worksheet ...><sheetData>ROWS</sheetData></worksheet>". */
char *workbook_sheet(struct arena *arena, const char *rows);

#endif
