/* SPDX-License-Identifier: MIT */
/* Rows about work: dirty spans, waiting spans, checks, pages to write, files written. */
#include "base/timestamp.h"
#include "store/database.h"

#include <stdlib.h>
#include <string.h>

#define REVISION_COLUMNS "place, month, revision, last_time, arrived, changes, state"
#define CHECK_COLUMNS "time, quantity, kind, note, sensor, reference, difference, is_first"

#define LEFT_ALONE "(SELECT place FROM unfinished WHERE kind = 1 AND is_left_alone)"
_Static_assert(UNFINISHED_RECORDS == 1, "stands in LEFT_ALONE");

/* Spans with a reason stand in two tables of one shape. */
struct span_table {
    const char *keep_behind, *keep_before, *drop, *put, *load_all, *load_one;
};
#define SPAN_TABLE(name)                                                                                               \
    {                                                                                                                  \
        "INSERT OR REPLACE INTO " name " SELECT place, ?2, to_, reason FROM " name                                     \
        " WHERE place = ?1 AND from_ < ?2 AND to_ > ?2",                                                               \
            "UPDATE " name " SET to_ = ?2 WHERE place = ?1 AND from_ < ?2 AND to_ > ?2",                               \
            "DELETE FROM " name " WHERE place = ?1 AND from_ >= ?2 AND from_ < ?3",                                    \
            "INSERT OR REPLACE INTO " name " VALUES(?1, ?2, ?3, ?4)",                                                  \
            "SELECT w.place, p.key, w.from_, w.to_, w.reason FROM " name " w JOIN place p ON p.number = w.place"       \
            " WHERE ?1 = 0 ORDER BY p.key, w.from_",                                                                   \
            "SELECT w.place, p.key, w.from_, w.to_, w.reason FROM " name " w JOIN place p ON p.number = w.place"       \
            " WHERE w.place = ?1 ORDER BY w.from_"                                                                     \
    }
static const struct span_table waiting = SPAN_TABLE("waiting"), held = SPAN_TABLE("held");

static bool replace_spans(struct store *store, const struct span_table *table, uint32_t place, struct span span,
                          const struct waiting_span *list, size_t n, struct error *error);
static bool load_spans(struct store *store, const struct span_table *table, uint32_t place, struct arena *arena,
                       struct waiting_span **ret, size_t *ret_n, struct error *error);
static bool replace_checks(struct store *store, uint32_t place, int64_t first, int64_t end, struct span span,
                           const struct check_result *list, size_t n, struct error *error);
static bool load_checks(struct store *store, uint32_t place, int64_t first, struct span span, struct arena *arena,
                        struct check_result **ret, size_t *ret_n, struct error *error);
static struct check_result read_check(sqlite3_stmt *row);
static struct page_fact read_page(struct arena *arena, sqlite3_stmt *row);
static bool collect_revisions(struct store *store, sqlite3_stmt *row, struct arena *arena, struct revision_fact **ret,
                              size_t *ret_n, struct error *error);
static struct revision_fact read_revision(struct arena *arena, sqlite3_stmt *row);
static struct file_fact read_file(struct arena *arena, sqlite3_stmt *row);

bool store_dirty_add(struct store *store, uint32_t place, struct span span, struct error *error)
{
    if (span.from >= span.to)
        return true;
    /* Join with what it touches, so that a place keeps few spans and nothing is derived twice. */
    int64_t from = span.from, to = span.to;
    if (!database_one(store, &from, error,
                      "SELECT min(?2, min(from_)) FROM dirty WHERE place = ?1 AND from_ <= ?3 AND to_ >= ?2", "iii",
                      (int64_t)place, span.from, span.to) ||
        !database_one(store, &to, error,
                      "SELECT max(?3, max(to_)) FROM dirty WHERE place = ?1 AND from_ <= ?3 AND to_ >= ?2", "iii",
                      (int64_t)place, span.from, span.to))
        return false;
    return database_run(store, error, "DELETE FROM dirty WHERE place = ?1 AND from_ >= ?2 AND from_ <= ?3", "iii",
                        (int64_t)place, from, to) &&
           database_run(store, error, "INSERT INTO dirty VALUES(?1, ?2, ?3)", "iii", (int64_t)place, from, to);
}

bool store_dirty_next(struct store *store, uint32_t *ret_place, struct span *ret, struct error *error)
{
    *ret_place = 0;
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error, "SELECT place, from_, to_ FROM dirty ORDER BY to_ DESC, place LIMIT 1", "");
    int got = row ? database_step(store, row, error) : -1;
    if (got > 0) {
        *ret_place = (uint32_t)sqlite3_column_int64(row, 0);
        *ret = (struct span){sqlite3_column_int64(row, 1), sqlite3_column_int64(row, 2)};
    }
    return got >= 0;
}

bool store_dirty_remove(struct store *store, uint32_t place, struct span span, struct error *error)
{
    return database_run(store, error, "DELETE FROM dirty WHERE place = ?1 AND from_ = ?2 AND to_ = ?3", "iii",
                        (int64_t)place, span.from, span.to);
}

bool store_dirty_count(struct store *store, int64_t *ret, struct error *error)
{
    *ret = 0;
    return database_one(store, ret, error, "SELECT count(*) FROM dirty", "");
}

bool store_waiting_replace(struct store *store, uint32_t place, struct span span, const struct waiting_span *list,
                           size_t n, struct error *error)
{
    return replace_spans(store, &waiting, place, span, list, n, error);
}

bool store_held_replace(struct store *store, uint32_t place, struct span span, const struct waiting_span *list,
                        size_t n, struct error *error)
{
    return replace_spans(store, &held, place, span, list, n, error);
}

bool store_waiting_load(struct store *store, uint32_t place, struct arena *arena, struct waiting_span **ret,
                        size_t *ret_n, struct error *error)
{
    return load_spans(store, &waiting, place, arena, ret, ret_n, error);
}

bool store_held_load(struct store *store, uint32_t place, struct arena *arena, struct waiting_span **ret, size_t *ret_n,
                     struct error *error)
{
    return load_spans(store, &held, place, arena, ret, ret_n, error);
}

static bool replace_spans(struct store *store, const struct span_table *table, uint32_t place, struct span span,
                          const struct waiting_span *list, size_t n, struct error *error)
{
    if (span.from >= span.to)
        return true;
    /* What reaches over the edges keeps the parts outside. */
    bool ok = database_run(store, error, table->keep_behind, "ii", (int64_t)place, span.to) &&
              database_run(store, error, table->keep_before, "ii", (int64_t)place, span.from) &&
              database_run(store, error, table->drop, "iii", (int64_t)place, span.from, span.to);
    for (size_t i = 0; ok && i < n; i++)
        ok = database_run(store, error, table->put, "iiit", (int64_t)place, list[i].span.from, list[i].span.to,
                          list[i].reason);
    return ok;
}

static bool load_spans(struct store *store, const struct span_table *table, uint32_t place, struct arena *arena,
                       struct waiting_span **ret, size_t *ret_n, struct error *error)
{
    const char *load = place == 0 ? table->load_all : table->load_one;
    CLEANUP(database_reset) sqlite3_stmt *row = database_start(store, error, load, "i", (int64_t)place);
    struct waiting_span *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = (struct waiting_span){(uint32_t)sqlite3_column_int64(row, 0),
                                          column_text(arena, row, 1),
                                          {sqlite3_column_int64(row, 2), sqlite3_column_int64(row, 3)},
                                          column_text(arena, row, 4)};
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_checks_replace(struct store *store, uint32_t place, struct span span, const struct check_result *list,
                          size_t n, struct error *error)
{
    return replace_checks(store, place, 0, CHECK_TWINS, span, list, n, error);
}

bool store_trends_replace(struct store *store, uint32_t place, struct span span, const struct check_result *list,
                          size_t n, struct error *error)
{
    return replace_checks(store, place, CHECK_TWINS, INT32_MAX, span, list, n, error);
}

bool store_checks_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                       struct check_result **ret, size_t *ret_n, struct error *error)
{
    return load_checks(store, place, 0, span, arena, ret, ret_n, error);
}

bool store_trends_load(struct store *store, uint32_t place, struct span span, struct arena *arena,
                       struct check_result **ret, size_t *ret_n, struct error *error)
{
    return load_checks(store, place, CHECK_TWINS, span, arena, ret, ret_n, error);
}

/* Of kinds from `first` to before `end`. */
static bool replace_checks(struct store *store, uint32_t place, int64_t first, int64_t end, struct span span,
                           const struct check_result *list, size_t n, struct error *error)
{
    bool ok = database_run(
        store, error,
        "DELETE FROM check_result WHERE place = ?1 AND time >= ?2 AND time < ?3 AND kind >= ?4 AND kind < ?5", "iiiii",
        (int64_t)place, span.from, span.to, first, end);
    for (size_t i = 0; ok && i < n; i++)
        ok = database_run(
            store, error,
            "INSERT OR REPLACE INTO check_result(place, " CHECK_COLUMNS ") VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9)",
            "iiiiidddi", (int64_t)place, list[i].time, (int64_t)list[i].quantity, (int64_t)list[i].kind, list[i].note,
            list[i].sensor, list[i].reference, list[i].difference, (int64_t)list[i].is_first);
    return ok;
}

static bool load_checks(struct store *store, uint32_t place, int64_t first, struct span span, struct arena *arena,
                        struct check_result **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT " CHECK_COLUMNS " FROM check_result WHERE place = ?1 AND time >= ?2 AND time < ?3"
                       " AND kind >= ?4 ORDER BY time, kind, quantity",
                       "iiii", (int64_t)place, span.from, span.to, first);
    struct check_result *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_check(row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_checks_newest(struct store *store, uint32_t place, size_t most, struct arena *arena,
                         struct check_result **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error,
                                       "SELECT " CHECK_COLUMNS " FROM check_result WHERE place = ?1 AND kind < ?3"
                                       " ORDER BY time DESC, quantity DESC, kind DESC LIMIT ?2",
                                       "iii", (int64_t)place, (int64_t)most, (int64_t)CHECK_TWINS);
    struct check_result *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_check(row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_page_due(struct store *store, uint32_t place, int32_t month, struct error *error)
{
    return database_run(store, error,
                        "INSERT INTO page(place, month, due, revision, content) VALUES(?1, ?2, 1, 0, '')"
                        " ON CONFLICT(place, month) DO UPDATE SET due = due + 1",
                        "ii", (int64_t)place, (int64_t)month);
}

bool store_pages_due(struct store *store, bool with_dirty, size_t most, struct arena *arena, struct page_fact **ret,
                     size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT place, month, due, revision, content, state, facts FROM page WHERE due > 0"
                       " AND (?1 OR place NOT IN (SELECT place FROM dirty)) AND place NOT IN " LEFT_ALONE
                       " ORDER BY month DESC, place LIMIT ?2",
                       "ii", (int64_t)with_dirty, (int64_t)most);
    struct page_fact *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_page(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_page_published(struct store *store, const struct page_fact *page, struct error *error)
{
    return database_run(store, error,
                        "UPDATE page SET due = due - ?3, revision = ?4, content = ?5, state = ?6, facts = ?7"
                        " WHERE place = ?1 AND month = ?2",
                        "iiiitit", (int64_t)page->place, (int64_t)page->month, page->due, page->revision, page->content,
                        (int64_t)page->state, page->facts ? page->facts : "");
}

bool store_pages_of_place(struct store *store, uint32_t place, struct arena *arena, struct page_fact **ret,
                          size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error,
        "SELECT place, month, due, revision, content, state, '' FROM page WHERE place = ?1 ORDER BY month", "i",
        (int64_t)place);
    struct page_fact *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_page(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_revision_add(struct store *store, const struct revision_fact *r, struct error *error)
{
    return database_run(
        store, error,
        "INSERT OR IGNORE INTO revision(place, month, revision, last_time, arrived, changes, state)"
        " VALUES(?1, ?2, ?3, ?4, coalesce((SELECT arrived FROM drop_ ORDER BY number DESC LIMIT 1), 0), ?5, ?6)",
        "iiiTti", (int64_t)r->place, (int64_t)r->month, r->revision, r->last_time, r->changes ? r->changes : "",
        (int64_t)r->state);
}

bool store_revisions_newest(struct store *store, size_t most, struct arena *arena, struct revision_fact **ret,
                            size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error,
                                       "SELECT " REVISION_COLUMNS " FROM revision"
                                       " ORDER BY arrived DESC, month DESC, place, revision DESC LIMIT ?1",
                                       "i", (int64_t)most);
    return collect_revisions(store, row, arena, ret, ret_n, error);
}

bool store_revisions_of_month(struct store *store, uint32_t place, int32_t month, size_t most, struct arena *arena,
                              struct revision_fact **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error,
                                       "SELECT " REVISION_COLUMNS " FROM revision WHERE place = ?1 AND month = ?2"
                                       " ORDER BY revision DESC LIMIT ?3",
                                       "iii", (int64_t)place, (int64_t)month, (int64_t)most);
    return collect_revisions(store, row, arena, ret, ret_n, error);
}

bool store_revisions_of_place(struct store *store, uint32_t place, struct arena *arena, struct revision_fact **ret,
                              size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error, "SELECT " REVISION_COLUMNS " FROM revision WHERE place = ?1 ORDER BY arrived, month, revision",
        "i", (int64_t)place);
    return collect_revisions(store, row, arena, ret, ret_n, error);
}

static bool collect_revisions(struct store *store, sqlite3_stmt *row, struct arena *arena, struct revision_fact **ret,
                              size_t *ret_n, struct error *error)
{
    struct revision_fact *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_revision(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_file_put(struct store *store, const struct file_fact *file, struct error *error)
{
    return database_run(store, error,
                        "INSERT INTO archive_file VALUES(?1, ?2, ?3, ?4) ON CONFLICT(path) DO UPDATE SET"
                        " place = excluded.place, sha256 = excluded.sha256, bytes = excluded.bytes",
                        "titi", file->path, (int64_t)file->place, file->sha256, file->bytes);
}

bool store_file_find(struct store *store, const char *path, struct arena *arena, struct file_fact *ret, bool *ret_found,
                     struct error *error)
{
    *ret_found = false;
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error, "SELECT path, place, sha256, bytes FROM archive_file WHERE path = ?1", "t", path);
    int got = row ? database_step(store, row, error) : -1;
    if (got > 0) {
        *ret = read_file(arena, row);
        *ret_found = true;
    }
    return got >= 0;
}

bool store_files_load(struct store *store, uint32_t place, struct arena *arena, struct file_fact **ret, size_t *ret_n,
                      struct error *error)
{
    const char *of_place = "SELECT path, place, sha256, bytes FROM archive_file WHERE place = ?1 ORDER BY path";
    const char *of_all = "SELECT path, place, sha256, bytes FROM archive_file WHERE ?1 = ?1 ORDER BY path";
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error, place == UINT32_MAX ? of_all : of_place, "i", (int64_t)place);
    struct file_fact *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_file(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_shown_put(struct store *store, uint64_t digest, bool *ret_changed, struct error *error)
{
    int64_t same = 0;
    if (!database_one(store, &same, error, "SELECT count(*) FROM shown WHERE digest = ?1", "i", (int64_t)digest))
        return false;
    *ret_changed = same == 0;
    return same > 0 || (database_run(store, error, "DELETE FROM shown", "") &&
                        database_run(store, error, "INSERT INTO shown VALUES(?1)", "i", (int64_t)digest));
}

bool store_year_find(struct store *store, const char *path, struct arena *arena, const char **ret, struct error *error)
{
    *ret = "";
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error, "SELECT records FROM year_file WHERE path = ?1", "t", path);
    int got = row ? database_step(store, row, error) : -1;
    if (got > 0)
        *ret = column_text(arena, row, 0);
    return got >= 0;
}

bool store_year_put(struct store *store, const char *path, const char *records, struct error *error)
{
    return database_run(store, error, "INSERT OR REPLACE INTO year_file VALUES(?1, ?2)", "tt", path, records);
}

bool store_manifest_due(struct store *store, uint32_t place, struct error *error)
{
    return database_run(store, error, "INSERT OR IGNORE INTO manifest_due VALUES(?1)", "i", (int64_t)place);
}

bool store_manifests_due(struct store *store, struct arena *arena, uint32_t **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error, "SELECT place FROM manifest_due WHERE place NOT IN " LEFT_ALONE " ORDER BY place", "");
    return collect_places(store, row, arena, ret, ret_n, error);
}

bool store_manifest_done(struct store *store, uint32_t place, struct error *error)
{
    return database_run(store, error, "DELETE FROM manifest_due WHERE place = ?1", "i", (int64_t)place);
}

static struct check_result read_check(sqlite3_stmt *row)
{
    return (struct check_result){.time = sqlite3_column_int64(row, 0),
                                 .quantity = (enum quantity)sqlite3_column_int(row, 1),
                                 .kind = (enum check_kind)sqlite3_column_int(row, 2),
                                 .note = sqlite3_column_int64(row, 3),
                                 .sensor = column_number(row, 4),
                                 .reference = column_number(row, 5),
                                 .difference = column_number(row, 6),
                                 .is_first = sqlite3_column_int(row, 7) != 0};
}

static struct page_fact read_page(struct arena *arena, sqlite3_stmt *row)
{
    return (struct page_fact){(uint32_t)sqlite3_column_int64(row, 0),
                              (int32_t)sqlite3_column_int64(row, 1),
                              sqlite3_column_int64(row, 2),
                              sqlite3_column_int64(row, 3),
                              column_text(arena, row, 4),
                              (enum record_state)sqlite3_column_int(row, 5),
                              column_text(arena, row, 6)};
}

static struct revision_fact read_revision(struct arena *arena, sqlite3_stmt *row)
{
    return (struct revision_fact){.place = (uint32_t)sqlite3_column_int64(row, 0),
                                  .month = (int32_t)sqlite3_column_int64(row, 1),
                                  .revision = sqlite3_column_int64(row, 2),
                                  .last_time = column_time(row, 3),
                                  .arrived = sqlite3_column_int64(row, 4),
                                  .changes = column_text(arena, row, 5),
                                  .state = (enum record_state)sqlite3_column_int(row, 6)};
}

static struct file_fact read_file(struct arena *arena, sqlite3_stmt *row)
{
    return (struct file_fact){.path = column_text(arena, row, 0),
                              .place = (uint32_t)sqlite3_column_int64(row, 1),
                              .sha256 = column_text(arena, row, 2),
                              .bytes = sqlite3_column_int64(row, 3)};
}
