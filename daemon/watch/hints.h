/* SPDX-License-Identifier: MIT */
/* What is worth a look, and when: single files (told by an event, or waiting to settle), folders to be read
 * with all below them, and the wish for a whole scan. Every list has an end: past it only the wish for a scan
 * remains, which finds the same and more. So memory stays flat whatever happens in the inbox. Times are
 * monotonic ms. */
#ifndef RILLWARD_WATCH_HINTS_H
#define RILLWARD_WATCH_HINTS_H

#include <limits.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define HINTS_FILE_LIMIT 4096
#define HINTS_FOLDER_LIMIT 256

struct fingerprint {
    int64_t size, modified_ns, changed_ns;
    uint64_t inode, device;
};

/* What earlier looks at a file saw. All zero: never seen. */
struct sighting {
    struct fingerprint print;
    int64_t since;       /* when it was first seen just like this */
    bool is_known;       /* the two fields above mean something */
    bool has_changed;    /* it looked otherwise before */
    bool was_renamed_in; /* its name came by a rename, not yet looked at since */
    unsigned tries;      /* looks that found it just like this */
};

enum hint_kind {
    HINT_WRITTEN, /* made, linked or closed by a writer */
    HINT_RENAMED, /* appeared by a rename */
    HINT_TOUCHED, /* times or mode */
};

struct hints;
struct hints *hints_new(void);
void hints_free(struct hints *hints);

/* An event names `path`: look at it at `now`. When the list is full, a scan is wanted, and the newest takes the place of
 * the oldest, which the scan will find. */
void hints_add_file(struct hints *hints, const char *path, enum hint_kind kind, int64_t now);
/* Look at `path` again at `due`, remembering `sighting`. False when the list is full. */
bool hints_put_file(struct hints *hints, const char *path, const struct sighting *sighting, int64_t due);
/* Take a file that is due at `now` out of the list: by turns the earliest of all, and the earliest of the folder in
 * which the newest stands, so that what arrives now does not stand behind thousands that arrived before elsewhere. Within
 * a folder the order is kept: of two files that disagree the later one counts. Of equals, the one that came first. */
bool hints_take_file(struct hints *hints, int64_t now, char ret_path[PATH_MAX], struct sighting *ret);
/* What is remembered of `path`; false and all zero when nothing. */
bool hints_recall_file(const struct hints *hints, const char *path, struct sighting *ret);
void hints_drop_file(struct hints *hints, const char *path);

size_t hints_count_waiting(const struct hints *hints); /* put back, not named by an event since */
int64_t hints_next_due(const struct hints *hints);     /* TIME_FOREVER: no file */

/* Nothing happens while a scan is wanted, which covers it. Past the limit a scan is wanted. */
void hints_add_folder(struct hints *hints, const char *path);
bool hints_take_folder(struct hints *hints, char ret_path[PATH_MAX]);

void hints_want_scan(struct hints *hints);
/* True once per wish. Folders that were named until then are forgotten: the scan starts after them. */
bool hints_take_scan(struct hints *hints);

/* Anything named by an event, any folder, or a scan? */
bool hints_are_pending(const struct hints *hints);

/* Compare `print`, seen at `now`, with `sighting` and bring that up to date. */
void sighting_update(struct sighting *sighting, const struct fingerprint *print, int64_t now);

#endif
