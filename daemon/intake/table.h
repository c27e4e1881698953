/* SPDX-License-Identifier: MIT */
/* Rows of cells: what every reader of tables delivers, whatever the file was.
 *
 * A table is walked row by row, so that memory does not grow with the file: the cells of a row point into the decoded
 * text and the array that holds them is used again for the next row. A reader fills in `next` and `rewind`. */
#ifndef RILLWARD_INTAKE_TABLE_H
#define RILLWARD_INTAKE_TABLE_H

#include "base/error.h"
#include "base/memory.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { TABLE_LONGEST_ROW = 64 * 1024, TABLE_MOST_CELLS = 512 };

/* UTF-8, blanks around it cut, quotes undone; not ended by a NUL. */
struct cell {
    const char *text;
    uint32_t length;
};

struct row {
    uint32_t line;            /* of the file, from 1, where the row begins */
    uint32_t count;           /* cells; a comment has one: its text without the mark */
    const struct cell *cells; /* valid until the next row is read */
    bool is_comment;
    bool is_open;      /* the last row: it has no line end, or its quotes are not closed */
    bool is_malformed; /* text stands behind a closing quote; or the quotes of an open row are not closed */
};

enum table_step { TABLE_ROW, TABLE_END, TABLE_FAILED };

struct table {
    /* TABLE_FAILED comes with an INPUT error: a limit was passed. */
    enum table_step (*next)(struct table *table, struct row *ret, struct error *error);
    void (*rewind)(struct table *table);
    void *reader;     /* the reader's own */
    bool ends_open;   /* the last row may be half written */
    size_t most_rows; /* no more rows than this will come */
};

enum table_step table_next(struct table *table, struct row *ret, struct error *error);
void table_rewind(struct table *table);

/* Blanks are spaces, tabs, line ends and U+00A0. */
struct cell cell_trim(const char *text, size_t length);
struct cell cell_from(const char *string);
bool cell_is(struct cell cell, const char *word);     /* ASCII case ignored */
bool cell_equals(struct cell a, struct cell b);       /* byte for byte */
bool cell_begins(struct cell cell, const char *word); /* ASCII case ignored */
/* `pattern` over the whole cell: `*` any run, `?` one byte; ASCII case ignored. */
bool cell_matches(struct cell cell, const char *pattern);
char *cell_copy(struct cell cell, struct arena *arena);

/* A cell as messages quote it: control bytes made visible, cut with "..." after some 40 bytes. */
struct cell_quote {
    char text[192];
};
struct cell_quote cell_quote(struct cell cell);

/* No filled cell in the row. */
bool row_is_blank(const struct row *row);
/* The cell at `index`, or an empty one where the row ends before it. */
struct cell row_cell(const struct row *row, size_t index);

#endif
