/* SPDX-License-Identifier: MIT */
/* What is kept for a while only, and the room that it leaves. */
#include "store/database.h"

bool store_notices_forget(struct store *store, int64_t before, size_t most, size_t *ret_n, struct error *error)
{
    /* One that tells others, too, goes after the last of them. */
    bool ok = database_run(store, error,
                           "DELETE FROM notice WHERE id IN (SELECT n.id FROM notice n"
                           " LEFT JOIN alarm a ON a.id = n.alarm"
                           " WHERE n.created < ?1 AND n.state <> 0"
                           " AND (a.id IS NULL OR (a.state IN (?2, ?3) AND a.changed < ?1))"
                           " AND NOT EXISTS (SELECT 1 FROM notice m WHERE m.group_ = n.id) ORDER BY n.id LIMIT ?4)",
                           "iiii", before, (int64_t)ALARM_NORMAL, (int64_t)ALARM_WITHDRAWN, (int64_t)most);
    *ret_n = ok ? (size_t)sqlite3_changes(store->database) : 0;
    return ok;
}

bool store_names_before(struct store *store, int64_t before, const char *after, size_t most, struct arena *arena,
                        const char ***ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT path FROM path WHERE path > ?1 AND since < ?2 AND state IN (?3, ?4)"
                       " ORDER BY path LIMIT ?5",
                       "piiii", after, before, (int64_t)DROP_TAKEN, (int64_t)DROP_REPEATED, (int64_t)most);
    const char **list = arena_array(arena, most, sizeof *list);
    size_t n = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0)
        list[n++] = column_text(arena, row, 0);
    *ret = list;
    *ret_n = n;
    return got == 0;
}

bool store_name_forget(struct store *store, const char *path, struct error *error)
{
    return database_run(store, error, "DELETE FROM path WHERE path = ?1", "p", path);
}

bool store_compact(struct store *store, int64_t least_free, bool *ret_did, struct error *error)
{
    int64_t pages = 0, free_pages = 0, size = 0;
    *ret_did = false;
    if (!database_one(store, &pages, error, "PRAGMA page_count", "") ||
        !database_one(store, &free_pages, error, "PRAGMA freelist_count", "") ||
        !database_one(store, &size, error, "PRAGMA page_size", ""))
        return false;
    if (free_pages * 3 < pages || free_pages == 0 || free_pages * size < least_free)
        return true;
    /* A copy inside one transaction: cut off at any moment it has not happened. */
    int64_t is_busy;
    *ret_did = database_run(store, error, "VACUUM", "");
    return *ret_did && database_one(store, &is_busy, error, "PRAGMA wal_checkpoint(TRUNCATE)", "");
}
