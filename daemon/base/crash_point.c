/* SPDX-License-Identifier: MIT */
#include "base/crash_point.h"

#ifdef CRASH_POINTS

#include <fcntl.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static void write_down(const char *name);
static void end_here(void);

void crash_point(const char *name, const char *subject)
{
    static atomic_long passed; /* by the workers too */
    const char *at = getenv("RILLWARD_CRASH_AT"), *on = getenv("RILLWARD_CRASH_ON");
    long count = atomic_fetch_add(&passed, 1) + 1;
    write_down(name);
    if (at && strtol(at, NULL, 10) == count)
        end_here();
    size_t length = strlen(name);
    if (on && strncmp(on, name, length) == 0 && on[length] == ':' && strcmp(on + length + 1, subject) == 0)
        end_here();
}

static void write_down(const char *name)
{
    const char *path = getenv("RILLWARD_CRASH_LOG");
    int fd = path ? open(path, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0644) : -1;
    if (fd < 0)
        return;
    dprintf(fd, "%s\n", name);
    close(fd);
}

/* As the kernel would, without a last word from anybody. */
static void end_here(void)
{
    kill(getpid(), SIGKILL);
    pause();
}

#else
extern const int crash_points_are_not_built; /* a file without anything in it is not C */
#endif
