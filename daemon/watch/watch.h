/* SPDX-License-Identifier: MIT */
/* The inbox: which files are worth reading now, and which must wait.
 *
 * Scans are the truth: at the start, after lost events, when the inbox was replaced, and by the clock, the
 * whole tree is read and EVERY regular file that is not ignored is reported. The caller compares path, size,
 * times and inode with what it has stored, before it looks at the state, and skips what it knows. inotify
 * only makes single files and folders come sooner. Nothing in the inbox is ever written, renamed, deleted or
 * followed through a link; a file that is gone is not reported, because that is no reason to forget anything.
 *
 * One turn of the caller's loop: wait until watch_fd() is readable or watch_deadline() has come,
 * watch_receive(), then watch_next() until it returns false. Times: `wall` is ms UTC, `monotonic` is ms of a
 * clock that never jumps.
 *
 * The program must ignore SIGIO (see beneath_probe_writer). While a scan runs one folder of the inbox is held
 * open, which keeps its filesystem from being unmounted. */
#ifndef RILLWARD_WATCH_WATCH_H
#define RILLWARD_WATCH_WATCH_H

#include "base/error.h"

#include <limits.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct watch_settings {
    const char *root;          /* the inbox; may itself be a symbolic link, may be missing for now */
    const char *const *ignore; /* more names that are not drops: see ignore.h */
    size_t ignore_count;
    int64_t settle_ms; /* a file that has not changed for so long counts as whole, >= 0 */
    int64_t rescan_ms; /* between whole scans, > 0; at most a minute where events do not tell everything */
};

enum candidate_state { CANDIDATE_READY, CANDIDATE_WAITING };

struct candidate {
    char path[PATH_MAX]; /* below the inbox, raw bytes */
    enum candidate_state state;
    const char *reason;              /* why it waits (static text: "still changing", "open by a writer", "empty",
                                        "placeholder: the file is not downloaded"); NULL when ready */
    int64_t ready_at;                /* wall time when it may be ready; TIME_NONE: not known, or ready */
    int64_t size;                    /* bytes */
    int64_t modified_ns, changed_ns; /* mtime and ctime, ns since 1970 UTC */
    uint64_t inode, device;
    bool was_renamed_in; /* an event told that the name appeared by a rename */
};

/* How the inbox looks: counts of the last whole scan (of the running one until the first has ended),
 * conditions of now. */
struct watch_report {
    size_t folders_watched;
    size_t files_seen;        /* reported, whatever their state */
    size_t ignored;           /* files and folders, by name */
    size_t special;           /* symbolic links, FIFOs, sockets, devices */
    size_t unreadable;        /* folders that could not be read; paths not to be looked at, too long or too deep */
    size_t overflows;         /* times that events were lost, since the start */
    size_t scans;             /* whole scans that ended, since the start */
    bool scan_only;           /* no inotify to be had */
    bool inbox_missing;       /* not there, or an empty folder took its place: no file counts as deleted */
    bool watch_limit_reached; /* folders beyond the limit are seen by scans only */
    bool events_unavailable;  /* network or FUSE filesystem: others' changes are seen by scans only */
    char note[256];           /* the gravest of it in words, with the cure; "" when all is well */
};

struct watch;

/* Copies the settings. NULL with a CONFIG error for settings out of range; all else shows in the report. */
struct watch *watch_open(const struct watch_settings *settings, struct error *error);
void watch_close(struct watch *watch); /* NULL is fine */

int watch_fd(const struct watch *watch); /* readable when there is something to receive; -1: scans only */
/* Take in what happened. */
void watch_receive(struct watch *watch, int64_t monotonic);

/* The next file to look at. Does a bounded piece of work, reading at most one folder; false when it has
 * nothing to report (yet: watch_deadline() tells when to ask again). False with `error` filled (SYSTEM: no
 * descriptors, no memory) when work was broken off; it is tried again by itself. A file that waits is
 * reported once for each look at it. */
bool watch_next(struct watch *watch, int64_t wall, int64_t monotonic, struct candidate *ret, struct error *error);

/* Open a reported file for reading. The caller closes it. -1: an INPUT error when it is no regular file any
 * more or a link is in the way, else a SYSTEM error (gone, no permission). */
int watch_open_file(const struct watch *watch, const char *path, struct error *error);

/* Report a file that was ready again at `monotonic`, unless an event does so sooner. Past HINTS_FILE_LIMIT only scans
 * do. */
void watch_look_again(struct watch *watch, const struct candidate *candidate, int64_t monotonic);

/* Ask for a whole scan; one that runs is finished first. */
void watch_rescan(struct watch *watch);

/* Monotonic time of the next thing to do by itself; 0 when there is work now. */
int64_t watch_deadline(const struct watch *watch);
/* No scan, nothing named by events. Files may still be waiting for their time. */
bool watch_is_idle(const struct watch *watch);
/* Files with a time for another look; at most HINTS_FILE_LIMIT. */
size_t watch_count_waiting(const struct watch *watch);

void watch_report(const struct watch *watch, struct watch_report *ret);

#endif
