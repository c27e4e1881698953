/* SPDX-License-Identifier: MIT */
/* Delimited text as a table: RFC 4180 with what crews really send. Lines end in CRLF, LF or CR. A cell that begins with
 * a double quote runs to the closing one, over delimiters and line ends; "" is one quote; a quote elsewhere in a cell
 * is text. A line that begins with the comment mark is a comment whatever it holds. */
#ifndef RILLWARD_INTAKE_READ_CSV_H
#define RILLWARD_INTAKE_READ_CSV_H

#include "intake/encoding.h"
#include "intake/table.h"

struct csv_dialect {
    char delimiter;
    const char *comment; /* "" for none */
};

/* Open decoded text; it must outlive the table. `ret` reads from the first row. */
void csv_open(struct arena *arena, const struct decoded *text, const struct csv_dialect *dialect, struct table *ret);

/* The delimiter that splits most of the first 200 lines into the same number of cells: comma, semicolon, tab or bar.
 * The decimal mark is not a candidate. Comma where nothing splits. */
char csv_find_delimiter(const struct decoded *text, char decimal, const char *comment);

/* "comma", "semicolon", "tab", "bar": as in the settings. */
const char *csv_delimiter_word(char delimiter);

#endif
