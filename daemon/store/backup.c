/* SPDX-License-Identifier: MIT */
/* A copy of the database while the service writes. */
#include "base/file.h"
#include "store/database.h"
#include "store/schema.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { PAGES_AT_ONCE = 256 }; /* 1 MiB */

static bool name_temporary(const char *target, char *ret, struct error *error);
static bool copy(struct store *store, const char *path, const struct store_progress *progress, struct error *error);
static bool copy_pages(struct store *store, sqlite3 *target, const struct store_progress *progress,
                       struct error *error);
static bool check(sqlite3 *target, struct error *error);
static bool put_in_place(const char *temporary, const char *target, struct error *error);
static void remove_temporary(const char *temporary);

bool store_backup(struct store *store, const char *target, const struct store_progress *progress, struct error *error)
{
    char temporary[PATH_MAX];
    if (!name_temporary(target, temporary, error))
        return false;
    /* Ours to write: of mode 0600, because notices hold addresses. */
    CLEANUP(cleanup_fd) int fd = open(temporary, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (fd < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot create '%s'", temporary);
    if (copy(store, temporary, progress, error) && put_in_place(temporary, target, error))
        return true;
    remove_temporary(temporary);
    return false;
}

static bool name_temporary(const char *target, char *ret, struct error *error)
{
    if ((size_t)snprintf(ret, PATH_MAX, "%s.%ld.partial", target, (long)getpid()) >= PATH_MAX - 16)
        return fail(error, ERROR_SYSTEM, "the name '%s' is too long", target);
    return true;
}

static bool copy(struct store *store, const char *path, const struct store_progress *progress, struct error *error)
{
    sqlite3 *target = NULL;
    /* One read transaction over the whole copy: it sees one moment, and writers do not make it begin again. */
    if (!database_run(store, error, "BEGIN", ""))
        return false;
    int64_t version;
    bool ok = database_one(store, &version, error, "PRAGMA user_version", "");
    if (ok && sqlite3_open_v2(path, &target, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX, NULL) != SQLITE_OK)
        ok = fail(error, ERROR_SYSTEM, "cannot open '%s': %s", path, sqlite3_errmsg(target));
    ok = ok && copy_pages(store, target, progress, error) && check(target, error);
    sqlite3_close(target);
    if (ok)
        return database_run(store, error, "COMMIT", "");
    (void)database_run(store, NULL, "ROLLBACK", ""); /* nothing was written: only the view of one moment ends */
    return false;
}

static bool copy_pages(struct store *store, sqlite3 *target, const struct store_progress *progress, struct error *error)
{
    sqlite3_backup *backup = sqlite3_backup_init(target, "main", store->database, "main");
    if (!backup)
        return fail(error, ERROR_SYSTEM, "cannot begin to copy: %s", sqlite3_errmsg(target));
    int code;
    do {
        code = sqlite3_backup_step(backup, PAGES_AT_ONCE);
        int total = sqlite3_backup_pagecount(backup);
        if (progress && code == SQLITE_OK)
            progress->tell(progress->context, total - sqlite3_backup_remaining(backup), total);
    } while (code == SQLITE_OK);
    int finished = sqlite3_backup_finish(backup);
    if (code == SQLITE_DONE && finished == SQLITE_OK)
        return true;
    return fail(error, ERROR_SYSTEM, "cannot copy the database: %s",
                sqlite3_errstr(code == SQLITE_DONE ? finished : code));
}

/* A copy that was not read back is a hope. Without a journal of its own: the copy is one file. */
static bool check(sqlite3 *target, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    int64_t id = 0;
    bool is_sound = sqlite3_exec(target, "PRAGMA journal_mode = DELETE", NULL, NULL, NULL) == SQLITE_OK;
    if (is_sound && sqlite3_prepare_v2(target, "PRAGMA application_id", -1, &statement, NULL) == SQLITE_OK &&
        sqlite3_step(statement) == SQLITE_ROW)
        id = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    statement = NULL;
    is_sound = is_sound && id == STORE_APPLICATION_ID &&
               sqlite3_prepare_v2(target, "PRAGMA integrity_check(1)", -1, &statement, NULL) == SQLITE_OK &&
               sqlite3_step(statement) == SQLITE_ROW &&
               strcmp((const char *)sqlite3_column_text(statement, 0), "ok") == 0;
    sqlite3_finalize(statement);
    return is_sound ||
           fail(error, ERROR_STORAGE, "the copy is not sound (%s): 'rillward verify' tells whether the database is",
                sqlite3_errmsg(target));
}

static bool put_in_place(const char *temporary, const char *target, struct error *error)
{
    CLEANUP(cleanup_fd) int fd = open(temporary, O_RDONLY | O_CLOEXEC);
    if (fd < 0 || fsync(fd) < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot make '%s' durable", temporary);
    if (rename(temporary, target) < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot put '%s' in its place", target);
    char folder[PATH_MAX];
    const char *name = strrchr(target, '/');
    snprintf(folder, sizeof folder, "%.*s", name ? (int)(name - target) : 1, name ? target : ".");
    return file_sync_folder(*folder ? folder : "/", error);
}

static void remove_temporary(const char *temporary)
{
    static const char *const ends[] = {"-journal", "-wal", "-shm", ""};
    char path[PATH_MAX + 16];
    for (size_t i = 0; i < COUNT_OF(ends); i++) {
        snprintf(path, sizeof path, "%s%s", temporary, ends[i]);
        unlink(path);
    }
}
