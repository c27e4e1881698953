/* SPDX-License-Identifier: MIT */
/* Rows about what arrived: names in the inbox, drops, notes. */
#include "base/timestamp.h"
#include "store/database.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PATH_COLUMNS "path, size, modified, changed, inode, device, state, since, drop_, attempts, settings, message"
#define DROP_COLUMNS                                                                                                   \
    "number, sha256, path, original, layout, evidence, complaints, bytes, arrived, place, rows, refused, added,"       \
    " repeated, filled, disagreed, serial"
#define NOTE_COLUMNS "id, drop_, line, kind, time, until, quantity, value, reference, text"

static struct path_fact read_path(struct arena *arena, sqlite3_stmt *row);
static struct drop_fact_row read_drop(struct arena *arena, sqlite3_stmt *row);
static struct note read_note(struct arena *arena, sqlite3_stmt *row);

bool store_path_find(struct store *store, const char *path, struct arena *arena, struct path_fact *ret, bool *ret_found,
                     struct error *error)
{
    *ret_found = false;
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error, "SELECT " PATH_COLUMNS " FROM path WHERE path = ?1", "p", path);
    int got = row ? database_step(store, row, error) : -1;
    if (got > 0) {
        *ret = read_path(arena, row);
        *ret_found = true;
    }
    return got >= 0;
}

bool store_path_put(struct store *store, const struct path_fact *p, struct error *error)
{
    return database_run(
        store, error, "INSERT OR REPLACE INTO path(" PATH_COLUMNS ") VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12)",
        "piiiiiiiiiit", p->path, p->size, p->modified_ns, p->changed_ns, (int64_t)p->inode, (int64_t)p->device,
        (int64_t)p->state, p->since, p->drop, p->attempts, (int64_t)p->settings, p->message);
}

bool store_paths_retry(struct store *store, const char *path, int64_t *ret_count, struct error *error)
{
    bool ok = path ? database_run(store, error,
                                  "UPDATE path SET settings = 0, attempts = 0 WHERE state = 3 AND path = ?1", "p", path)
                   : database_run(store, error, "UPDATE path SET settings = 0, attempts = 0 WHERE state = 3", "");
    *ret_count = ok ? sqlite3_changes(store->database) : 0;
    return ok;
}

bool store_paths_unfinished(struct store *store, struct arena *arena, struct path_fact **ret, size_t *ret_n,
                            struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error, "SELECT " PATH_COLUMNS " FROM path WHERE state IN (0, 3) ORDER BY path", "");
    struct path_fact *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_path(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_drop_find(struct store *store, const char *sha256, uint32_t place, int64_t *ret_number, struct error *error)
{
    *ret_number = 0;
    return database_one(store, ret_number, error, "SELECT number FROM drop_ WHERE sha256 = ?1 AND place = ?2", "ti",
                        sha256, (int64_t)place);
}

bool store_drop_is_of_path(struct store *store, const char *sha256, const char *path, int64_t *ret_number,
                           struct error *error)
{
    *ret_number = 0;
    return database_one(store, ret_number, error, "SELECT number FROM drop_ WHERE sha256 = ?1 AND path = ?2", "tp",
                        sha256, path);
}

bool store_drop_load(struct store *store, int64_t number, struct arena *arena, struct drop_fact_row *ret,
                     struct error *error)
{
    *ret = (struct drop_fact_row){
        .sha256 = "", .path = "", .original = "", .layout = "", .evidence = "", .complaints = "", .serial = ""};
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error, "SELECT " DROP_COLUMNS " FROM drop_ WHERE number = ?1", "i", number);
    int got = row ? database_step(store, row, error) : -1;
    if (got > 0)
        *ret = read_drop(arena, row);
    return got >= 0;
}

bool store_drops_of_place(struct store *store, uint32_t place, struct arena *arena, struct drop_fact_row **ret,
                          size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error, "SELECT " DROP_COLUMNS " FROM drop_ WHERE place = ?1 ORDER BY number", "i", (int64_t)place);
    struct drop_fact_row *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_drop(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_drops_newest(struct store *store, uint32_t place, size_t most, struct arena *arena,
                        struct drop_fact_row **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error, "SELECT " DROP_COLUMNS " FROM drop_ WHERE place = ?1 ORDER BY number DESC LIMIT ?2", "ii",
        (int64_t)place, (int64_t)most);
    struct drop_fact_row *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_drop(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_drop_next_number(struct store *store, int64_t *ret, struct error *error)
{
    *ret = 0;
    if (!database_one(store, ret, error, "SELECT max(number) FROM drop_", ""))
        return false;
    ++*ret;
    return true;
}

bool store_drop_add(struct store *store, const struct drop_fact_row *d, struct error *error)
{
    return database_run(store, error,
                        "INSERT INTO drop_(" DROP_COLUMNS
                        ") VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15,?16,?17)",
                        "itpttttiiiiiiiiit", d->number, d->sha256, d->path, d->original, d->layout, d->evidence,
                        d->complaints, d->bytes, d->arrived, (int64_t)d->place, d->rows, d->refused, d->added,
                        d->repeated, d->filled, d->disagreed, d->serial ? d->serial : "");
}

bool store_note_put(struct store *store, uint32_t place, const struct note *n, bool *ret_changed, struct error *error)
{
    int64_t same = 0;
    if (!database_one(store, &same, error,
                      "SELECT count(*) FROM note WHERE place = ?1 AND kind = ?2 AND time = ?3 AND quantity = ?4"
                      " AND until IS ?5 AND value IS ?6 AND reference IS ?7 AND text = ?8",
                      "iiiiTddt", (int64_t)place, (int64_t)n->kind, n->time, quantity_number(n->quantity), n->until,
                      n->value, n->reference, n->text))
        return false;
    *ret_changed = same == 0;
    if (same)
        return true;
    return database_run(
        store, error,
        "INSERT INTO note(place, kind, time, quantity, until, value, reference, text, drop_, line)"
        " VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9,?10) ON CONFLICT(place, kind, time, quantity) DO UPDATE SET"
        " until = excluded.until, value = excluded.value, reference = excluded.reference,"
        " text = excluded.text, drop_ = excluded.drop_, line = excluded.line"
        " WHERE excluded.drop_ >= note.drop_", /* an older drop that is made again comes after newer ones */
        "iiiiTddtii", (int64_t)place, (int64_t)n->kind, n->time, quantity_number(n->quantity), n->until, n->value,
        n->reference, n->text, (int64_t)n->drop, (int64_t)n->line);
}

bool store_note_find(struct store *store, uint32_t place, const struct note *like, struct arena *arena,
                     struct note *ret, bool *ret_is_found, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error,
        "SELECT " NOTE_COLUMNS " FROM note WHERE place = ?1 AND kind = ?2 AND time = ?3 AND quantity = ?4", "iiii",
        (int64_t)place, (int64_t)like->kind, like->time, quantity_number(like->quantity));
    int got = row ? database_step(store, row, error) : -1;
    *ret_is_found = got > 0;
    if (got > 0)
        *ret = read_note(arena, row);
    return got >= 0;
}

bool store_notes_load(struct store *store, uint32_t place, uint32_t kinds, struct span span, struct arena *arena,
                      struct note **ret, size_t *ret_n, struct error *error)
{
    struct note *list = NULL;
    size_t n = 0, capacity = 0;
    int got = 0;
    for (enum note_kind kind = 0; kind < NOTE_KIND_COUNT && got == 0; kind++) { /* the index is by kind, then time */
        if (!(kinds >> kind & 1))
            continue;
        CLEANUP(database_reset)
        sqlite3_stmt *row = database_start(store, error,
                                           "SELECT " NOTE_COLUMNS
                                           " FROM note WHERE place = ?1 AND kind = ?2 AND time >= ?3 AND time < ?4"
                                           " ORDER BY time, quantity",
                                           "iiii", (int64_t)place, (int64_t)kind, span.from, span.to);
        got = row ? 1 : -1;
        while (got > 0 && (got = database_step(store, row, error)) > 0) {
            list = x_grow(list, n, &capacity, sizeof *list);
            struct note note = read_note(arena, row);
            size_t at = n++;
            for (; at > 0 && list[at - 1].time > note.time;
                 at--) /* few notes: insertion keeps them by time, then kind */
                list[at] = list[at - 1];
            list[at] = note;
        }
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_notes_newest(struct store *store, uint32_t place, size_t most, struct arena *arena, struct note **ret,
                        size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error,
                                       "SELECT " NOTE_COLUMNS " FROM note WHERE place = ?1"
                                       " ORDER BY time DESC, kind DESC, quantity DESC LIMIT ?2",
                                       "ii", (int64_t)place, (int64_t)most);
    struct note *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_note(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_notes_arrived(struct store *store, int64_t since, size_t most, struct arena *arena, struct noted_fact **ret,
                         size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error,
        "SELECT n.id, drop_, line, kind, time, until, quantity, value, reference, text, p.key, d.path FROM note n"
        " JOIN place p ON p.number = n.place JOIN drop_ d ON d.number = n.drop_ WHERE d.arrived >= ?1"
        " ORDER BY drop_ DESC, line, kind, quantity LIMIT ?2",
        "ii", since, (int64_t)most);
    struct noted_fact *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n] = (struct noted_fact){read_note(arena, row), column_text(arena, row, 11)};
        list[n++].note.station = column_text(arena, row, 10);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_note_before(struct store *store, uint32_t place, uint32_t kinds, int64_t time, int64_t *ret,
                       struct error *error)
{
    *ret = TIME_NONE;
    for (enum note_kind kind = 0; kind < NOTE_KIND_COUNT; kind++) {
        int64_t found = TIME_NONE;
        if (kinds >> kind & 1 &&
            !database_one(store, &found, error,
                          "SELECT max(time) FROM note WHERE place = ?1 AND kind = ?2 AND time < ?3", "iii",
                          (int64_t)place, (int64_t)kind, time))
            return false;
        *ret = found > *ret ? found : *ret;
    }
    return true;
}

bool store_note_after(struct store *store, uint32_t place, uint32_t kinds, int64_t time, int64_t *ret,
                      struct error *error)
{
    int64_t best = TIME_FOREVER;
    for (enum note_kind kind = 0; kind < NOTE_KIND_COUNT; kind++) {
        int64_t found = TIME_FOREVER;
        if (kinds >> kind & 1 &&
            !database_one(store, &found, error,
                          "SELECT min(time) FROM note WHERE place = ?1 AND kind = ?2 AND time >= ?3", "iii",
                          (int64_t)place, (int64_t)kind, time))
            return false;
        best = found < best ? found : best;
    }
    *ret = best == TIME_FOREVER ? TIME_NONE : best;
    return true;
}

bool store_instruments_noted(struct store *store, const char *name, uint32_t except, struct arena *arena,
                             struct instrument_fact **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT p.key, n.place, n.time, (SELECT min(m.time) FROM note m WHERE m.place = n.place"
                       " AND m.kind = n.kind AND m.time > n.time) FROM note n JOIN place p ON p.number = n.place"
                       " WHERE n.kind = ?3 AND n.text = ?1 COLLATE NOCASE AND n.place != ?2 ORDER BY n.time, n.place",
                       "tii", name, (int64_t)except, (int64_t)NOTE_INSTRUMENT);
    struct instrument_fact *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        int64_t to = column_time(row, 3);
        list[n++] = (struct instrument_fact){column_text(arena, row, 0),
                                             (uint32_t)sqlite3_column_int64(row, 1),
                                             {sqlite3_column_int64(row, 2), to == TIME_NONE ? TIME_FOREVER : to}};
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_places_of_serial(struct store *store, const char *serial, struct arena *arena, uint32_t **ret, size_t *ret_n,
                            struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error,
        "SELECT DISTINCT place FROM drop_ WHERE serial = ?1 COLLATE NOCASE AND serial != '' ORDER BY place", "t",
        serial);
    return collect_places(store, row, arena, ret, ret_n, error);
}

static struct path_fact read_path(struct arena *arena, sqlite3_stmt *row)
{
    return (struct path_fact){
        .path = column_text(arena, row, 0),
        .size = sqlite3_column_int64(row, 1),
        .modified_ns = sqlite3_column_int64(row, 2),
        .changed_ns = sqlite3_column_int64(row, 3),
        .inode = (uint64_t)sqlite3_column_int64(row, 4),
        .device = (uint64_t)sqlite3_column_int64(row, 5),
        .state = (enum drop_state)sqlite3_column_int(row, 6),
        .since = sqlite3_column_int64(row, 7),
        .drop = sqlite3_column_int64(row, 8),
        .attempts = sqlite3_column_int64(row, 9),
        .settings = (uint64_t)sqlite3_column_int64(row, 10),
        .message = column_text(arena, row, 11),
    };
}

static struct drop_fact_row read_drop(struct arena *arena, sqlite3_stmt *row)
{
    return (struct drop_fact_row){
        .number = sqlite3_column_int64(row, 0),
        .sha256 = column_text(arena, row, 1),
        .path = column_text(arena, row, 2),
        .original = column_text(arena, row, 3),
        .layout = column_text(arena, row, 4),
        .evidence = column_text(arena, row, 5),
        .complaints = column_text(arena, row, 6),
        .bytes = sqlite3_column_int64(row, 7),
        .arrived = sqlite3_column_int64(row, 8),
        .place = (uint32_t)sqlite3_column_int64(row, 9),
        .rows = sqlite3_column_int64(row, 10),
        .refused = sqlite3_column_int64(row, 11),
        .added = sqlite3_column_int64(row, 12),
        .repeated = sqlite3_column_int64(row, 13),
        .filled = sqlite3_column_int64(row, 14),
        .disagreed = sqlite3_column_int64(row, 15),
        .serial = column_text(arena, row, 16),
    };
}

static struct note read_note(struct arena *arena, sqlite3_stmt *row)
{
    return (struct note){
        .id = sqlite3_column_int64(row, 0),
        .drop = (uint32_t)sqlite3_column_int64(row, 1),
        .line = (uint32_t)sqlite3_column_int64(row, 2),
        .kind = (enum note_kind)sqlite3_column_int(row, 3),
        .time = sqlite3_column_int64(row, 4),
        .until = column_time(row, 5),
        .quantity = column_quantity(row, 6),
        .value = column_number(row, 7),
        .reference = column_number(row, 8),
        .text = column_text(arena, row, 9),
        .station = "",
    };
}
