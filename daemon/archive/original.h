/* SPDX-License-Identifier: MIT */
/* The untouched bytes of drops, kept for good under the paths of archive_original_path().
 *
 * Many wait for the disk together: original_keep() writes, original_settle() makes all that was kept since durable and
 * puts it in place. A fact that says that a drop was taken is committed after that, never before. */
#ifndef RILLWARD_ARCHIVE_ORIGINAL_H
#define RILLWARD_ARCHIVE_ORIGINAL_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

struct original_keeper;
struct original_keeper *original_keeper_new(const char *root); /* the archive's folder */
/* What has not settled is gone. NULL is fine. */
void original_keeper_free(struct original_keeper *keeper);

/* Write once: the same bytes already there are fine, other bytes under that path are an error and stay. `sha256` is
 * that of `bytes`. SYSTEM error; what was kept before it stays. */
bool original_keep(struct original_keeper *keeper, const char *path, const void *bytes, size_t n, const char *sha256,
                   struct error *error);
/* SYSTEM error: none of those that had not settled counts as kept; they are to be kept again. */
bool original_settle(struct original_keeper *keeper, struct error *error);

#endif
