/* SPDX-License-Identifier: MIT */
/* A small month of one station that has a bit of everything: all columns, missing cells, a late start, notes,
 * checks. */
#ifndef RILLWARD_TESTS_ARCHIVE_FIXTURE_H
#define RILLWARD_TESTS_ARCHIVE_FIXTURE_H

#include "archive/dataset.h"
#include "base/memory.h"
#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>

/* Six rows of heron-creek in March 2026 by a standard time of UTC+10. In the arena. */
struct dataset *fixture_month(struct arena *arena);
/* `n` rows, one every five minutes, with level, depth, temperature, oxygen (2), conductivity (2), salinity
 * and both pressures. */
struct dataset *fixture_long_month(struct arena *arena, size_t n);
int64_t fixture_time(const char *printed);

/* A new empty folder; removed with all it holds by fixture_remove_folder, which also frees the path. */
char *fixture_make_folder(void);
void fixture_remove_folder(char *folder);
/* NUL-ended text of a file, in the arena; NULL where it cannot be read. */
char *fixture_read(struct arena *arena, const char *folder, const char *path);
void fixture_write(const char *folder, const char *path, const char *text);

/* All formats of a month, by their names, in one folder. */
void fixture_write_month(const struct dataset *dataset, const char *folder);
/* Path of the one with that extension, in the arena. */
char *fixture_month_path(struct arena *arena, const struct dataset *dataset, const char *folder, const char *extension);
/* Run a Python check of this folder on `argument`; what it says goes to the test's output. Exit status, 0 fine. */
int fixture_check(const char *script, const char *argument);

/* Exit status of a shell command, -1 where it did not run. */
int fixture_run(const char *format, ...) __attribute__((format(printf, 1, 2)));
/* Folder of these tests, for the golden files and the Python checks. */
const char *fixture_here(void);

#endif
