/* SPDX-License-Identifier: MIT */
#include "watch/identity.h"

#include <fcntl.h>
#include <sys/stat.h>

struct identity identity_of(int fd)
{
    struct statx status;
    if (statx(fd, "", AT_EMPTY_PATH, STATX_INO | STATX_BTIME, &status) < 0)
        return (struct identity){.is_known = false};
    bool has_birth = status.stx_mask & STATX_BTIME;
    return (struct identity){
        .device_major = status.stx_dev_major,
        .device_minor = status.stx_dev_minor,
        .inode = status.stx_ino,
        .birth_s = has_birth ? status.stx_btime.tv_sec : 0,
        .birth_ns = has_birth ? status.stx_btime.tv_nsec : 0,
        .is_known = true,
    };
}

bool identity_is_same(const struct identity *a, const struct identity *b)
{
    return a->is_known && b->is_known && a->device_major == b->device_major &&
           a->device_minor == b->device_minor && a->inode == b->inode && a->birth_s == b->birth_s &&
           a->birth_ns == b->birth_ns;
}
