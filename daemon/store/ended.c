/* SPDX-License-Identifier: MIT */
/* Derivations that ended the program: counted, tried in smaller pieces, and set aside at last. */
#include "store/database.h"
#include "store/store.h"

static bool put(struct store *store, uint32_t place, struct span span, int64_t attempts, int64_t now, uint64_t settings,
                struct error *error);
static bool find(struct store *store, uint32_t place, struct span span, int64_t below, struct ended_span *ret,
                 struct error *error);
static bool take_one(struct store *store, uint64_t settings, bool *ret_took, bool *ret_was_aside, struct error *error);

bool store_ended_add(struct store *store, uint32_t place, struct span span, int64_t now, uint64_t settings,
                     int64_t *ret_attempts, struct error *error)
{
    struct ended_span before;
    int64_t dirty = 0;
    *ret_attempts = 0;
    if (!database_one(store, &dirty, error, "SELECT count(*) FROM dirty WHERE place = ?1 AND from_ < ?3 AND to_ > ?2",
                      "iii", (int64_t)place, span.from, span.to))
        return false;
    if (dirty == 0) /* it ended right behind the commit */
        return true;
    if (!find(store, place, span, ENDED_MOST, &before, error) ||
        !database_run(store, error, "DELETE FROM ended WHERE place = ?1 AND from_ = ?2 AND attempts = ?3", "iii",
                      (int64_t)place, before.span.from, before.attempts))
        return false;
    *ret_attempts = before.attempts + 1;
    bool reaches_back = before.attempts > 0 && before.span.from < span.from;
    if (reaches_back && *ret_attempts < ENDED_MOST)
        span.from = before.span.from;
    else if (reaches_back &&
             !put(store, place, (struct span){before.span.from, span.from}, before.attempts, now, settings, error))
        return false;
    return put(store, place, span, *ret_attempts, now, settings, error);
}

bool store_ended_find(struct store *store, uint32_t place, struct span span, struct ended_span *ret,
                      struct error *error)
{
    return find(store, place, span, INT64_MAX, ret, error);
}

bool store_ended_done(struct store *store, uint32_t place, struct span span, struct error *error)
{
    return database_run(store, error,
                        "DELETE FROM ended WHERE place = ?1 AND from_ >= ?2 AND from_ < ?3 AND attempts < ?4", "iiii",
                        (int64_t)place, span.from, span.to, (int64_t)ENDED_MOST) &&
           database_run(store, error,
                        "UPDATE ended SET to_ = ?2 WHERE place = ?1 AND from_ < ?2 AND to_ > ?2 AND attempts < ?3",
                        "iii", (int64_t)place, span.from, (int64_t)ENDED_MOST);
}

bool store_ended_retry(struct store *store, uint64_t settings, int64_t *ret_count, struct error *error)
{
    *ret_count = 0;
    for (bool took = true, was_aside = false; took; *ret_count += took && was_aside)
        if (!take_one(store, settings, &took, &was_aside, error))
            return false;
    return true;
}

static bool put(struct store *store, uint32_t place, struct span span, int64_t attempts, int64_t now, uint64_t settings,
                struct error *error)
{
    return database_run(store, error, "INSERT OR REPLACE INTO ended VALUES(?1, ?2, ?3, ?4, ?5, ?6)", "iiiiii",
                        (int64_t)place, span.from, span.to, attempts, now, (int64_t)settings);
}

static bool find(struct store *store, uint32_t place, struct span span, int64_t below, struct ended_span *ret,
                 struct error *error)
{
    *ret = (struct ended_span){.attempts = 0};
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error,
                                       "SELECT from_, to_, attempts FROM ended WHERE place = ?1 AND from_ < ?3"
                                       " AND to_ > ?2 AND attempts < ?4 ORDER BY attempts DESC, to_ DESC LIMIT 1",
                                       "iiii", (int64_t)place, span.from, span.to, below);
    int got = row ? database_step(store, row, error) : -1;
    if (got > 0)
        *ret = (struct ended_span){{sqlite3_column_int64(row, 0), sqlite3_column_int64(row, 1)},
                                   sqlite3_column_int64(row, 2)};
    return got >= 0;
}

static bool take_one(struct store *store, uint64_t settings, bool *ret_took, bool *ret_was_aside, struct error *error)
{
    int64_t place = 0, from = 0, to = 0, attempts = 0;
    {
        CLEANUP(database_reset)
        sqlite3_stmt *row =
            database_start(store, error, "SELECT place, from_, to_, attempts FROM ended WHERE settings <> ?1 LIMIT 1",
                           "i", (int64_t)settings);
        int got = row ? database_step(store, row, error) : -1;
        *ret_took = got > 0;
        *ret_was_aside = false;
        if (got <= 0)
            return got == 0;
        place = sqlite3_column_int64(row, 0);
        from = sqlite3_column_int64(row, 1);
        to = sqlite3_column_int64(row, 2);
        attempts = sqlite3_column_int64(row, 3);
    }
    *ret_was_aside = attempts >= ENDED_MOST;
    return database_run(store, error, "DELETE FROM ended WHERE place = ?1 AND from_ = ?2", "ii", place, from) &&
           store_dirty_add(store, (uint32_t)place, (struct span){from, to}, error);
}
