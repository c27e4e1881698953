/* SPDX-License-Identifier: MIT */
#include "service/leftovers.h"

#include "base/file.h"
#include "base/memory.h"

#include <fcntl.h>
#include <limits.h>
#include <stdint.h>
#include <stdio.h>
#include <sys/stat.h>
#include <unistd.h>

/* What the file holds. Read back by the program that wrote it, on the same machine. */
struct mark {
    uint64_t device, inode; /* of the archive's folder */
};

static bool take_mark(const struct config *config);
static bool path_of(const struct config *config, char ret[PATH_MAX]);
static bool mark_of(const struct config *config, struct mark *ret);

size_t leftovers_begin(const struct config *config)
{
    return take_mark(config) ? 0 : file_remove_leftovers(config->archive);
}

void leftovers_end(const struct config *config)
{
    char path[PATH_MAX];
    struct mark mark;
    if (!path_of(config, path) || !mark_of(config, &mark))
        return;
    CLEANUP(cleanup_fd) int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_NOFOLLOW | O_CLOEXEC, 0600);
    ssize_t ignored = fd >= 0 ? write(fd, &mark, sizeof mark) : 0; /* half a mark is none */
    (void)ignored;
}

/* Whether there was one of this archive. Then there is none any more, whatever it was. */
static bool take_mark(const struct config *config)
{
    char path[PATH_MAX];
    struct mark now, then = {0};
    struct error ignored;
    if (!path_of(config, path) || !mark_of(config, &now))
        return false;
    CLEANUP(cleanup_fd) int fd = open(path, O_RDONLY | O_NOFOLLOW | O_CLOEXEC);
    if (fd < 0 || unlink(path) < 0 || read(fd, &then, sizeof then) != (ssize_t)sizeof then)
        return false;
    return then.device == now.device && then.inode == now.inode && file_sync_folder(config->state, &ignored);
}

static bool path_of(const struct config *config, char ret[PATH_MAX])
{
    return snprintf(ret, PATH_MAX, "%s/tidy", config->state) < PATH_MAX;
}

static bool mark_of(const struct config *config, struct mark *ret)
{
    struct stat status;
    if (stat(config->archive, &status) < 0)
        return false;
    *ret = (struct mark){.device = status.st_dev, .inode = status.st_ino};
    return true;
}
