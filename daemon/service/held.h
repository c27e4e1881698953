/* SPDX-License-Identifier: MIT */
/* Drops that the machine kept us from taking, each with a pause of its own that grows: one that fails for ever (a
 * damaged original in its way, a file that cannot be read) must not keep all others waiting. */
#ifndef RILLWARD_SERVICE_HELD_H
#define RILLWARD_SERVICE_HELD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { HELD_MOST = 64 }; /* beyond that it is the machine, not the drops, and everything pauses */

struct held {
    struct held_drop {
        char *path;
        int64_t until, pause; /* monotonic; ms */
    } list[HELD_MOST];
    size_t count;
};

/* It failed at `now`: returns its pause, from 1 s, doubled each time up to 10 min; 0 where there is no room.
 * ret_is_new: it had not failed before. */
int64_t held_add(struct held *held, const char *path, int64_t now, bool *ret_is_new);
/* Until when it is to be left alone; 0 where it is not. */
int64_t held_until(const struct held *held, const char *path, int64_t now);
/* It was dealt with. */
void held_remove(struct held *held, const char *path);
void held_done(struct held *held);

#endif
