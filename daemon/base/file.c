/* SPDX-License-Identifier: MIT */
#include "base/file.h"

#include "base/crash_point.h"
#include "base/memory.h"
#include "base/text.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <fts.h>
#include <limits.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char temporary_prefix[] = ".rillward-";

static bool write_all(int fd, const char *bytes, size_t length);
static bool name_temporary(const char *path, char *ret);
static void folder_of(const char *path, char *ret, size_t size);
static size_t folder_length(const char *path);
static bool is_beside_another(const char *const *paths, size_t i);
static bool sync_folders(const char *const *paths, size_t n, struct error *error);
static void to_hex(const unsigned char *digest, char ret[SHA256_HEX_SIZE]);

bool file_read(const char *path, size_t limit, char **ret_bytes, size_t *ret_length, struct error *error)
{
    CLEANUP(cleanup_fd) int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
    if (fd < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot open '%s'", path);
    return file_read_fd(fd, path, limit, ret_bytes, ret_length, error);
}

bool file_read_fd(int fd, const char *name, size_t limit, char **ret_bytes, size_t *ret_length, struct error *error)
{
    struct stat status;
    if (fstat(fd, &status) < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot look at '%s'", name);
    if (S_ISDIR(status.st_mode))
        return fail(error, ERROR_SYSTEM, "'%s' is a folder, expected a file", name);
    if (status.st_size > 0 && (uintmax_t)status.st_size > limit)
        return fail(error, ERROR_INPUT, "'%s' has %jd bytes, more than the limit of %zu", name,
                    (intmax_t)status.st_size, limit);
    size_t capacity = (size_t)status.st_size + 1, length = 0;
    CLEANUP(cleanup_free) char *bytes = x_resize(NULL, capacity + 1, 1);
    for (;;) {
        ssize_t got = pread(fd, bytes + length, capacity - length, (off_t)length);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return fail_errno(error, ERROR_SYSTEM, "cannot read '%s'", name);
        if (got == 0)
            break;
        length += (size_t)got;
        if (length > limit)
            return fail(error, ERROR_INPUT, "'%s' grew past the limit of %zu bytes while it was read", name, limit);
        if (length == capacity) {
            capacity *= 2;
            bytes = x_resize(bytes, capacity + 1, 1);
        }
    }
    bytes[length] = '\0';
    *ret_bytes = bytes;
    *ret_length = length;
    bytes = NULL;
    return true;
}

bool file_write_whole(const char *path, const void *bytes, size_t length, struct error *error)
{
    char folder[PATH_MAX];
    struct file_fresh fresh = {0};
    bool ok = file_fresh_write(&fresh, path, bytes, length, error) && file_fresh_sync(&fresh, 1, error) &&
              file_fresh_place(&fresh, path, error);
    file_fresh_drop(&fresh);
    folder_of(path, folder, sizeof folder);
    return ok && file_sync_folder(folder, error);
}

bool file_fresh_write(struct file_fresh *fresh, const char *path, const void *bytes, size_t length, struct error *error)
{
    char temporary[PATH_MAX];
    if (!name_temporary(path, temporary))
        return fail(error, ERROR_SYSTEM, "path of '%s' is too long", path);
    int fd = open(temporary, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0644);
    if (fd < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot create '%s'", temporary);
    *fresh = (struct file_fresh){x_strdup(temporary), fd};
    crash_point("file made", path);
    if (!write_all(fd, bytes, length))
        return fail_errno(error, ERROR_SYSTEM, "cannot write '%s'", path);
    crash_point("file written", path);
    return true;
}

bool file_fresh_sync(struct file_fresh *fresh, size_t n, struct error *error)
{
    int fds[SYNC_MOST] = {0};
    size_t count = 0;
    assert(n <= SYNC_MOST);
    for (size_t i = 0; i < n; i++)
        if (fresh[i].temporary)
            fds[count++] = fresh[i].fd;
    errno = sync_descriptors(fds, count);
    if (errno != 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot make %zu files durable, '%s' among them", count,
                          fresh[0].temporary);
    for (size_t i = 0; i < n; i++) {
        int closing = fresh[i].fd;
        if (!fresh[i].temporary)
            continue;
        fresh[i].fd = -1;
        if (close(closing) < 0)
            return fail_errno(error, ERROR_SYSTEM, "cannot close '%s'", fresh[i].temporary);
    }
    return true;
}

bool file_fresh_place(struct file_fresh *fresh, const char *path, struct error *error)
{
    assert(fresh->fd < 0 && "what is not durable is not put in place");
    crash_point("file to be put in place", path);
    if (rename(fresh->temporary, path) < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot put '%s' in its place", path);
    crash_point("file put in place", path);
    free(fresh->temporary);
    *fresh = (struct file_fresh){0};
    return true;
}

void file_fresh_drop(struct file_fresh *fresh)
{
    if (!fresh->temporary)
        return;
    if (fresh->fd >= 0)
        close(fresh->fd);
    unlink(fresh->temporary);
    free(fresh->temporary);
    *fresh = (struct file_fresh){0};
}

bool file_sync_folder(const char *path, struct error *error)
{
    return sync_folders(&path, 1, error);
}

bool file_sync_folders_of(const char *const *paths, size_t n, struct error *error)
{
    char folders[SYNC_MOST][PATH_MAX];
    const char *list[SYNC_MOST];
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        if (is_beside_another(paths, i))
            continue;
        folder_of(paths[i], folders[count], PATH_MAX);
        list[count] = folders[count];
        if (++count < SYNC_MOST)
            continue;
        if (!sync_folders(list, count, error))
            return false;
        count = 0;
    }
    return sync_folders(list, count, error);
}

/* Of those before it. */
static bool is_beside_another(const char *const *paths, size_t i)
{
    size_t length = folder_length(paths[i]);
    for (size_t j = i; j > 0; j--)
        if (folder_length(paths[j - 1]) == length && memcmp(paths[j - 1], paths[i], length) == 0)
            return true;
    return false;
}

/* n <= SYNC_MOST. */
static bool sync_folders(const char *const *paths, size_t n, struct error *error)
{
    int fds[SYNC_MOST] = {0};
    size_t count = 0;
    bool ok = true;
    while (ok && count < n) {
        fds[count] = open(paths[count], O_RDONLY | O_DIRECTORY | O_CLOEXEC);
        ok = fds[count] >= 0 || fail_errno(error, ERROR_SYSTEM, "cannot open folder '%s'", paths[count]);
        count += ok;
    }
    if (ok && (errno = sync_descriptors(fds, count)) != 0)
        ok = fail_errno(error, ERROR_SYSTEM, "cannot make %zu folders durable, '%s' among them", n, paths[0]);
    while (count > 0)
        close(fds[--count]);
    for (size_t i = 0; ok && i < n; i++)
        crash_point("folder durable", paths[i]);
    return ok;
}

bool file_make_folders_of(const char *path, struct error *error)
{
    char folder[PATH_MAX];
    folder_of(path, folder, sizeof folder);
    return file_make_folders(folder, error);
}

bool file_make_folders(const char *path, struct error *error)
{
    struct stat status;
    if (stat(path, &status) == 0) {
        if (S_ISDIR(status.st_mode))
            return true;
        return fail(error, ERROR_SYSTEM, "'%s' is in the way: a folder is needed there, move it away", path);
    }
    char parent[PATH_MAX];
    folder_of(path, parent, sizeof parent);
    if (strcmp(parent, path) != 0 && !file_make_folders(parent, error))
        return false;
    /* Somebody else may have made it since; a link to nowhere is there too, and is no folder. */
    if (mkdir(path, 0755) < 0 && (errno != EEXIST || stat(path, &status) < 0 || !S_ISDIR(status.st_mode)))
        return fail_errno(error, ERROR_SYSTEM, "cannot make folder '%s'", path);
    crash_point("folder made", path);
    return file_sync_folder(parent, error);
}

bool file_exists(const char *path)
{
    struct stat status;
    return stat(path, &status) == 0;
}

size_t file_remove_leftovers(const char *folder)
{
    char *roots[] = {x_strdup(folder), NULL};
    size_t removed = 0;
    FTS *walk = fts_open(roots, FTS_PHYSICAL | FTS_NOCHDIR | FTS_XDEV, NULL);
    for (FTSENT *entry = walk ? fts_read(walk) : NULL; entry; entry = fts_read(walk))
        if (entry->fts_info == FTS_F && text_starts_with(entry->fts_name, temporary_prefix))
            removed += unlink(entry->fts_accpath) == 0;
    if (walk)
        fts_close(walk);
    free(roots[0]);
    return removed;
}

void sha256_hex(const void *bytes, size_t length, char ret[SHA256_HEX_SIZE])
{
    unsigned char digest[EVP_MAX_MD_SIZE] = {0};
    EVP_Digest(bytes, length, digest, NULL, EVP_sha256(), NULL);
    to_hex(digest, ret);
}

bool file_sha256(const char *path, char ret[SHA256_HEX_SIZE], struct error *error)
{
    CLEANUP(cleanup_fd) int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot open '%s'", path);
    EVP_MD_CTX *context = EVP_MD_CTX_new();
    EVP_DigestInit_ex(context, EVP_sha256(), NULL);
    char buffer[65536];
    ssize_t got;
    while ((got = read(fd, buffer, sizeof buffer)) > 0 || (got < 0 && errno == EINTR))
        EVP_DigestUpdate(context, buffer, got > 0 ? (size_t)got : 0);
    unsigned char digest[EVP_MAX_MD_SIZE] = {0};
    EVP_DigestFinal_ex(context, digest, NULL);
    EVP_MD_CTX_free(context);
    if (got < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot read '%s'", path);
    to_hex(digest, ret);
    return true;
}

void cleanup_fd(int *fd)
{
    if (*fd >= 0)
        close(*fd);
}

static bool write_all(int fd, const char *bytes, size_t length)
{
    while (length > 0) {
        ssize_t written = write(fd, bytes, length);
        if (written < 0 && errno == EINTR)
            continue;
        if (written < 0)
            return false;
        bytes += written;
        length -= (size_t)written;
    }
    return true;
}

/* With the prefix a long name could be longer than a name may be: then its fingerprint stands for it. */
static bool name_temporary(const char *path, char *ret)
{
    char folder[PATH_MAX], digest[SHA256_HEX_SIZE];
    folder_of(path, folder, sizeof folder);
    const char *base = strrchr(path, '/');
    base = base ? base + 1 : path;
    if (strlen(base) > NAME_MAX - strlen(temporary_prefix)) {
        sha256_hex(base, strlen(base), digest);
        base = digest;
    }
    return (size_t)snprintf(ret, PATH_MAX, "%s/%s%s", folder, temporary_prefix, base) < PATH_MAX;
}

static void folder_of(const char *path, char *ret, size_t size)
{
    size_t length = folder_length(path);
    if (length == 0)
        snprintf(ret, size, ".");
    else
        snprintf(ret, size, "%.*s", (int)length, path);
}

/* Bytes of the folder's path; 0 where the path has none. */
static size_t folder_length(const char *path)
{
    const char *slash = strrchr(path, '/');
    return !slash ? 0 : slash == path ? 1 : (size_t)(slash - path);
}

static void to_hex(const unsigned char *digest, char ret[SHA256_HEX_SIZE])
{
    static const char digits[] = "0123456789abcdef";
    for (size_t i = 0; i < 32; i++) {
        ret[2 * i] = digits[digest[i] >> 4];
        ret[2 * i + 1] = digits[digest[i] & 15];
    }
    ret[64] = '\0';
}
