/* SPDX-License-Identifier: MIT */
/* Names in the inbox that are not drops: what file-sync programs, editors and desktops leave beside the data.
 *
 * Built-in names are matched on the last part of the path and without regard to case. The operator's own
 * patterns (text_matches() of base/text.h) are matched with case: on the last part, or on the whole path
 * below the inbox where the pattern holds a '/'. A folder that is ignored is not entered at all. */
#ifndef RILLWARD_WATCH_IGNORE_H
#define RILLWARD_WATCH_IGNORE_H

#include <stddef.h>

enum name_kind {
    NAME_DATA,        /* may be a drop */
    NAME_IGNORED,     /* temporary, hidden, lock, backup: never looked into, but counted */
    NAME_PLACEHOLDER, /* stands for a file that is not downloaded yet; says nothing about a folder */
};

struct ignore_list {
    char **patterns; /* the operator's, owned */
    size_t count;
};

void ignore_init(struct ignore_list *list, const char *const *patterns, size_t count); /* copies */
void ignore_done(struct ignore_list *list);

/* `path`: relative to the inbox, raw bytes, not empty. */
enum name_kind ignore_judge_path(const struct ignore_list *list, const char *path);

#endif
