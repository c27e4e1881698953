/* SPDX-License-Identifier: MIT */
/* Which folder a name leads to: the same as before, or another that took its place. */
#ifndef RILLWARD_WATCH_IDENTITY_H
#define RILLWARD_WATCH_IDENTITY_H

#include <stdbool.h>
#include <stdint.h>

/* The time of birth counts too: a folder made anew often gets the inode number of the old one. */
struct identity {
    uint32_t device_major, device_minor;
    uint64_t inode;
    int64_t birth_s; /* with birth_ns: since 1970; 0 where the filesystem keeps none */
    uint32_t birth_ns;
    bool is_known;
};

/* Of the open file or folder `fd`; not known when the kernel does not tell. */
struct identity identity_of(int fd);
/* False when either is not known. */
bool identity_is_same(const struct identity *a, const struct identity *b);

#endif
