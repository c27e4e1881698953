/* SPDX-License-Identifier: MIT */
/* Is a file whole? No event proves it: an aborted upload closes its file too, and a renamed file may still be
 * open. So the answer is pieced together from times, a probe for writers, and how the name appeared. Pure:
 * facts in, verdict out. */
#ifndef RILLWARD_WATCH_SETTLE_H
#define RILLWARD_WATCH_SETTLE_H

#include <stdbool.h>
#include <stdint.h>

enum settle_state { SETTLE_READY, SETTLE_CHANGING, SETTLE_OPEN, SETTLE_EMPTY, SETTLE_PLACEHOLDER };

/* Whether anybody has the file open for writing. */
enum writer_probe {
    WRITER_UNKNOWN, /* not asked, or the kernel cannot tell (not our file, network filesystem) */
    WRITER_NONE,
    WRITER_OPEN,
};

struct settle_facts {
    int64_t size;     /* bytes */
    int64_t changed;  /* last change of the inode (ctime), ms on the wall clock */
    int64_t seen_for; /* ms on the monotonic clock since it was first seen just like this; 0 when seen now */
    bool was_seen_changing; /* an earlier look saw other size or times */
    bool was_renamed_in;    /* the name appeared by a rename, and nothing was written since */
    bool is_placeholder;
    enum writer_probe writer;
    unsigned tries; /* earlier looks that found it like this */
};

struct settle_verdict {
    enum settle_state state;
    int64_t wait; /* ms until another look is worth it; TIME_FOREVER: only a change can help */
};

/* Ready at once: renamed in, and surely no writer. Else ready after `settle_ms` without change, unless a
 * writer is known. Quiet time is `wall` less `changed`, which makes a file that lay there for long ready at
 * the first look. The wall clock may jump, so a change that we saw ourselves, and one that lies in the
 * future, is measured on the monotonic clock. A file that stays open is looked at again after settle_ms, then
 * at doubled intervals up to 10 minutes. */
struct settle_verdict settle_judge(const struct settle_facts *facts, int64_t wall, int64_t settle_ms);

/* Static text for people, such as "still changing"; NULL for SETTLE_READY. */
const char *settle_reason(enum settle_state state);

#endif
