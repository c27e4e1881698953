/* SPDX-License-Identifier: MIT */
/* Rows dropped and put back when what can be made again is made again. */
#include "store/database.h"

#include <stdlib.h>

bool store_place_forget(struct store *store, uint32_t place, struct error *error)
{
    const int64_t number = place, first = number << 20, after = (number + 1) << 20; /* keys of chunks: series.c */
    return database_run(store, error, "DELETE FROM reading_chunk WHERE key >= ?1 AND key < ?2", "ii", first, after) &&
           database_run(store, error, "DELETE FROM record_chunk WHERE key >= ?1 AND key < ?2", "ii", first, after) &&
           database_run(store, error, "DELETE FROM check_result WHERE place = ?1", "i", number) &&
           database_run(store, error, "DELETE FROM finding WHERE place = ?1", "i", number) &&
           database_run(store, error, "DELETE FROM waiting WHERE place = ?1", "i", number) &&
           database_run(store, error, "DELETE FROM held WHERE place = ?1", "i", number) &&
           database_run(store, error, "DELETE FROM dirty WHERE place = ?1", "i", number) &&
           database_run(store, error, "UPDATE place SET first_time = NULL, last_time = NULL WHERE number = ?1", "i",
                        number);
}

bool store_place_renew(struct store *store, uint32_t place, struct error *error)
{
    return database_run(store, error, "UPDATE page SET due = 1 WHERE place = ?1", "i", (int64_t)place) &&
           store_manifest_due(store, place, error) && store_manifest_due(store, 0, error);
}

bool store_drop_replace(struct store *store, const struct drop_fact_row *d, struct error *error)
{
    return database_run(
        store, error,
        "UPDATE drop_ SET layout = ?2, evidence = ?3, complaints = ?4, rows = ?5, refused = ?6, added = ?7,"
        " repeated = ?8, filled = ?9, disagreed = ?10, serial = ?11 WHERE number = ?1",
        "itttiiiiiit", d->number, d->layout, d->evidence, d->complaints, d->rows, d->refused, d->added, d->repeated,
        d->filled, d->disagreed, d->serial ? d->serial : "");
}

bool store_page_restore(struct store *store, const struct page_fact *page, struct error *error)
{
    return database_run(
        store, error,
        "INSERT INTO page(place, month, due, revision, content) VALUES(?1, ?2, ?3, ?4, ?5)"
        " ON CONFLICT(place, month) DO UPDATE SET revision = excluded.revision, content = excluded.content"
        " WHERE excluded.revision > page.revision",
        "iiiit", (int64_t)page->place, (int64_t)page->month, (int64_t)page->due, page->revision, page->content);
}

bool store_revision_restore(struct store *store, const struct revision_fact *r, struct error *error)
{
    return database_run(store, error,
                        "INSERT OR IGNORE INTO revision(place, month, revision, last_time, arrived, changes, state)"
                        " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                        "iiiTiti", (int64_t)r->place, (int64_t)r->month, r->revision, r->last_time, r->arrived,
                        r->changes ? r->changes : "", (int64_t)r->state);
}

bool store_file_forget(struct store *store, const char *path, struct error *error)
{
    return database_run(store, error, "DELETE FROM archive_file WHERE path = ?1", "t", path);
}

bool store_rebuild_add(struct store *store, uint32_t place, struct error *error)
{
    return database_run(store, error, "INSERT OR IGNORE INTO rebuild_due VALUES(?1)", "i", (int64_t)place);
}

bool store_rebuild_done(struct store *store, uint32_t place, struct error *error)
{
    return database_run(store, error, "DELETE FROM rebuild_due WHERE place = ?1", "i", (int64_t)place);
}

bool store_rebuild_load(struct store *store, struct arena *arena, uint32_t **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error, "SELECT place FROM rebuild_due ORDER BY place", "");
    return collect_places(store, row, arena, ret, ret_n, error);
}
