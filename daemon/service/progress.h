/* SPDX-License-Identifier: MIT */
/* How far a long command has come: one line on a terminal, drawn over itself, with what is done, how fast, and how long
 * it will take. Where standard error is no terminal there is none.
 *
 *   taking drops: 1204, 310 a second
 *   writing records: 120 of 480, 25 a second, 15 s left */
#ifndef RILLWARD_SERVICE_PROGRESS_H
#define RILLWARD_SERVICE_PROGRESS_H

#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct progress {
    bool is_shown;        /* there is somebody to look */
    const char *what;     /* of now; the caller's */
    size_t first;         /* of `done` when that began */
    size_t most;          /* that was left of it */
    int64_t began, shown; /* ms, monotonic */
};

void progress_open(struct progress *ret);
/* `what` is in words and stands still (a literal); `total` 0: nobody knows. Cheap to call often: it draws ten times a
 * second at most. */
void progress_tell(struct progress *progress, const char *what, size_t done, size_t total, int64_t monotonic);
/* The same of work of which only what is left is known: all of it is the most that was ever left of it. */
void progress_tell_left(struct progress *progress, const char *what, size_t left, int64_t monotonic);
/* Whether a word of it would be drawn now: to look nothing up in vain. */
bool progress_is_due(const struct progress *progress, int64_t monotonic);
/* Out of the way of a line of output; it is drawn again by itself. */
void progress_hide(struct progress *progress);
/* The line goes; what comes next begins where it stood. */
void progress_close(struct progress *progress);

/* The line's words, for the above. `elapsed`: ms since `first`; below a second there is no rate yet. */
void progress_print(struct text *ret, const char *what, size_t done, size_t total, size_t first, int64_t elapsed);

#endif
