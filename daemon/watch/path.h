/* SPDX-License-Identifier: MIT */
/* Parts of paths below the inbox: names with '/' between them, raw bytes. */
#ifndef RILLWARD_WATCH_PATH_H
#define RILLWARD_WATCH_PATH_H

#include <limits.h>
#include <stddef.h>

/* The last name, inside `path`. */
const char *path_base(const char *path);
/* All but the last name, "" when there is one only; returns ret. */
const char *path_parent(const char *path, char ret[PATH_MAX]);
/* How many names. */
size_t path_depth(const char *path);

#endif
