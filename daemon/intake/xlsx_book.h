/* SPDX-License-Identifier: MIT */
/* A workbook: its sheets, and the texts and number formats that they share. The sheets themselves are not held. */
#ifndef RILLWARD_INTAKE_XLSX_BOOK_H
#define RILLWARD_INTAKE_XLSX_BOOK_H

#include "intake/xlsx_package.h"
#include "intake/xlsx_value.h"

enum {
    XLSX_MOST_SHEETS = 200,
    XLSX_MOST_STRINGS = 4000000, /* shared texts; a sheet of 1,000,000 rows has some 3,000,000 cells of text at most */
    XLSX_MOST_STYLES = 65536     /* cell formats; programs stop at 64,000 */
};
#define XLSX_MOST_PART ((uint64_t)16 << 20)          /* inflated bytes of the list of sheets, and of the formats */
#define XLSX_MOST_STRINGS_PART ((uint64_t)128 << 20) /* inflated bytes of the shared texts */
#define XLSX_MOST_STRING_BYTES ((size_t)64 << 20)    /* of the shared texts as they are held */
#define XLSX_MOST_SHEET_PART ((uint64_t)512 << 20)   /* inflated bytes of a sheet: 1,048,576 rows of 12 columns */

struct xlsx_sheet {
    const char *name;
    const char *part;
    bool is_hidden; /* by the operator of the spreadsheet, or by a program ("very hidden") */
};

struct xlsx_book {
    struct package *package;
    struct arena *arena;
    struct xlsx_sheet *sheets; /* in their order; only those of cells, not of charts */
    size_t sheet_count;
    bool is_1904;
    struct cell *strings;
    size_t string_count;
    uint8_t *styles; /* enum xlsx_style of each cell format */
    size_t style_count;
};

/* Could it be a workbook, by its first bytes? */
bool xlsx_begins(const char *bytes, size_t length);

/* `bytes` must outlive the book; names and texts are in the arena. INPUT error that says what it is and the cure. */
bool xlsx_book_open(struct arena *arena, const char *bytes, size_t length, struct xlsx_book *ret, struct error *error);
void xlsx_book_close(struct xlsx_book *book); /* an empty one is fine */

#endif
