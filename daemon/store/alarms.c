/* SPDX-License-Identifier: MIT */
/* Alarms and their steps. */
#include "base/timestamp.h"
#include "store/database.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ALARM_COLUMNS                                                                                                  \
    "id, station, rule, start, raised, end_, worst, worst_time, last, last_time, detail, state, learnt, changed,"      \
    " sequence, is_old_news, shelved_until, shelf_reason, asked, told, escalated, times"
static struct alarm read_alarm(struct arena *arena, sqlite3_stmt *row);
static bool collect_alarms(struct store *store, sqlite3_stmt *row, struct arena *arena, struct alarm **ret,
                           size_t *ret_n, struct error *error);

bool store_alarms_touching(struct store *store, const char *station, const char *rule, struct span span,
                           struct arena *arena, struct alarm **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT " ALARM_COLUMNS " FROM alarm WHERE station = ?1 AND rule = ?2 AND start <= ?4"
                       " AND coalesce(end_, 9223372036854775807) >= ?3 ORDER BY start, id",
                       "ttii", station, rule, span.from, span.to);
    return collect_alarms(store, row, arena, ret, ret_n, error);
}

bool store_alarms_open(struct store *store, struct arena *arena, struct alarm **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error, "SELECT " ALARM_COLUMNS " FROM alarm WHERE state IN (0, 1, 2, 4) ORDER BY station, rule, start",
        "");
    return collect_alarms(store, row, arena, ret, ret_n, error);
}

bool store_alarms_of_rule(struct store *store, const char *rule, struct arena *arena, struct alarm **ret, size_t *ret_n,
                          struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error,
                                       "SELECT " ALARM_COLUMNS
                                       " FROM alarm WHERE state IN (0, 1, 2, 4) AND rule = ?1 ORDER BY station, start",
                                       "t", rule);
    return collect_alarms(store, row, arena, ret, ret_n, error);
}

bool store_alarms_of_station(struct store *store, const char *station, struct span span, size_t most,
                             struct arena *arena, struct alarm **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT " ALARM_COLUMNS " FROM alarm WHERE station = ?1 AND start < ?3"
                       " AND coalesce(end_, 9223372036854775807) >= ?2 ORDER BY start DESC, id DESC LIMIT ?4",
                       "tiii", station, span.from, span.to, (int64_t)most);
    return collect_alarms(store, row, arena, ret, ret_n, error);
}

bool store_alarms_shelved(struct store *store, struct arena *arena, struct alarm **ret, size_t *ret_n,
                          struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error, "SELECT " ALARM_COLUMNS " FROM alarm WHERE shelved_until IS NOT NULL ORDER BY shelved_until, id",
        "");
    return collect_alarms(store, row, arena, ret, ret_n, error);
}

bool store_alarms_asked(struct store *store, struct arena *arena, struct alarm **ret, size_t *ret_n,
                        struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error, "SELECT " ALARM_COLUMNS " FROM alarm WHERE asked IS NOT NULL ORDER BY asked, id", "");
    return collect_alarms(store, row, arena, ret, ret_n, error);
}

bool store_alarms_learnt(struct store *store, struct span span, struct arena *arena, struct alarm **ret, size_t *ret_n,
                         struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error, "SELECT " ALARM_COLUMNS " FROM alarm WHERE learnt >= ?1 AND learnt < ?2 ORDER BY id", "ii",
        span.from, span.to);
    return collect_alarms(store, row, arena, ret, ret_n, error);
}

bool store_alarm_find(struct store *store, int64_t id, struct arena *arena, struct alarm *ret, bool *ret_found,
                      struct error *error)
{
    struct alarm *list;
    size_t n;
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error, "SELECT " ALARM_COLUMNS " FROM alarm WHERE id = ?1", "i", id);
    if (!collect_alarms(store, row, arena, &list, &n, error))
        return false;
    *ret_found = n > 0;
    if (n > 0)
        *ret = list[0];
    return true;
}

bool store_shelf_find(struct store *store, const char *station, const char *rule, int64_t now, struct arena *arena,
                      struct shelf_fact *ret, struct error *error)
{
    *ret = (struct shelf_fact){.until = TIME_NONE, .reason = ""};
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT shelved_until, shelf_reason FROM alarm WHERE shelved_until > ?3 AND station = ?1"
                       " AND rule = ?2 ORDER BY shelved_until DESC LIMIT 1",
                       "tti", station, rule, now);
    int got = row ? database_step(store, row, error) : -1;
    if (got > 0)
        *ret = (struct shelf_fact){.until = column_time(row, 0), .reason = column_text(arena, row, 1)};
    return got >= 0;
}

bool store_alarms_count(struct store *store, const char *station, const char *rule, struct span span, int64_t *ret,
                        struct error *error)
{
    *ret = 0;
    return database_one(store, ret, error,
                        "SELECT count(*) FROM alarm WHERE station = ?1 AND rule = ?2 AND start >= ?3 AND start < ?4"
                        " AND state <> 5",
                        "ttii", station, rule, span.from, span.to);
}

bool store_alarm_steps(struct store *store, int64_t alarm, struct arena *arena, struct step_fact **ret, size_t *ret_n,
                       struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error, "SELECT at, who, what, state FROM alarm_step WHERE alarm = ?1 ORDER BY rowid", "i", alarm);
    struct step_fact *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = (struct step_fact){sqlite3_column_int64(row, 0), column_text(arena, row, 1),
                                       column_text(arena, row, 2), (enum alarm_state)sqlite3_column_int(row, 3)};
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_alarm_put(struct store *store, struct alarm *a, const char *who, const char *what, struct error *error)
{
    const struct episode *e = &a->episode;
    bool is_new = a->id == 0;
    if (is_new && (!database_one(store, &a->id, error, "SELECT coalesce(max(id), 0) FROM alarm", "")))
        return false;
    a->id += is_new;
    if (!database_run(
            store, error,
            "INSERT INTO alarm(" ALARM_COLUMNS ") VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15,?16,"
            " ?17,?18,?19,?20,?21,?22)"
            " ON CONFLICT(id) DO UPDATE SET start = excluded.start, raised = excluded.raised,"
            " end_ = excluded.end_, worst = excluded.worst, worst_time = excluded.worst_time,"
            " last = excluded.last, last_time = excluded.last_time, detail = excluded.detail,"
            " state = excluded.state, changed = excluded.changed, sequence = excluded.sequence,"
            " is_old_news = excluded.is_old_news, shelved_until = excluded.shelved_until,"
            " shelf_reason = excluded.shelf_reason, asked = excluded.asked, told = excluded.told,"
            " escalated = excluded.escalated, times = excluded.times",
            "ittiiTdiditiiiiiTtTTTi", a->id, a->station, a->rule, e->start, e->raised, e->end,
            isnan(e->worst) ? 0.0 : e->worst, e->worst_time, isnan(e->last) ? 0.0 : e->last, e->last_time, e->detail,
            (int64_t)a->state, a->learnt, a->changed, a->sequence, (int64_t)a->is_old_news, a->shelved_until,
            a->shelf_reason ? a->shelf_reason : "", a->asked, a->told, a->escalated, a->times))
        return false;
    return !what || database_run(store, error, "INSERT INTO alarm_step VALUES(?1, ?2, ?3, ?4, ?5)", "iitti", a->id,
                                 a->changed, who, what, (int64_t)a->state);
}

static bool collect_alarms(struct store *store, sqlite3_stmt *row, struct arena *arena, struct alarm **ret,
                           size_t *ret_n, struct error *error)
{
    struct alarm *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_alarm(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

static struct alarm read_alarm(struct arena *arena, sqlite3_stmt *row)
{
    struct alarm alarm = {
        .id = sqlite3_column_int64(row, 0),
        .station = column_text(arena, row, 1),
        .rule = column_text(arena, row, 2),
        .episode = {.start = sqlite3_column_int64(row, 3),
                    .raised = sqlite3_column_int64(row, 4),
                    .end = column_time(row, 5),
                    .worst = column_number(row, 6),
                    .worst_time = sqlite3_column_int64(row, 7),
                    .last = column_number(row, 8),
                    .last_time = sqlite3_column_int64(row, 9)},
        .state = (enum alarm_state)sqlite3_column_int(row, 11),
        .learnt = sqlite3_column_int64(row, 12),
        .changed = sqlite3_column_int64(row, 13),
        .sequence = sqlite3_column_int64(row, 14),
        .is_old_news = sqlite3_column_int(row, 15) != 0,
        .shelved_until = column_time(row, 16),
        .shelf_reason = column_text(arena, row, 17),
        .asked = column_time(row, 18),
        .told = column_time(row, 19),
        .escalated = column_time(row, 20),
        .times = sqlite3_column_int64(row, 21),
    };
    snprintf(alarm.episode.detail, sizeof alarm.episode.detail, "%s", (const char *)sqlite3_column_text(row, 10));
    return alarm;
}

bool store_answer_is_known(struct store *store, const char *path, const char *key, bool *ret, struct error *error)
{
    int64_t count = 0;
    bool is_asked = database_one(store, &count, error, "SELECT count(*) FROM answer_line WHERE path = ?1 AND key = ?2",
                                 "pt", path, key);
    *ret = count > 0;
    return is_asked;
}

bool store_answer_add(struct store *store, const struct answer_fact *fact, struct error *error)
{
    return database_run(store, error,
                        "INSERT INTO answer_line(path, key, line, at, who, said, is_given)"
                        " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                        "ptiitti", fact->path, fact->key, fact->line, fact->at, fact->who, fact->said,
                        (int64_t)fact->is_given);
}

bool store_answers_newest(struct store *store, int64_t since, size_t most, struct arena *arena,
                          struct answer_fact **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error,
                                       "SELECT path, key, line, at, who, said, is_given FROM answer_line"
                                       " WHERE at >= ?1 ORDER BY id DESC LIMIT ?2",
                                       "ii", since, (int64_t)most);
    struct answer_fact *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = (struct answer_fact){.path = column_text(arena, row, 0),
                                         .key = column_text(arena, row, 1),
                                         .line = sqlite3_column_int64(row, 2),
                                         .at = sqlite3_column_int64(row, 3),
                                         .who = column_text(arena, row, 4),
                                         .said = column_text(arena, row, 5),
                                         .is_given = sqlite3_column_int(row, 6) != 0};
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}
