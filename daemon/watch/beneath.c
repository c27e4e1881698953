/* SPDX-License-Identifier: MIT */
#include "watch/beneath.h"

#include "base/file.h"
#include "base/memory.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <linux/openat2.h>
#include <stdint.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/vfs.h>
#include <unistd.h>

#define FILE_FLAGS (O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC)

/* f_type of statfs(2). An overlay is not among them: what is changed through it gives events. */
static const uint32_t remote_filesystems[] = {
    0x6969,     /* NFS */
    0x517B,     /* SMB */
    0xFE534D42, /* SMB 2 */
    0xFF534D42, /* CIFS */
    0x65735546, /* FUSE */
    0x01021997, /* 9P */
    0x00C36400, /* Ceph */
    0x5346414F, /* AFS */
};

static int open_beneath(int root, const char *path, int flags);
static int resolve(int root, const char *path, int flags);
static bool is_plain_step(const char *step, size_t length);

int beneath_open_folder(int root, const char *path)
{
    return open_beneath(root, path[0] ? path : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
}

/* Opening a device can do things to it, so the name is asked first, and what was opened is asked again. */
int beneath_open_file(int folder, const char *name)
{
    struct stat status;
    if (fstatat(folder, name, &status, AT_SYMLINK_NOFOLLOW) < 0)
        return -1;
    if (!S_ISREG(status.st_mode)) {
        errno = S_ISLNK(status.st_mode) ? ELOOP : EINVAL;
        return -1;
    }
    int fd = open_beneath(folder, name, FILE_FLAGS);
    if (fd < 0)
        return -1;
    if (fstat(fd, &status) == 0 && S_ISREG(status.st_mode))
        return fd;
    close(fd);
    errno = EINVAL;
    return -1;
}

int beneath_open_stepwise(int root, const char *path, int flags)
{
    if (strcmp(path, ".") == 0)
        return openat(root, ".", flags);
    CLEANUP(cleanup_fd) int parent = -1;
    int here = root;
    for (const char *step = path;;) {
        size_t length = strcspn(step, "/");
        char name[NAME_MAX + 1];
        if (!is_plain_step(step, length)) {
            errno = length > NAME_MAX ? ENAMETOOLONG : EXDEV;
            return -1;
        }
        memcpy(name, step, length);
        name[length] = '\0';
        if (step[length] == '\0')
            return openat(here, name, flags | O_NOFOLLOW);
        int next = openat(here, name, O_PATH | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
        if (next < 0)
            return -1;
        cleanup_fd(&parent);
        here = parent = next;
        step += length + 1;
    }
}

/* Closing gives the lease back. What is not a regular file takes no lease. */
enum writer_probe beneath_probe_writer(int folder, const char *name)
{
    CLEANUP(cleanup_fd) int fd = open_beneath(folder, name, FILE_FLAGS);
    if (fd < 0) /* would block: somebody holds a write lease */
        return errno == EWOULDBLOCK ? WRITER_OPEN : WRITER_UNKNOWN;
    if (fcntl(fd, F_SETLEASE, F_RDLCK) < 0)
        return errno == EAGAIN ? WRITER_OPEN : WRITER_UNKNOWN;
    return WRITER_NONE;
}

bool beneath_is_remote(int fd)
{
    struct statfs filesystem;
    if (fstatfs(fd, &filesystem) < 0)
        return false;
    for (size_t i = 0; i < COUNT_OF(remote_filesystems); i++)
        if ((uint32_t)filesystem.f_type == remote_filesystems[i])
            return true;
    return false;
}

/* Only the owner of a file may leave its access time alone. A filter of system calls may answer EPERM too. */
static int open_beneath(int root, const char *path, int flags)
{
    int fd = resolve(root, path, flags | O_NOATIME);
    if (fd < 0 && errno == EPERM)
        fd = resolve(root, path, flags);
    if (fd < 0 && (errno == EPERM || errno == ENOSYS))
        fd = beneath_open_stepwise(root, path, flags);
    return fd;
}

static int resolve(int root, const char *path, int flags)
{
    struct open_how how = {
        .flags = (unsigned)flags,
        .resolve = RESOLVE_BENEATH | RESOLVE_NO_SYMLINKS | RESOLVE_NO_MAGICLINKS,
    };
    enum { RENAMES_MET = 8 }; /* EAGAIN: a rename crossed the walk */
    long fd = -1;
    for (int i = 0; i < RENAMES_MET; i++) {
        fd = syscall(SYS_openat2, root, path, &how, sizeof how);
        if (fd >= 0 || errno != EAGAIN)
            break;
    }
    return (int)fd;
}

static bool is_plain_step(const char *step, size_t length)
{
    bool is_dots = (length == 1 && step[0] == '.') || (length == 2 && step[0] == '.' && step[1] == '.');
    return length > 0 && length <= NAME_MAX && !is_dots;
}
