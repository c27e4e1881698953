/* SPDX-License-Identifier: MIT */
/* Paths as text: nothing here has to exist, symbolic links are not followed. */
#ifndef RILLWARD_CONFIG_PATH_H
#define RILLWARD_CONFIG_PATH_H

#include "base/memory.h"

#include <stdbool.h>

/* `path`, below the absolute `folder` unless absolute itself, without '.', '..' and doubled or last '/'. */
const char *path_absolute(struct arena *arena, const char *folder, const char *path);

/* The folder that holds the file `path`, as written: "" for a bare name, else it ends with '/'. */
const char *path_folder(struct arena *arena, const char *path);

/* Is `path` the folder or something below it? Both normalised. */
bool path_is_inside(const char *path, const char *folder);

#endif
