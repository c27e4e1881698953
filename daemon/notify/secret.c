/* SPDX-License-Identifier: MIT */
#include "notify/secret.h"

#include "base/file.h"
#include "base/memory.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool credential_path(const char *name, char *ret, size_t size, struct error *error);
static bool is_guarded(int fd, const char *path, struct error *error);
static bool read_line(int fd, const char *path, struct secret_text *ret, struct error *error);
static bool is_printable(const char *bytes, size_t length);

bool secret_read(const struct secret *secret, struct secret_text *ret, struct error *error)
{
    assert(secret->kind != SECRET_NONE);
    secret_wipe(ret);
    char path[PATH_MAX];
    if (secret->kind == SECRET_CREDENTIAL) {
        if (!credential_path(secret->name, path, sizeof path, error))
            return false;
    } else if ((size_t)snprintf(path, sizeof path, "%s", secret->name) >= sizeof path) {
        return fail(error, ERROR_CONFIG, "the path of a secret file is longer than %d bytes", PATH_MAX - 1);
    }
    CLEANUP(cleanup_fd) int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
    if (fd < 0)
        return fail_errno(error, ERROR_CONFIG, "cannot open the secret file '%s'", path);
    if (secret->kind == SECRET_FILE && !is_guarded(fd, path, error))
        return false;
    if (read_line(fd, path, ret, error))
        return true;
    secret_wipe(ret);
    return false;
}

void secret_wipe(struct secret_text *text)
{
    explicit_bzero(text, sizeof *text);
}

static bool credential_path(const char *name, char *ret, size_t size, struct error *error)
{
    if (!*name || strchr(name, '/') || strcmp(name, ".") == 0 || strcmp(name, "..") == 0)
        return fail(error, ERROR_CONFIG, "'%s' is no name of a credential, expected one without '/'", name);
    const char *folder = getenv("CREDENTIALS_DIRECTORY");
    if (!folder || !*folder)
        return fail(error, ERROR_CONFIG,
                    "credential '%s': the service manager has handed over none; add LoadCredential=%s:PATH "
                    "to the unit, "
                    "or name a file instead",
                    name, name);
    if ((size_t)snprintf(ret, size, "%s/%s", folder, name) >= size)
        return fail(error, ERROR_CONFIG, "the path of credential '%s' is longer than %zu bytes", name,
                    size - 1);
    return true;
}

static bool is_guarded(int fd, const char *path, struct error *error)
{
    struct stat status;
    if (fstat(fd, &status) < 0)
        return fail_errno(error, ERROR_CONFIG, "cannot look at the secret file '%s'", path);
    if (!S_ISREG(status.st_mode))
        return fail(error, ERROR_CONFIG, "the secret file '%s' is not a regular file", path);
    if (status.st_uid != geteuid() && status.st_uid != 0)
        return fail(error, ERROR_CONFIG,
                    "the secret file '%s' belongs to user %u, expected user %u (who runs the service) or "
                    "root: chown it",
                    path, (unsigned)status.st_uid, (unsigned)geteuid());
    if (status.st_mode & 077)
        return fail(error, ERROR_CONFIG,
                    "the secret file '%s' is open to its group or to others (mode %04o): run chmod 600 on "
                    "it, and renew the "
                    "secret if others may have seen it",
                    path, (unsigned)status.st_mode & 07777);
    return true;
}

static bool read_line(int fd, const char *path, struct secret_text *ret, struct error *error)
{
    size_t length = 0;
    while (length < SECRET_SIZE) {
        ssize_t got = read(fd, ret->bytes + length, SECRET_SIZE - length);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return fail_errno(error, ERROR_CONFIG, "cannot read the secret file '%s'", path);
        if (got == 0)
            break;
        length += (size_t)got;
    }
    if (length == SECRET_SIZE)
        return fail(error, ERROR_CONFIG, "the secret file '%s' is too long, expected one line below %d bytes",
                    path, SECRET_SIZE);
    length -= length > 0 && ret->bytes[length - 1] == '\n';
    length -= length > 0 && ret->bytes[length - 1] == '\r';
    if (length == 0)
        return fail(error, ERROR_CONFIG, "the secret file '%s' is empty", path);
    if (!is_printable(ret->bytes, length))
        return fail(error, ERROR_CONFIG, "the secret file '%s' holds more than one line of text", path);
    ret->bytes[length] = '\0';
    return true;
}

static bool is_printable(const char *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if ((unsigned char)bytes[i] < 0x20 || bytes[i] == 0x7F)
            return false;
    return true;
}
