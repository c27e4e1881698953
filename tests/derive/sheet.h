/* SPDX-License-Identifier: MIT */
/* Open data that lie beside the source tree, or in the folder that RILLWARD_OPEN_DATA names: CSV without quoted cells.
 */
#ifndef RILLWARD_TESTS_DERIVE_SHEET_H
#define RILLWARD_TESTS_DERIVE_SHEET_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

enum { SHEET_COLUMNS = 64 };

struct sheet {
    FILE *file;
    size_t column_count;
    char header[4096], line[4096];
    char *names[SHEET_COLUMNS], *cells[SHEET_COLUMNS];
};

/* Where the file is absent the test is skipped: "skipped, no open data". */
struct sheet *sheet_open(const char *path_below_data);
bool sheet_next(struct sheet *sheet);
void sheet_close(struct sheet *sheet);

/* Cells of the present row; a number that is none is NaN. */
const char *sheet_text(const struct sheet *sheet, const char *column);
double sheet_number(const struct sheet *sheet, const char *column);
/* "2012-01-01 00:15:00" and "2012-01-01T00:15:00Z" alike, of a clock `offset` ms ahead of UTC. */
int64_t sheet_time(const struct sheet *sheet, const char *column, int64_t offset);

#endif
