/* SPDX-License-Identifier: MIT */
/* A file opened as what it is: text, or a workbook. */
#ifndef RILLWARD_INTAKE_SOURCE_H
#define RILLWARD_INTAKE_SOURCE_H

#include "intake/encoding.h"
#include "intake/read_xlsx.h"
#include "intake/table.h"

enum { HEAD_ROWS = 200 };

struct source {
    struct decoded text;
    struct xlsx_book book; /* package NULL: it is text */
    struct open_sheet *sheets;
};

/* `bytes` must outlive the source. INPUT error that says what it is instead, and the cure. To be closed either way. */
bool source_open(struct arena *arena, const char *bytes, size_t length, struct source *ret, struct error *error);
void source_close(struct source *source);

/* A sheet of the workbook as a table, valid until the source is closed. */
void source_open_sheet(struct arena *arena, struct source *source, const struct xlsx_sheet *sheet, const char *comment,
                       struct table *ret);

/* The first rows of a file, kept. */
struct head {
    struct row *rows;
    size_t count;
};

/* From the first row; the table is rewound. False where a limit was passed: `ret` then has the rows before it. */
bool head_read(struct arena *arena, struct table *table, struct head *ret, struct error *error);

#endif
