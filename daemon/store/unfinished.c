/* SPDX-License-Identifier: MIT */
/* Work that ended the program: counted, spans over smaller pieces, and left alone at last. */
#include "base/timestamp.h"
#include "store/database.h"
#include "store/store.h"

static const int64_t attempts_most[UNFINISHED_KIND_COUNT] = {
    [UNFINISHED_SPAN] = UNFINISHED_SPAN_MOST,
    [UNFINISHED_RECORDS] = UNFINISHED_RECORDS_MOST,
};

static bool is_derived(struct store *store, uint32_t place, struct span span, bool *ret, struct error *error);
static bool put(struct store *store, enum unfinished_kind kind, const struct unfinished *row, uint64_t settings,
                struct error *error);
static bool find(struct store *store, enum unfinished_kind kind, uint32_t place, struct span span, bool with_left_alone,
                 struct unfinished *ret, struct error *error);
static bool take_one(struct store *store, uint64_t settings, bool *ret_took, enum unfinished_kind *ret_kind,
                     struct unfinished *ret, struct error *error);
static struct unfinished read_row(sqlite3_stmt *row);

bool store_unfinished_add(struct store *store, enum unfinished_kind kind, uint32_t place, struct span span, int64_t now,
                          uint64_t settings, int64_t *ret_attempts, struct error *error)
{
    struct unfinished before;
    bool is_done = false;
    *ret_attempts = 0;
    if (kind == UNFINISHED_SPAN && !is_derived(store, place, span, &is_done, error))
        return false;
    if (is_done) /* it ended right behind the commit */
        return true;
    if (!find(store, kind, place, span, false, &before, error) ||
        !database_run(store, error,
                      "DELETE FROM unfinished WHERE place = ?1 AND kind = ?2 AND from_ = ?3 AND attempts = ?4", "iiii",
                      (int64_t)place, (int64_t)kind, before.span.from, before.attempts))
        return false;
    struct unfinished next = {.place = place,
                              .span = span,
                              .attempts = before.attempts + 1,
                              .since = before.attempts > 0 ? before.since : now,
                              .is_left_alone = before.attempts + 1 >= attempts_most[kind]};
    *ret_attempts = next.attempts;
    bool reaches_back = before.attempts > 0 && before.span.from < span.from;
    if (reaches_back && !next.is_left_alone) {
        next.span.from = before.span.from;
    } else if (reaches_back) { /* the piece in hand alone is left alone, and what is before it goes on */
        before.span.to = span.from;
        if (!put(store, kind, &before, settings, error))
            return false;
    }
    return put(store, kind, &next, settings, error);
}

bool store_unfinished_find(struct store *store, enum unfinished_kind kind, uint32_t place, struct span span,
                           struct unfinished *ret, struct error *error)
{
    return find(store, kind, place, span, true, ret, error);
}

bool store_unfinished_done(struct store *store, enum unfinished_kind kind, uint32_t place, struct span span,
                           struct error *error)
{
    return database_run(store, error,
                        "DELETE FROM unfinished WHERE place = ?1 AND kind = ?2 AND from_ >= ?3 AND from_ < ?4"
                        " AND NOT is_left_alone",
                        "iiii", (int64_t)place, (int64_t)kind, span.from, span.to) &&
           database_run(store, error,
                        "UPDATE unfinished SET to_ = ?3 WHERE place = ?1 AND kind = ?2 AND from_ < ?3 AND to_ > ?3"
                        " AND NOT is_left_alone",
                        "iii", (int64_t)place, (int64_t)kind, span.from);
}

bool store_unfinished_retry(struct store *store, uint64_t settings, int64_t ret_counts[UNFINISHED_KIND_COUNT],
                            struct error *error)
{
    for (size_t kind = 0; kind < UNFINISHED_KIND_COUNT; kind++)
        ret_counts[kind] = 0;
    for (;;) {
        enum unfinished_kind kind;
        struct unfinished row;
        bool took;
        if (!take_one(store, settings, &took, &kind, &row, error))
            return false;
        if (!took)
            return true;
        ret_counts[kind] += row.is_left_alone;
        if (kind == UNFINISHED_SPAN && !store_dirty_add(store, row.place, row.span, error))
            return false;
    }
}

bool store_unfinished_load(struct store *store, enum unfinished_kind kind, struct arena *arena, struct unfinished **ret,
                           size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error,
                                       "SELECT u.place, u.from_, u.to_, u.attempts, u.since, u.is_left_alone, p.key"
                                       " FROM unfinished u JOIN place p ON p.number = u.place WHERE u.kind = ?1"
                                       " ORDER BY p.key, u.from_",
                                       "i", (int64_t)kind);
    struct unfinished *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n] = read_row(row);
        list[n++].key = column_text(arena, row, 6);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

static bool is_derived(struct store *store, uint32_t place, struct span span, bool *ret, struct error *error)
{
    int64_t dirty = 0;
    bool ok =
        database_one(store, &dirty, error, "SELECT count(*) FROM dirty WHERE place = ?1 AND from_ < ?3 AND to_ > ?2",
                     "iii", (int64_t)place, span.from, span.to);
    *ret = dirty == 0;
    return ok;
}

static bool put(struct store *store, enum unfinished_kind kind, const struct unfinished *row, uint64_t settings,
                struct error *error)
{
    return database_run(store, error, "INSERT OR REPLACE INTO unfinished VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                        "iiiiiiii", (int64_t)row->place, (int64_t)kind, row->span.from, row->span.to, row->attempts,
                        row->since, (int64_t)settings, (int64_t)row->is_left_alone);
}

static bool find(struct store *store, enum unfinished_kind kind, uint32_t place, struct span span, bool with_left_alone,
                 struct unfinished *ret, struct error *error)
{
    *ret = (struct unfinished){.attempts = 0};
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT place, from_, to_, attempts, since, is_left_alone FROM unfinished"
                       " WHERE place = ?1 AND kind = ?2 AND from_ < ?4 AND to_ > ?3"
                       " AND (?5 OR NOT is_left_alone) ORDER BY attempts DESC, to_ DESC LIMIT 1",
                       "iiiii", (int64_t)place, (int64_t)kind, span.from, span.to, (int64_t)with_left_alone);
    int got = row ? database_step(store, row, error) : -1;
    if (got > 0)
        *ret = read_row(row);
    return got >= 0;
}

static bool take_one(struct store *store, uint64_t settings, bool *ret_took, enum unfinished_kind *ret_kind,
                     struct unfinished *ret, struct error *error)
{
    {
        CLEANUP(database_reset)
        sqlite3_stmt *row = database_start(store, error,
                                           "SELECT place, from_, to_, attempts, since, is_left_alone, kind"
                                           " FROM unfinished WHERE settings <> ?1 LIMIT 1",
                                           "i", (int64_t)settings);
        int got = row ? database_step(store, row, error) : -1;
        *ret_took = got > 0;
        if (got <= 0)
            return got == 0;
        *ret = read_row(row);
        *ret_kind = sqlite3_column_int(row, 6) == UNFINISHED_RECORDS ? UNFINISHED_RECORDS : UNFINISHED_SPAN;
    }
    return database_run(store, error, "DELETE FROM unfinished WHERE place = ?1 AND kind = ?2 AND from_ = ?3", "iii",
                        (int64_t)ret->place, (int64_t)*ret_kind, ret->span.from);
}

static struct unfinished read_row(sqlite3_stmt *row)
{
    return (struct unfinished){.place = (uint32_t)sqlite3_column_int64(row, 0),
                               .span = {sqlite3_column_int64(row, 1), sqlite3_column_int64(row, 2)},
                               .attempts = sqlite3_column_int64(row, 3),
                               .since = sqlite3_column_int64(row, 4),
                               .is_left_alone = sqlite3_column_int64(row, 5) != 0};
}
