/* SPDX-License-Identifier: MIT */
/* Rows of cells: what every reader of tables delivers, whatever the file was.
 *
 * A table is walked row by row, so that memory does not grow with the file: the array that holds the cells of a row is
 * used again for the next row, and so is their text where `moves_text` says so; else it stays in the decoded text. A
 * reader fills in `next` and `rewind`. */
#ifndef RILLWARD_INTAKE_TABLE_H
#define RILLWARD_INTAKE_TABLE_H

#include "base/error.h"
#include "base/memory.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { TABLE_LONGEST_ROW = 64 * 1024, TABLE_MOST_CELLS = 512 };

/* What the file says that a cell is. In text files all cells are text. */
enum cell_kind {
    CELL_TEXT,
    CELL_NUMBER,  /* written with '.', whatever the layout's decimal mark is */
    CELL_PERCENT, /* the same, as it is shown: 96.5 where the cell shows 96.5 % */
    CELL_CIVIL,   /* a date, or date and time, whatever the layout's format is: for clock_read_civil() */
    CELL_TIME,    /* a time of day, for clock_read_time_of_day() */
};

/* UTF-8, blanks around it cut, quotes undone; not ended by a NUL. */
struct cell {
    const char *text;
    uint32_t length;
    uint8_t kind; /* enum cell_kind */
};

struct row {
    uint32_t line;            /* of the file or sheet, from 1, where the row begins */
    uint32_t count;           /* cells; the first one of a comment lacks the mark, and in text files is all of it */
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
    bool moves_text;  /* the text of a row's cells is valid until the next row only */
    size_t most_rows; /* no more rows than this will come; 0: unknown */
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
/* The cell as a number with the layout's decimal mark, or with the point where the file itself says it is a number. */
bool cell_number(struct cell cell, char decimal, double *ret);

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
