/* SPDX-License-Identifier: MIT */
/* What people have said of records, and where the last word holds. */
#include "base/timestamp.h"
#include "store/database.h"

#include <stdlib.h>

static bool cut_out(struct store *store, uint32_t place, struct span span, struct error *error);
static struct reviewed_span read_reviewed(struct arena *arena, sqlite3_stmt *row);
static struct review_fact read_review(struct arena *arena, sqlite3_stmt *row);

bool store_review_add(struct store *store, struct review_fact *r, struct error *error)
{
    if (!database_run(store, error,
                      "INSERT INTO review(place, from_, to_, is_reopening, who, why, said)"
                      " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                      "iiiitti", (int64_t)r->place, r->span.from, r->span.to, (int64_t)r->is_reopening, r->who, r->why,
                      r->said))
        return false;
    r->number = sqlite3_last_insert_rowid(store->database);
    return cut_out(store, r->place, r->span, error) &&
           (r->is_reopening || database_run(store, error, "INSERT INTO reviewed VALUES(?1, ?2, ?3, ?4, 0)", "iiii",
                                            (int64_t)r->place, r->span.from, r->span.to, r->number));
}

/* What reaches over the edges keeps the parts outside. */
static bool cut_out(struct store *store, uint32_t place, struct span span, struct error *error)
{
    return database_run(store, error,
                        "INSERT OR REPLACE INTO reviewed SELECT place, ?2, to_, review, is_kept FROM reviewed"
                        " WHERE place = ?1 AND from_ < ?2 AND to_ > ?2",
                        "ii", (int64_t)place, span.to) &&
           database_run(store, error, "UPDATE reviewed SET to_ = ?2 WHERE place = ?1 AND from_ < ?2 AND to_ > ?2", "ii",
                        (int64_t)place, span.from) &&
           database_run(store, error, "DELETE FROM reviewed WHERE place = ?1 AND from_ >= ?2 AND from_ < ?3", "iii",
                        (int64_t)place, span.from, span.to);
}

bool store_reviewed_keep(struct store *store, uint32_t place, struct span span, struct error *error)
{
    int64_t review = 0;
    return database_one(store, &review, error,
                        "SELECT review FROM reviewed WHERE place = ?1 AND from_ <= ?2 AND to_ >= ?3", "iii",
                        (int64_t)place, span.from, span.to) &&
           cut_out(store, place, span, error) &&
           database_run(store, error, "INSERT INTO reviewed VALUES(?1, ?2, ?3, ?4, 1)", "iiii", (int64_t)place,
                        span.from, span.to, review);
}

bool store_reviewed_cut(struct store *store, uint32_t place, struct span span, struct error *error)
{
    return span.from >= span.to || cut_out(store, place, span, error);
}

bool store_reviewed_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                         struct reviewed_span **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT d.from_, d.to_, d.review, d.is_kept, r.who, r.why, r.said FROM reviewed d"
                       " JOIN review r ON r.number = d.review WHERE d.place = ?1 AND d.from_ < ?3 AND d.to_ > ?2"
                       " ORDER BY d.from_",
                       "iii", (int64_t)place, span.from, span.to);
    struct reviewed_span *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_reviewed(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_reviews_newest(struct store *store, uint32_t place, size_t most, struct arena *arena,
                          struct review_fact **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT number, place, from_, to_, is_reopening, who, why, said FROM review WHERE place = ?1"
                       " ORDER BY number DESC LIMIT ?2",
                       "ii", (int64_t)place, (int64_t)most);
    struct review_fact *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_review(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

static struct reviewed_span read_reviewed(struct arena *arena, sqlite3_stmt *row)
{
    return (struct reviewed_span){.span = {sqlite3_column_int64(row, 0), sqlite3_column_int64(row, 1)},
                                  .review = sqlite3_column_int64(row, 2),
                                  .is_kept = sqlite3_column_int(row, 3) != 0,
                                  .who = column_text(arena, row, 4),
                                  .why = column_text(arena, row, 5),
                                  .said = sqlite3_column_int64(row, 6)};
}

static struct review_fact read_review(struct arena *arena, sqlite3_stmt *row)
{
    return (struct review_fact){.number = sqlite3_column_int64(row, 0),
                                .place = (uint32_t)sqlite3_column_int64(row, 1),
                                .span = {sqlite3_column_int64(row, 2), sqlite3_column_int64(row, 3)},
                                .is_reopening = sqlite3_column_int(row, 4) != 0,
                                .who = column_text(arena, row, 5),
                                .why = column_text(arena, row, 6),
                                .said = sqlite3_column_int64(row, 7)};
}
