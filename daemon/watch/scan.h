/* SPDX-License-Identifier: MIT */
/* Walking a tree of folders with a bounded step: one folder is read whole, its files are handed out in byte
 * order, then its folders in byte order, each with all below it. What is held is names, not facts about
 * files, and one open folder. */
#ifndef RILLWARD_WATCH_SCAN_H
#define RILLWARD_WATCH_SCAN_H

#include "watch/ignore.h"

#include <limits.h>
#include <stdbool.h>
#include <stddef.h>

#define SCAN_DEPTH_LIMIT 128 /* folders below the inbox */

struct name_list {
    char *bytes; /* names, each with its end */
    size_t length, capacity;
    const char **names; /* sorted by bytes */
    size_t count, next;
};

/* What one folder holds. */
struct listing {
    struct name_list files, folders;
    size_t ignored;  /* by name */
    size_t special;  /* symbolic links, FIFOs, sockets, devices */
    size_t too_long; /* the path would have PATH_MAX bytes or more */
    bool is_torn;    /* reading broke off: errno tells why */
};

/* `fd`: open folder, stays open, read from its start; `path`: its path below the inbox. */
void listing_read(int fd, const char *path, const struct ignore_list *ignore, struct listing *ret);
void listing_done(struct listing *listing);

enum scan_item { SCAN_END, SCAN_FILE, SCAN_FOLDER };

struct scan;
struct scan *scan_new(void); /* ended */
void scan_free(struct scan *scan);
void scan_start(struct scan *scan, const char *path); /* the first item is this folder; only when ended */
void scan_stop(struct scan *scan);
/* May be true with nothing left, until scan_peek says SCAN_END. */
bool scan_is_running(const struct scan *scan);

/* The kind of the next item. */
enum scan_item scan_peek(struct scan *scan);
/* Take the next file or folder: its path, and for a file the open folder that holds it (borrowed, until the
 * next call) and its name inside `ret_path`. */
void scan_take(struct scan *scan, char ret_path[PATH_MAX], int *ret_fd, const char **ret_name);
/* Go into the folder that was just taken. Owns `fd` and the content of `listing` from here on. */
void scan_enter(struct scan *scan, const char *path, int fd, struct listing *listing);

#endif
