/* SPDX-License-Identifier: MIT */
/* Bad days for a program that is started with this in LD_PRELOAD: calls that fail as a disk does.
 *
 * The file named by FAULTS is read at each call and holds lines "CALL PART ERROR": CALL is one of write, sync, rename,
 * open, read; PART must stand in the path; ERROR is a number of errno, or "short" for writes and reads that do half of
 * their work. A line "clock SECONDS" moves the wall clock. An empty file is a good day. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))

/* What the file says about a call on a path: 0 nothing, -1 short, else an errno. */
static int ask(const char *call, const char *path)
{
    char text[4096] = "";
    const char *file = getenv("FAULTS");
    int saved = errno, fd = file ? REAL(open)(file, O_RDONLY | O_CLOEXEC) : -1, answer = 0;
    if (fd >= 0) {
        ssize_t ignored = REAL(read)(fd, text, sizeof text - 1);
        (void)ignored;
        close(fd);
    }
    char *rest = NULL;
    for (char *line = strtok_r(text, "\n", &rest); line && !answer; line = strtok_r(NULL, "\n", &rest)) {
        char which[16], part[256], error[16];
        if (sscanf(line, "%15s %255s %15s", which, part, error) == 3 && strcmp(which, call) == 0 && strstr(path, part))
            answer = strcmp(error, "short") == 0 ? -1 : atoi(error);
    }
    errno = saved;
    return answer;
}

static int ask_fd(const char *call, int fd)
{
    char link[64], path[4096] = "";
    int saved = errno;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    errno = saved;
    return length > 0 && path[0] == '/' ? ask(call, path) : 0;
}

static bool fails(int answer)
{
    if (answer > 0)
        errno = answer;
    return answer > 0;
}

static size_t part_of(int answer, size_t n)
{
    return answer < 0 && n > 1 ? n / 2 : n;
}

ssize_t write(int fd, const void *bytes, size_t n)
{
    int answer = ask_fd("write", fd);
    return fails(answer) ? -1 : REAL(write)(fd, bytes, part_of(answer, n));
}

ssize_t pwrite64(int fd, const void *bytes, size_t n, off64_t at)
{
    int answer = ask_fd("write", fd);
    return fails(answer) ? -1 : REAL(pwrite64)(fd, bytes, part_of(answer, n), at);
}

ssize_t pread(int fd, void *bytes, size_t n, off_t at)
{
    int answer = ask_fd("read", fd);
    return fails(answer) ? -1 : REAL(pread)(fd, bytes, part_of(answer, n), at);
}

ssize_t pread64(int fd, void *bytes, size_t n, off64_t at)
{
    int answer = ask_fd("read", fd);
    return fails(answer) ? -1 : REAL(pread64)(fd, bytes, part_of(answer, n), at);
}

int fsync(int fd)
{
    return fails(ask_fd("sync", fd)) ? -1 : REAL(fsync)(fd);
}

int fdatasync(int fd)
{
    return fails(ask_fd("sync", fd)) ? -1 : REAL(fdatasync)(fd);
}

int rename(const char *from, const char *to)
{
    return fails(ask("rename", to)) ? -1 : REAL(rename)(from, to);
}

int open(const char *path, int flags, ...)
{
    va_list arguments;
    va_start(arguments, flags);
    mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(arguments, mode_t) : 0;
    va_end(arguments);
    return fails(ask("open", path)) ? -1 : REAL(open)(path, flags, mode);
}

int clock_gettime(clockid_t clock, struct timespec *ret)
{
    char text[4096] = "";
    int result = REAL(clock_gettime)(clock, ret);
    const char *file = getenv("FAULTS");
    int saved = errno, fd = clock == CLOCK_REALTIME && file ? REAL(open)(file, O_RDONLY | O_CLOEXEC) : -1;
    if (fd >= 0) {
        ssize_t ignored = REAL(read)(fd, text, sizeof text - 1);
        (void)ignored;
        close(fd);
        const char *line = strstr(text, "clock ");
        ret->tv_sec += line ? atol(line + 6) : 0;
    }
    errno = saved;
    return result;
}
