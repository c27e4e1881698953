/* SPDX-License-Identifier: MIT */
/* Rows about people: alarms, their steps, and the outbox. */
#include "base/timestamp.h"
#include "store/database.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ALARM_COLUMNS                                                                                                  \
    "id, station, rule, start, raised, end_, worst, worst_time, last, last_time, detail, state, learnt, changed,"      \
    " sequence, is_old_news"
#define NOTICE_COLUMNS                                                                                                 \
    "id, uid, recipient, event, created, attempts, alarm, station, rule, start, raised, end_, worst, worst_time, last,"\
    " last_time, detail, alarm_state, learnt, sequence, priority, station_name, rule_title, advice, rule_kind, unit,"  \
    " quantity, limit_, worst_written, last_written, decimals, utc_offset, data_until"

static struct alarm read_alarm(struct arena *arena, sqlite3_stmt *row);
static struct notice read_notice(struct arena *arena, sqlite3_stmt *row);
static bool collect_alarms(struct store *store, sqlite3_stmt *row, struct arena *arena, struct alarm **ret, size_t *ret_n,
                           struct error *error);

bool store_alarms_touching(struct store *store, const char *station, const char *rule, struct span span,
                           struct arena *arena, struct alarm **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset) sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT " ALARM_COLUMNS " FROM alarm WHERE station = ?1 AND rule = ?2 AND start <= ?4"
                       " AND coalesce(end_, 9223372036854775807) >= ?3 ORDER BY start, id",
                       "ttii", station, rule, span.from, span.to);
    return collect_alarms(store, row, arena, ret, ret_n, error);
}

bool store_alarms_open(struct store *store, struct arena *arena, struct alarm **ret, size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset) sqlite3_stmt *row = database_start(
        store, error, "SELECT " ALARM_COLUMNS " FROM alarm WHERE state IN (0, 1, 2, 4) ORDER BY station, rule, start", "");
    return collect_alarms(store, row, arena, ret, ret_n, error);
}

bool store_alarms_of_rule(struct store *store, const char *rule, struct arena *arena, struct alarm **ret, size_t *ret_n,
                          struct error *error)
{
    CLEANUP(database_reset) sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT " ALARM_COLUMNS " FROM alarm WHERE state IN (0, 1, 2, 4) AND rule = ?1 ORDER BY station, start",
                       "t", rule);
    return collect_alarms(store, row, arena, ret, ret_n, error);
}

bool store_alarm_put(struct store *store, struct alarm *a, const char *who, const char *what, struct error *error)
{
    const struct episode *e = &a->episode;
    bool is_new = a->id == 0;
    if (is_new && (!database_one(store, &a->id, error, "SELECT coalesce(max(id), 0) FROM alarm", "")))
        return false;
    a->id += is_new;
    if (!database_run(store, error,
                      "INSERT INTO alarm(" ALARM_COLUMNS ") VALUES(?1,?2,?3,?4,?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15,?16)"
                      " ON CONFLICT(id) DO UPDATE SET start = excluded.start, raised = excluded.raised,"
                      " end_ = excluded.end_, worst = excluded.worst, worst_time = excluded.worst_time,"
                      " last = excluded.last, last_time = excluded.last_time, detail = excluded.detail,"
                      " state = excluded.state, changed = excluded.changed, sequence = excluded.sequence,"
                      " is_old_news = excluded.is_old_news",
                      "ittiiTdiditiiiii", a->id, a->station, a->rule, e->start, e->raised, e->end,
                      isnan(e->worst) ? 0.0 : e->worst, e->worst_time, isnan(e->last) ? 0.0 : e->last, e->last_time,
                      e->detail, (int64_t)a->state, a->learnt, a->changed, a->sequence, (int64_t)a->is_old_news))
        return false;
    return !what || database_run(store, error, "INSERT INTO alarm_step VALUES(?1, ?2, ?3, ?4, ?5)", "iitti", a->id,
                                 a->changed, who, what, (int64_t)a->state);
}

bool store_notice_add(struct store *store, const struct notice *n, struct error *error)
{
    const struct episode *e = &n->alarm.episode;
    return database_run(store, error,
                        "INSERT INTO notice(uid, recipient, event, created, state, attempts, next_try, answer, alarm,"
                        " station, rule, start, raised, end_, worst, worst_time, last, last_time, detail, alarm_state,"
                        " learnt, sequence, priority, station_name, rule_title, advice, rule_kind, unit, quantity, limit_,"
                        " worst_written, last_written, decimals, utc_offset, data_until)"
                        " VALUES(?1,?2,?3,?4,0,0,?4,'',?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15,?16,?17,?18,?19,?20,?21,"
                        " ?22,?23,?24,?25,?26,?27,?28,?29,?30,?31)",
                        "ttiiittiiTdiditiiiittttttdddiiT", n->uid, n->recipient, (int64_t)n->event, n->created,
                        n->alarm.id, n->alarm.station, n->alarm.rule, e->start, e->raised, e->end, e->worst, e->worst_time,
                        e->last, e->last_time, e->detail, (int64_t)n->alarm.state, n->alarm.learnt, n->alarm.sequence,
                        (int64_t)n->priority, n->station_name, n->rule_title, n->advice, n->rule_kind, n->unit,
                        n->quantity, n->limit, n->worst, n->last, (int64_t)n->decimals, n->utc_offset, n->data_until);
}

bool store_notices_due(struct store *store, int64_t now, size_t most, struct arena *arena, struct notice **ret,
                       size_t *ret_n, struct error *error)
{
    /* One to each recipient, so that a dead one never hides another's. An alarm's notices leave in order: a later one
     * waits for the earlier, also while that waits for its next try. */
    CLEANUP(database_reset) sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT " NOTICE_COLUMNS " FROM notice WHERE id IN (SELECT min(n.id) FROM notice n"
                       " WHERE n.state = 0 AND n.next_try <= ?1 AND NOT EXISTS (SELECT 1 FROM notice e WHERE e.state = 0"
                       "  AND e.alarm = n.alarm AND e.recipient = n.recipient AND e.id < n.id) GROUP BY n.recipient)"
                       " ORDER BY id LIMIT ?2",
                       "ii", now, (int64_t)most);
    struct notice *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = read_notice(arena, row);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_notice_deadline(struct store *store, int64_t now, int64_t *ret, struct error *error)
{
    *ret = TIME_FOREVER;
    return database_one(store, ret, error, "SELECT min(next_try) FROM notice WHERE state = 0 AND next_try > ?1", "i", now);
}

bool store_notice_done(struct store *store, int64_t id, enum notice_state state, int64_t now, int64_t next_try,
                       const char *answer, struct error *error)
{
    return database_run(store, error,
                        "UPDATE notice SET state = ?2, attempts = attempts + 1, next_try = ?3, answer = ?4,"
                        " delivered = CASE WHEN ?2 = 1 THEN ?5 END WHERE id = ?1",
                        "iiiti", id, (int64_t)state, next_try, answer, now);
}

bool store_outbox_summary(struct store *store, struct arena *arena, struct outbox_line **ret, size_t *ret_n,
                          struct error *error)
{
    CLEANUP(database_reset) sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT recipient, sum(state = 0), sum(state = 1), sum(state = 2),"
                       " min(CASE WHEN state = 0 THEN created END),"
                       " coalesce((SELECT answer FROM notice b WHERE b.recipient = a.recipient AND state <> 1"
                       "  AND answer <> '' ORDER BY id LIMIT 1), '') FROM notice a GROUP BY recipient ORDER BY recipient",
                       "");
    struct outbox_line *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = (struct outbox_line){column_text(arena, row, 0),   sqlite3_column_int64(row, 1),
                                         sqlite3_column_int64(row, 2), sqlite3_column_int64(row, 3),
                                         column_time(row, 4),          column_text(arena, row, 5)};
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

static bool collect_alarms(struct store *store, sqlite3_stmt *row, struct arena *arena, struct alarm **ret, size_t *ret_n,
                           struct error *error)
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
    };
    snprintf(alarm.episode.detail, sizeof alarm.episode.detail, "%s", (const char *)sqlite3_column_text(row, 10));
    return alarm;
}

static struct notice read_notice(struct arena *arena, sqlite3_stmt *row)
{
    struct notice notice = {
        .id = sqlite3_column_int64(row, 0),
        .uid = column_text(arena, row, 1),
        .recipient = column_text(arena, row, 2),
        .event = (enum notice_event)sqlite3_column_int(row, 3),
        .created = sqlite3_column_int64(row, 4),
        .attempts = sqlite3_column_int64(row, 5),
        .alarm = {.id = sqlite3_column_int64(row, 6),
                  .station = column_text(arena, row, 7),
                  .rule = column_text(arena, row, 8),
                  .episode = {.start = sqlite3_column_int64(row, 9),
                              .raised = sqlite3_column_int64(row, 10),
                              .end = column_time(row, 11),
                              .worst = column_number(row, 12),
                              .worst_time = sqlite3_column_int64(row, 13),
                              .last = column_number(row, 14),
                              .last_time = sqlite3_column_int64(row, 15)},
                  .state = (enum alarm_state)sqlite3_column_int(row, 17),
                  .learnt = sqlite3_column_int64(row, 18),
                  .changed = sqlite3_column_int64(row, 4),
                  .sequence = sqlite3_column_int64(row, 19)},
        .priority = (enum priority)sqlite3_column_int(row, 20),
        .station_name = column_text(arena, row, 21),
        .rule_title = column_text(arena, row, 22),
        .advice = column_text(arena, row, 23),
        .rule_kind = column_text(arena, row, 24),
        .unit = column_text(arena, row, 25),
        .quantity = column_text(arena, row, 26),
        .limit = column_number(row, 27),
        .worst = column_number(row, 28),
        .last = column_number(row, 29),
        .decimals = sqlite3_column_int(row, 30),
        .utc_offset = sqlite3_column_int64(row, 31),
        .data_until = column_time(row, 32),
    };
    snprintf(notice.alarm.episode.detail, sizeof notice.alarm.episode.detail, "%s",
             (const char *)sqlite3_column_text(row, 16));
    return notice;
}
