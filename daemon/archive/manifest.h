/* SPDX-License-Identifier: MIT */
/* Fingerprints of files as plain `sha256sum -c` reads them: 64 hex digits, two spaces, path, line end.
 *
 * There is one manifest in each folder of a station or barometer, with paths relative to that folder, and one
 * at the top of the archive that holds the fingerprints of those: a new record changes its own station's
 * manifest and the top one. */
#ifndef RILLWARD_ARCHIVE_MANIFEST_H
#define RILLWARD_ARCHIVE_MANIFEST_H

#include "base/error.h"
#include "base/file.h"
#include "base/memory.h"
#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>

#define MANIFEST_NAME "manifest-sha256.txt"

struct manifest_line {
    const char *path; /* relative, of [A-Za-z0-9._-] and '/'; see manifest_path_is_plain */
    char sha256[SHA256_HEX_SIZE];
};

/* Appends the lines to `ret` in byte order of their paths, however they come in. Every path must be plain,
 * none twice. */
void manifest_render(const struct manifest_line *lines, size_t n, struct text *ret);

/* Read one back, strictly: exactly what manifest_render writes, or an INPUT error that names the line. Lines
 * and paths are in the arena, ascending by path. Nothing at all is a manifest of no files. */
bool manifest_read(const char *bytes, size_t length, struct arena *arena, struct manifest_line **ret_lines,
                   size_t *ret_n, struct error *error);

/* The line with this path, NULL where there is none; lines ascending by path. */
const struct manifest_line *manifest_find(const struct manifest_line *lines, size_t n, const char *path);

/* Relative, no empty, "." or ".." part, and only bytes that no tool needs to escape. */
bool manifest_path_is_plain(const char *path);
/* One of [A-Za-z0-9._-]. */
bool manifest_byte_is_plain(char c);

#endif
