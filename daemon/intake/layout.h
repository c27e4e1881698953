/* SPDX-License-Identifier: MIT */
/* Which layout a file has, and where its columns are. Recognition is explicit: a layout fits when its `files` patterns
 * (if any) match the path and one row of the first 200 holds a header cell for every time column and every column that
 * is not optional. Of a workbook each sheet that is not hidden is tried, those only that `sheet` matches where the
 * layout has it, and one sheet must fit. */
#ifndef RILLWARD_INTAKE_LAYOUT_H
#define RILLWARD_INTAKE_LAYOUT_H

#include "config/config.h"
#include "intake/clock.h"
#include "intake/source.h"
#include "science/units.h"

struct bound_column {
    const struct column *column;
    uint32_t cell;           /* index in a row */
    const char *name;        /* the header cell as written */
    const struct unit *unit; /* NULL where the role has none, or the rows say it */
};

/* A layout laid over a file. */
struct binding {
    const struct layout *layout;
    const char *sheet; /* name; NULL in text files */
    struct clock_format format;
    struct head head;
    size_t header_row;    /* index in head */
    uint32_t header_line; /* its line in the file */
    uint32_t cell_count;  /* cells of the header up to the last filled one */
    uint32_t time_cells[2];
    size_t time_cell_count;
    struct bound_column *columns;
    size_t column_count;
};

/* Is the layout sound by itself? CONFIG error. For the settings' own check, before any file comes. */
bool layout_check(const struct layout *layout, struct error *error);

/* Find the one layout that fits (and sheet), open the file as its table (at the first row; valid until the source is
 * closed), resolve units. INPUT error where none or more than one fits, or a unit is missing, doubtful or of the wrong
 * kind: with what came nearest and the cure. */
bool layout_choose(struct arena *arena, const struct config *config, const char *path, struct source *source,
                   struct binding *ret, struct table *ret_table, struct error *error);

/* Is the end half written, by any delimiter? For files that no layout fits. */
bool layout_ends_open(struct arena *arena, const struct source *source);

#endif
