/* SPDX-License-Identifier: MIT */
/* The folders of the inbox and their inotify watches.
 *
 * A watch follows the folder's inode, wherever that is moved, so no path is stored: a node has its parent and
 * its own name, and paths are built when asked for. One watch belongs to at most one node: a folder that
 * turns up at another place takes its watch with it. A watch that we remove stays known as "leaving" until
 * the kernel says IN_IGNORED, because its events may still stand in the queue. */
#ifndef RILLWARD_WATCH_FOLDERS_H
#define RILLWARD_WATCH_FOLDERS_H

#include <limits.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct folder {
    struct folder *parent; /* NULL for the inbox itself */
    struct folder *first_child;
    struct folder *next, *previous; /* with the same parent, in no order */
    struct folder *next_in_bucket;
    int wd;              /* -1: not watched */
    uint32_t generation; /* of the scan that last saw it */
    bool had_denials;    /* something in it could not be looked at: a change of its mode is news */
    char name[];
};

/* Whose watch is it? */
enum watch_owner {
    OWNER_UNKNOWN, /* nobody's that we know of */
    OWNER_LEAVING, /* ours until we removed it */
    OWNER_FOLDER,
};

struct folders;

/* `inotify`: borrowed; -1 keeps nodes without watches. */
struct folders *folders_new(int inotify);
void folders_free(struct folders *folders); /* leaves the watches to the closing of `inotify` */

/* Paths are relative to the inbox, "" is the inbox itself, whose node is always there. */
struct folder *folders_find(const struct folders *folders, const char *path); /* NULL: not known */
struct folder *folders_find_child(const struct folders *folders, const struct folder *parent,
                                  const char *name);
/* Find or make, marked as seen by `generation`. */
struct folder *folders_touch(struct folders *folders, const char *path, uint32_t generation);

/* Watch the open folder `fd` for `folder`; again is fine. False with errno (ENOSPC: no watch is left). */
bool folders_add_watch(struct folders *folders, struct folder *folder, int fd);

/* Forget a folder with all below it and remove their watches. The inbox keeps its (then bare) node. */
void folders_drop(struct folders *folders, struct folder *folder);
/* Drop all folders that `generation` did not see, and the memory of leaving watches. */
void folders_sweep(struct folders *folders, uint32_t generation);

enum watch_owner folders_identify(const struct folders *folders, int wd, struct folder **ret);
/* The kernel has removed `wd`. */
void folders_forget_watch(struct folders *folders, int wd);

/* False when the path has PATH_MAX bytes or more. */
bool folders_print_path(const struct folder *folder, char ret[PATH_MAX]);
size_t folders_count_watched(const struct folders *folders);

#endif
