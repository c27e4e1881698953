/* SPDX-License-Identifier: MIT */
#include "store/store.h"

#include "base/crash_point.h"
#include "base/file.h"
#include "base/timestamp.h"
#include "store/database.h"
#include "store/schema.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <limits.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/vfs.h>
#include <unistd.h>

static bool lock_folder(struct store *store, const char *folder, struct error *error);
static bool refuse_network_folder(const char *folder, struct error *error);
static bool move_aside(const char *folder, int64_t now, struct error *error);
static bool open_database(struct store *store, const char *folder, int flags, struct error *error);
static struct store *open_beside(const char *folder, struct error *error);
static bool refuse_other_database(struct store *store, struct error *error);
static bool set_up(struct store *store, struct error *error);
static bool execute(struct store *store, const char *sql, struct error *error);
static bool migrate(struct store *store, struct error *error);
static bool read_pragma(struct store *store, const char *sql, int64_t *ret, struct error *error);
static bool bind(struct store *store, sqlite3_stmt *statement, struct error *error, const char *format,
                 va_list arguments);
static sqlite3_stmt *cached(struct store *store, const char *sql, struct error *error);
static sqlite3_stmt *start(struct store *store, struct error *error, const char *sql, const char *format,
                           va_list arguments);

struct store *store_open(const char *folder, struct error *error)
{
    struct store *store = x_alloc(sizeof *store);
    store->lock_fd = -1;
    store->scratch = arena_new();
    int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX;
    if (file_make_folders(folder, error) && refuse_network_folder(folder, error) && lock_folder(store, folder, error) &&
        open_database(store, folder, flags, error) && refuse_other_database(store, error) && set_up(store, error) &&
        migrate(store, error))
        return store;
    store_close(store);
    return NULL;
}

struct store *store_open_to_rebuild(const char *folder, int64_t now, enum store_condition *ret, struct error *error)
{
    char path[PATH_MAX];
    snprintf(path, sizeof path, "%s/rillward.db", folder);
    bool was_there = file_exists(path);
    *ret = was_there ? STORE_SOUND : STORE_NEW;
    struct store *store = store_open(folder, error);
    if (store && (!was_there || store_check_integrity(store, error)))
        return store;
    store_close(store);
    if (!was_there || error->kind != ERROR_STORAGE || !move_aside(folder, now, error))
        return NULL;
    *ret = STORE_DAMAGED;
    return store_open(folder, error);
}

/* All three files: a log of changes fits its own database only. Under the lock, which a running service holds. */
static bool move_aside(const char *folder, int64_t now, struct error *error)
{
    struct store lock = {.lock_fd = -1};
    bool ok = lock_folder(&lock, folder, error);
    static const char *const ends[] = {"-wal", "-shm", ""};
    for (size_t i = 0; ok && i < COUNT_OF(ends); i++) {
        char from[PATH_MAX], to[PATH_MAX];
        snprintf(from, sizeof from, "%s/rillward.db%s", folder, ends[i]);
        snprintf(to, sizeof to, "%s/rillward.db.damaged-%" PRId64 "%s", folder, now, ends[i]);
        if (rename(from, to) < 0 && errno != ENOENT)
            ok = fail_errno(error, ERROR_SYSTEM, "cannot move '%s' aside", from);
        crash_point("moved aside", from);
    }
    ok = ok && file_sync_folder(folder, error);
    cleanup_fd(&lock.lock_fd);
    return ok;
}

struct store *store_open_to_read(const char *folder, struct error *error)
{
    struct store *store = open_beside(folder, error);
    if (store && !execute(store, "PRAGMA query_only = ON", error)) {
        store_close(store);
        store = NULL;
    }
    return store;
}

struct store *store_open_to_answer(const char *folder, struct error *error)
{
    struct store *store = open_beside(folder, error);
    if (store && !execute(store, "PRAGMA synchronous = FULL", error)) {
        store_close(store);
        store = NULL;
    }
    return store;
}

void store_close(struct store *store)
{
    if (!store)
        return;
    for (size_t i = 0; i < store->statement_count; i++)
        sqlite3_finalize(store->statements[i].statement);
    free(store->statements);
    sqlite3_close(store->database);
    if (store->lock_fd >= 0)
        close(store->lock_fd);
    arena_free(store->scratch);
    free(store);
}

bool store_begin(struct store *store, const char *who, struct error *error)
{
    assert(!store->transaction_of && "transactions do not nest");
    int has_moved = 0; /* what is written into a file that has no name any more is lost with the last who has it open */
    if (sqlite3_file_control(store->database, "main", SQLITE_FCNTL_HAS_MOVED, &has_moved) == SQLITE_OK && has_moved)
        return fail(error, ERROR_STORAGE,
                    "the database was moved or deleted while it was in use: put it back, or restore it (see 'rillward "
                    "rebuild')");
    /* IMMEDIATE: a transaction that starts by reading and then writes would be refused at once when another waits. */
    if (!database_run(store, error, "BEGIN IMMEDIATE", ""))
        return false;
    store->transaction_of = who;
    store->has_mark = false;
    return true;
}

bool store_begin_to_read(struct store *store, const char *who, struct error *error)
{
    assert(!store->transaction_of && "transactions do not nest");
    if (!database_run(store, error, "BEGIN DEFERRED", ""))
        return false;
    store->transaction_of = who;
    store->has_mark = false;
    return true;
}

bool store_commit(struct store *store, struct error *error)
{
    assert(store->transaction_of);
    crash_point("before commit", store->transaction_of);
    if (!database_run(store, error, "COMMIT", "")) {
        store_rollback(store);
        return false;
    }
    crash_point("after commit", store->transaction_of);
    store->transaction_of = NULL;
    return true;
}

void store_rollback(struct store *store)
{
    /* Some errors (disk full) end the transaction by themselves. */
    if (store->transaction_of && !sqlite3_get_autocommit(store->database))
        (void)database_run(store, NULL, "ROLLBACK", ""); /* nothing better to do if even this fails */
    store->transaction_of = NULL;
}

/* SQLite stacks marks of one name; releasing the one before keeps the stack at one. */
bool store_mark(struct store *store, struct error *error)
{
    if (store->has_mark && !database_run(store, error, "RELEASE piece", ""))
        return false;
    store->has_mark = database_run(store, error, "SAVEPOINT piece", "");
    return store->has_mark;
}

bool store_back_to_mark(struct store *store)
{
    if (store->transaction_of && store->has_mark && !sqlite3_get_autocommit(store->database) &&
        database_run(store, NULL, "ROLLBACK TO piece", ""))
        return true;
    store_rollback(store);
    return false;
}

bool store_is_open_transaction(const struct store *store)
{
    return store->transaction_of != NULL;
}

bool store_check_integrity(struct store *store, struct error *error)
{
    CLEANUP(database_reset) sqlite3_stmt *check = database_start(store, error, "PRAGMA integrity_check(1)", "");
    int got = check ? database_step(store, check, error) : -1;
    if (got < 0)
        return false;
    const char *answer = got ? (const char *)sqlite3_column_text(check, 0) : "no answer";
    if (strcmp(answer, "ok") == 0)
        return true;
    return fail(error, ERROR_STORAGE, "the database is damaged: %s", answer);
}

bool store_place_number(struct store *store, const char *key, uint32_t *ret, struct error *error)
{
    int64_t number = 0;
    if (!database_one(store, &number, error, "SELECT number FROM place WHERE key = ?1", "t", key))
        return false;
    if (number == 0) {
        if (!database_run(store, error, "INSERT INTO place(key) VALUES(?1)", "t", key))
            return false;
        number = sqlite3_last_insert_rowid(store->database);
    }
    *ret = (uint32_t)number;
    return true;
}

bool store_place_find(struct store *store, const char *key, struct arena *arena, struct place_fact *ret,
                      struct error *error)
{
    *ret = (struct place_fact){.first_time = TIME_NONE, .last_time = TIME_NONE};
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error, "SELECT number, key, first_time, last_time, digest FROM place WHERE key = ?1", "t", key);
    int got = row ? database_step(store, row, error) : -1;
    if (got > 0)
        *ret = (struct place_fact){(uint32_t)sqlite3_column_int64(row, 0), column_text(arena, row, 1),
                                   column_time(row, 2), column_time(row, 3), (uint64_t)sqlite3_column_int64(row, 4)};
    return got >= 0;
}

bool store_place_key(struct store *store, uint32_t number, struct arena *arena, const char **ret, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error, "SELECT key FROM place WHERE number = ?1", "i", (int64_t)number);
    int got = row ? database_step(store, row, error) : -1;
    if (got < 0)
        return false;
    *ret = got ? column_text(arena, row, 0) : "";
    return true;
}

bool store_place_set_digest(struct store *store, uint32_t place, uint64_t digest, struct error *error)
{
    return database_run(store, error, "UPDATE place SET digest = ?2 WHERE number = ?1", "ii", (int64_t)place,
                        (int64_t)digest);
}

bool store_counts(struct store *store, struct store_counts *ret, struct error *error)
{
    *ret = (struct store_counts){0};
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT (SELECT count(*) FROM drop_), (SELECT coalesce(sum(repeated), 0) FROM drop_),"
                       " (SELECT coalesce(sum(added), 0) FROM drop_), (SELECT count(*) FROM path WHERE state = 0),"
                       " (SELECT count(*) FROM path WHERE state = 3), (SELECT count(*) FROM note),"
                       " (SELECT count(*) FROM alarm WHERE state IN (0, 1, 2, 4)), (SELECT count(*) FROM dirty),"
                       " (SELECT count(*) FROM page WHERE due > 0),"
                       " (SELECT count(*) FROM unfinished WHERE is_left_alone)",
                       "");
    int got = row ? database_step(store, row, error) : -1;
    if (got <= 0)
        return false;
    int64_t *const fields[] = {&ret->drops, &ret->repeated_rows, &ret->rows,  &ret->waiting,   &ret->set_aside,
                               &ret->notes, &ret->alarms_open,   &ret->dirty, &ret->pages_due, &ret->left_alone};
    for (int i = 0; i < (int)COUNT_OF(fields); i++)
        *fields[i] = sqlite3_column_int64(row, i);
    return true;
}

/* ---- private to store/ ---- */

bool database_fail(struct store *store, int code, const char *what, struct error *error)
{
    int primary = code & 0xFF;
    /* SQLite knows a full disk by one number; by others (quota, largest file, shared memory) it is an I/O error. */
    int number = primary == SQLITE_IOERR ? sqlite3_system_errno(store->database) : 0;
    bool is_full = number == ENOSPC || number == EDQUOT || number == EFBIG;
    bool is_damage = primary == SQLITE_CORRUPT || primary == SQLITE_NOTADB || (primary == SQLITE_IOERR && !is_full);
    bool is_broken = is_damage && primary != SQLITE_IOERR;
    return fail(
        error, is_damage ? ERROR_STORAGE : ERROR_SYSTEM, "database: %s (%.80s)%s", sqlite3_errmsg(store->database),
        what,
        is_broken ? ": it is damaged; 'rillward rebuild' keeps it aside and makes it again, or put a backup back" : "");
}

sqlite3_stmt *database_start(struct store *store, struct error *error, const char *sql, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    sqlite3_stmt *statement = start(store, error, sql, format, arguments);
    va_end(arguments);
    return statement;
}

int database_step(struct store *store, sqlite3_stmt *statement, struct error *error)
{
    int code = sqlite3_step(statement);
    if (code == SQLITE_ROW)
        return 1;
    if (code == SQLITE_DONE)
        return 0;
    database_fail(store, code, sqlite3_sql(statement), error);
    return -1;
}

void database_reset(sqlite3_stmt **statement)
{
    if (!*statement)
        return;
    sqlite3_reset(*statement);
    sqlite3_clear_bindings(*statement);
}

bool database_run(struct store *store, struct error *error, const char *sql, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    CLEANUP(database_reset) sqlite3_stmt *statement = start(store, error, sql, format, arguments);
    va_end(arguments);
    return statement && database_step(store, statement, error) >= 0;
}

bool database_one(struct store *store, int64_t *ret, struct error *error, const char *sql, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    CLEANUP(database_reset) sqlite3_stmt *statement = start(store, error, sql, format, arguments);
    va_end(arguments);
    int got = statement ? database_step(store, statement, error) : -1;
    if (got > 0 && sqlite3_column_type(statement, 0) != SQLITE_NULL)
        *ret = sqlite3_column_int64(statement, 0);
    return got >= 0;
}

const char *column_text(struct arena *arena, sqlite3_stmt *statement, int column)
{
    const void *bytes = sqlite3_column_blob(statement, column);
    return arena_strndup(arena, bytes ? bytes : "", (size_t)sqlite3_column_bytes(statement, column));
}

enum quantity column_quantity(sqlite3_stmt *statement, int column)
{
    int number = sqlite3_column_int(statement, column);
    return number < 0 ? QUANTITY_COUNT : (enum quantity)number;
}

int64_t quantity_number(enum quantity quantity)
{
    return quantity < QUANTITY_COUNT ? (int64_t)quantity : -1;
}

int64_t column_time(sqlite3_stmt *statement, int column)
{
    return sqlite3_column_type(statement, column) == SQLITE_NULL ? TIME_NONE : sqlite3_column_int64(statement, column);
}

double column_number(sqlite3_stmt *statement, int column)
{
    return sqlite3_column_type(statement, column) == SQLITE_NULL ? NAN : sqlite3_column_double(statement, column);
}

void *to_arena(struct arena *arena, void *list, size_t n, size_t size)
{
    void *copy = arena_array(arena, n, size);
    if (n > 0)
        memcpy(copy, list, n * size);
    free(list);
    return copy;
}

bool collect_places(struct store *store, sqlite3_stmt *statement, struct arena *arena, uint32_t **ret, size_t *ret_n,
                    struct error *error)
{
    uint32_t *list = NULL;
    size_t n = 0, capacity = 0;
    int got = statement ? 1 : -1;
    while (got > 0 && (got = database_step(store, statement, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = (uint32_t)sqlite3_column_int64(statement, 0);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

/* The kernel frees the lock however the process ends, so there is no stale lock to clear. */
static bool lock_folder(struct store *store, const char *folder, struct error *error)
{
    char path[PATH_MAX];
    snprintf(path, sizeof path, "%s/lock", folder);
    store->lock_fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0644);
    if (store->lock_fd < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot open '%s'", path);
    if (flock(store->lock_fd, LOCK_EX | LOCK_NB) == 0)
        return true;
    if (errno == EWOULDBLOCK)
        return fail(
            error, ERROR_CONFIG,
            "another rillward works on the state folder '%s' (it holds 'lock' there): stop it, or give each service"
            " its own folder",
            folder);
    return fail_errno(error, ERROR_SYSTEM, "cannot lock '%s'", path);
}

/* WAL needs shared memory, which network file systems do not give. Numbers from statfs(2). */
static bool refuse_network_folder(const char *folder, struct error *error)
{
    static const unsigned long network[] = {0x6969, 0xFE534D42, 0xFF534D42, 0x65735546, 0x01021997};
    struct statfs status;
    if (statfs(folder, &status) < 0)
        return fail_errno(error, ERROR_SYSTEM, "cannot look at '%s'", folder);
    for (size_t i = 0; i < COUNT_OF(network); i++)
        if (((unsigned long)status.f_type & 0xFFFFFFFFul) == network[i])
            return fail(error, ERROR_CONFIG,
                        "the state folder '%s' is on a network or user file system: use a local disk", folder);
    return true;
}

static bool open_database(struct store *store, const char *folder, int flags, struct error *error)
{
    char path[PATH_MAX];
    snprintf(path, sizeof path, "%s/rillward.db", folder);
    int code = sqlite3_open_v2(path, &store->database, flags, NULL);
    if (code == SQLITE_OK) {
        sqlite3_extended_result_codes(store->database, 1);
        sqlite3_busy_timeout(store->database, 10000); /* a reader's checkpoint or a backup may hold it for a moment */
        /* A plan is made once a statement: else each binding of a parameter that a plan could use makes a new one. */
        sqlite3_db_config(store->database, SQLITE_DBCONFIG_ENABLE_QPSG, 1, NULL);
        return true;
    }
    if (code == SQLITE_CANTOPEN)
        return fail(error, ERROR_SYSTEM, "there is no database '%s', or it cannot be opened: has the service run?",
                    path);
    return database_fail(store, code, path, error);
}

/* Without the lock: the service holds it. */
static struct store *open_beside(const char *folder, struct error *error)
{
    struct store *store = x_alloc(sizeof *store);
    store->lock_fd = -1;
    store->scratch = arena_new();
    int64_t version = 0;
    /* Read-write without create: a reader of a WAL database must be able to make the shared-memory file. */
    if (open_database(store, folder, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX, error) &&
        read_pragma(store, "PRAGMA user_version", &version, error)) {
        if (version == (int64_t)schema_migration_count)
            return store;
        fail(error, ERROR_CONFIG,
             "the database in '%s' has schema %" PRId64 ", this program reads %zu: use the same version", folder,
             version, schema_migration_count);
    }
    store_close(store);
    return NULL;
}

/* Before anything is written: what is not ours, or newer, stays byte for byte. */
static bool refuse_other_database(struct store *store, struct error *error)
{
    int64_t id = 0, version = 0, tables = 0;
    if (!read_pragma(store, "PRAGMA application_id", &id, error) ||
        !read_pragma(store, "PRAGMA user_version", &version, error) ||
        !read_pragma(store, "SELECT count(*) FROM sqlite_schema", &tables, error))
        return false;
    bool is_new = id == 0 && version == 0 && tables == 0;
    if (id != STORE_APPLICATION_ID && !is_new)
        return fail(error, ERROR_CONFIG, "the file rillward.db in the state folder is not ours: move it away");
    if (version > (int64_t)schema_migration_count)
        return fail(error, ERROR_CONFIG,
                    "the database has schema %" PRId64 ", newer than this program's %zu: it was left untouched; "
                    "install the newer rillward",
                    version, schema_migration_count);
    return true;
}

static bool set_up(struct store *store, struct error *error)
{
    return execute(store, "PRAGMA journal_mode = WAL", error) && /* readers never block the service */
           execute(store, "PRAGMA synchronous = FULL", error) && /* a commit survives a power cut */
           execute(store, "PRAGMA foreign_keys = ON", error) &&
           execute(store, "PRAGMA cache_size = -4096", error) && /* 4 MiB: an idle service stays small */
           execute(store, "PRAGMA wal_autocheckpoint = 2000", error) &&
           execute(store, "PRAGMA journal_size_limit = 67108864", error);
}

static bool execute(struct store *store, const char *sql, struct error *error)
{
    int code = sqlite3_exec(store->database, sql, NULL, NULL, NULL);
    return code == SQLITE_OK || database_fail(store, code, sql, error);
}

static bool migrate(struct store *store, struct error *error)
{
    int64_t version = 0;
    if (!read_pragma(store, "PRAGMA user_version", &version, error))
        return false;
    if ((size_t)version >= schema_migration_count)
        return true;
    /* All or none: a power cut in between leaves the database as it was. */
    bool ok = execute(store, "BEGIN IMMEDIATE", error);
    for (size_t i = (size_t)version; ok && i < schema_migration_count; i++) {
        crash_point("before migration", schema_migrations[i].why);
        ok = execute(store, schema_migrations[i].sql, error) ||
             within(error, "bringing the database to schema %zu (%s)", i + 1, schema_migrations[i].why);
    }
    char finish[128];
    snprintf(finish, sizeof finish, "PRAGMA user_version = %zu; PRAGMA application_id = %d; COMMIT",
             schema_migration_count, STORE_APPLICATION_ID);
    if (ok && execute(store, finish, error))
        return true;
    sqlite3_exec(store->database, "ROLLBACK", NULL, NULL, NULL);
    return false;
}

static bool read_pragma(struct store *store, const char *sql, int64_t *ret, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(store->database, sql, -1, &statement, NULL);
    if (code == SQLITE_OK && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        *ret = sqlite3_column_int64(statement, 0);
        code = SQLITE_OK;
    }
    sqlite3_finalize(statement);
    return code == SQLITE_OK || database_fail(store, code, sql, error);
}

static sqlite3_stmt *start(struct store *store, struct error *error, const char *sql, const char *format,
                           va_list arguments)
{
    sqlite3_stmt *statement = cached(store, sql, error);
    if (!statement || !bind(store, statement, error, format, arguments))
        return NULL;
    return statement;
}

static sqlite3_stmt *cached(struct store *store, const char *sql, struct error *error)
{
    for (size_t i = 0; i < store->statement_count; i++)
        if (store->statements[i].sql == sql) {
            assert(!sqlite3_stmt_busy(store->statements[i].statement) && "a statement is used inside itself");
            return store->statements[i].statement;
        }
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v3(store->database, sql, -1, SQLITE_PREPARE_PERSISTENT, &statement, NULL);
    if (code != SQLITE_OK) {
        database_fail(store, code, sql, error);
        return NULL;
    }
    store->statements =
        x_grow(store->statements, store->statement_count, &store->statement_capacity, sizeof *store->statements);
    store->statements[store->statement_count++] = (struct cached_statement){sql, statement};
    return statement;
}

static bool bind(struct store *store, sqlite3_stmt *statement, struct error *error, const char *format,
                 va_list arguments)
{
    int code = SQLITE_OK;
    assert(sqlite3_bind_parameter_count(statement) == (int)strlen(format));
    for (int i = 1; code == SQLITE_OK && format[i - 1]; i++) {
        switch (format[i - 1]) {
        case 'i': code = sqlite3_bind_int64(statement, i, va_arg(arguments, int64_t)); break;
        case 'd': code = sqlite3_bind_double(statement, i, va_arg(arguments, double)); break; /* NaN becomes NULL */
        case 't': code = sqlite3_bind_text(statement, i, va_arg(arguments, const char *), -1, SQLITE_STATIC); break;
        case 'T': {
            int64_t time = va_arg(arguments, int64_t);
            code = time == TIME_NONE ? sqlite3_bind_null(statement, i) : sqlite3_bind_int64(statement, i, time);
            break;
        }
        case 'p': {
            const char *path = va_arg(arguments, const char *);
            code = sqlite3_bind_blob(statement, i, path, (int)strlen(path), SQLITE_STATIC);
            break;
        }
        case 'b': {
            const void *bytes = va_arg(arguments, const void *);
            code = sqlite3_bind_blob64(statement, i, bytes, va_arg(arguments, size_t), SQLITE_STATIC);
            break;
        }
        default: code = SQLITE_MISUSE; /* our own bug: an unknown letter */
        }
    }
    return code == SQLITE_OK || database_fail(store, code, sqlite3_sql(statement), error);
}
