/* SPDX-License-Identifier: MIT */
#include "service/wake.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <sys/stat.h>
#include <unistd.h>

#define NAME "bell"

static bool path_of(const char *folder, char path[PATH_MAX]);

int wake_open(const char *folder, struct error *error)
{
    char path[PATH_MAX];
    struct stat status;
    if (!path_of(folder, path)) {
        fail(error, ERROR_CONFIG, "the path of the state folder is too long");
        return -1;
    }
    if (mkfifo(path, 0660) < 0 && errno != EEXIST) {
        fail_errno(error, ERROR_SYSTEM, "cannot make '%s'", path);
        return -1;
    }
    /* Read and write: with a writer of our own, a command that leaves does not end the file. */
    int fd = open(path, O_RDWR | O_NONBLOCK | O_CLOEXEC | O_NOFOLLOW);
    if (fd >= 0 && fstat(fd, &status) == 0 && S_ISFIFO(status.st_mode))
        return fd;
    fail_errno(error, ERROR_SYSTEM, "cannot listen at '%s': remove it if it is no pipe", path);
    if (fd >= 0)
        close(fd);
    return -1;
}

void wake_clear(int fd)
{
    char rings[64];
    while (read(fd, rings, sizeof rings) > 0)
        continue;
}

void wake_ring(const char *folder)
{
    char path[PATH_MAX];
    int fd = path_of(folder, path) ? open(path, O_WRONLY | O_NONBLOCK | O_CLOEXEC | O_NOFOLLOW) : -1;
    if (fd < 0)
        return; /* nobody sleeps there */
    if (write(fd, "!", 1) < 0)
        errno = 0; /* full: it rings already */
    close(fd);
}

static bool path_of(const char *folder, char path[PATH_MAX])
{
    int length = snprintf(path, PATH_MAX, "%s/" NAME, folder);
    return length > 0 && length < PATH_MAX;
}
