/* SPDX-License-Identifier: MIT */
/* Files of the archive as one package that stands by itself: a bag (BagIt 1.0, RFC 8493) with SHA-256 manifests, which
 * plain `sha256sum -c` checks, too. */
#ifndef RILLWARD_ARCHIVE_BAG_H
#define RILLWARD_ARCHIVE_BAG_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct bag_file {
    const char *path;   /* below the archive, and below data/ in the bag; plain */
    const char *sha256; /* as it is known: a file with other bytes is refused */
};

struct bag_label { /* a line of bag-info.txt; line ends in the value become spaces */
    const char *name, *value;
};

/* Copy the files into a new folder; its parent is there. The size of the payload is added to the labels. It is made
 * beside `target`, under its name with BAG_UNFINISHED behind, and gets its name when it is whole and durable. False:
 * what was made stays there, unfinished; a target that is there already, an unfinished one, and a file that is missing
 * or changed are INPUT errors, the rest SYSTEM. */
#define BAG_UNFINISHED ".unfinished"
bool bag_write(const char *archive, const struct bag_file *files, size_t file_count, const struct bag_label *labels,
               size_t label_count, const char *target, int64_t *ret_bytes, struct error *error);

#endif
