/* SPDX-License-Identifier: MIT */
/* The outbox: messages to people, and what is known of each recipient. */
#include "base/timestamp.h"
#include "store/database.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ITEMS_MOST = 40 }; /* of a group or summary that a message can name; the rest it counts */

#define NOTICE_COLUMNS                                                                                                 \
    "id, uid, recipient, event, created, attempts, alarm, station, rule, start, raised, end_, worst, worst_time, "     \
    "last,"                                                                                                            \
    " last_time, detail, alarm_state, learnt, sequence, priority, station_name, rule_title, advice, rule_kind, unit,"  \
    " quantity, limit_, worst_written, last_written, decimals, utc_offset, data_until, body"

static struct notice read_notice(struct arena *arena, sqlite3_stmt *row);
/* By indices of what is due, and of the recipient's newest: never over all that was ever sent. */
bool store_delivery_trouble(struct store *store, const char *recipient, struct delivery_trouble *ret,
                            struct error *error)
{
    int64_t given_up = 0;
    *ret = (struct delivery_trouble){.since = TIME_NONE};
    if (!database_one(store, &given_up, error,
                      "SELECT CASE state WHEN 2 THEN next_try ELSE 0 END FROM notice WHERE recipient = ?1"
                      " AND state IN (1, 2) ORDER BY created DESC, id DESC LIMIT 1",
                      "t", recipient))
        return false;
    if (given_up != 0) {
        *ret = (struct delivery_trouble){given_up, true};
        return true;
    }
    return database_one(store, &ret->since, error,
                        "SELECT min(created) FROM notice INDEXED BY notice_due WHERE state = 0 AND attempts > 0"
                        " AND recipient = ?1",
                        "t", recipient);
}

static bool collect_notices(struct store *store, sqlite3_stmt *row, struct arena *arena, struct notice **ret,
                            size_t *ret_n, struct error *error);
static bool load_items(struct store *store, struct arena *arena, struct notice *notice, struct error *error);

bool store_notice_add(struct store *store, const struct notice *n, struct error *error)
{
    const struct episode *e = &n->alarm.episode;
    return database_run(
        store, error,
        "INSERT INTO notice(uid, recipient, event, created, state, attempts, next_try, answer, alarm,"
        " station, rule, start, raised, end_, worst, worst_time, last, last_time, detail, alarm_state,"
        " learnt, sequence, priority, station_name, rule_title, advice, rule_kind, unit, quantity, limit_,"
        " worst_written, last_written, decimals, utc_offset, data_until, body)"
        " VALUES(?1,?2,?3,?4,0,0,?4,'',?5,?6,?7,?8,?9,?10,?11,?12,?13,?14,?15,?16,?17,?18,?19,?20,?21,"
        " ?22,?23,?24,?25,?26,?27,?28,?29,?30,?31,?32)",
        "ttiiittiiTdiditiiiittttttdddiiTt", n->uid, n->recipient, (int64_t)n->event, n->created, n->alarm.id,
        n->alarm.station, n->alarm.rule, e->start, e->raised, e->end, e->worst, e->worst_time, e->last, e->last_time,
        e->detail, (int64_t)n->alarm.state, n->alarm.learnt, n->alarm.sequence, (int64_t)n->priority, n->station_name,
        n->rule_title, n->advice, n->rule_kind, n->unit, n->quantity, n->limit, n->worst, n->last, (int64_t)n->decimals,
        n->utc_offset, n->data_until, n->body ? n->body : "");
}

bool store_notices_due(struct store *store, int64_t now, size_t most, struct arena *arena, struct notice **ret,
                       size_t *ret_n, struct error *error)
{
    /* One to each recipient, so that a dead one never hides another's. An alarm's notices leave in order: a later one
     * waits for the earlier, also while that waits for its next try or for the message that tells it. */
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT " NOTICE_COLUMNS " FROM notice WHERE id IN (SELECT min(n.id) FROM notice n"
                       " WHERE n.state = 0 AND n.next_try <= ?1 AND NOT EXISTS (SELECT 1 FROM notice e"
                       "  LEFT JOIN notice g ON g.id = e.group_"
                       "  WHERE n.alarm > 0 AND e.alarm = n.alarm AND e.recipient = n.recipient AND e.id < n.id"
                       "  AND (e.state = 0 OR (g.state = 0 AND g.id <> n.id))) GROUP BY n.recipient)"
                       " ORDER BY id LIMIT ?2",
                       "ii", now, (int64_t)most);
    if (!collect_notices(store, row, arena, ret, ret_n, error))
        return false;
    for (size_t k = 0; k < *ret_n; k++)
        if (!load_items(store, arena, &(*ret)[k], error))
            return false;
    return true;
}

bool store_notices_fresh(struct store *store, int64_t now, struct arena *arena, struct fresh_notice **ret,
                         size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error,
        "SELECT id, alarm, created, recipient, rule, event, priority FROM notice n WHERE state = 0"
        " AND attempts = 0 AND next_try <= ?1 AND event NOT IN (4, 7, 8, 9)"
        " AND NOT EXISTS (SELECT 1 FROM notice e LEFT JOIN notice g ON g.id = e.group_"
        "  WHERE e.alarm = n.alarm AND e.recipient = n.recipient AND e.id < n.id"
        "  AND ((e.state = 0 AND (e.attempts > 0 OR e.next_try > ?1)) OR (g.state = 0 AND g.id <> n.id)))"
        " ORDER BY recipient, id",
        "i", now);
    struct fresh_notice *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = (struct fresh_notice){.id = sqlite3_column_int64(row, 0),
                                          .alarm = sqlite3_column_int64(row, 1),
                                          .created = sqlite3_column_int64(row, 2),
                                          .recipient = column_text(arena, row, 3),
                                          .rule = column_text(arena, row, 4),
                                          .event = (enum notice_event)sqlite3_column_int(row, 5),
                                          .priority = (enum priority)sqlite3_column_int(row, 6)};
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_notice_find(struct store *store, int64_t id, struct arena *arena, struct notice *ret, struct error *error)
{
    struct notice *list;
    size_t n;
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(store, error, "SELECT " NOTICE_COLUMNS " FROM notice WHERE id = ?1", "i", id);
    if (!collect_notices(store, row, arena, &list, &n, error))
        return false;
    if (n == 0)
        return fail(error, ERROR_STORAGE, "notice %" PRId64 " is gone from the database", id);
    *ret = list[0];
    return load_items(store, arena, ret, error);
}

bool store_notice_hold(struct store *store, int64_t id, int64_t until, struct error *error)
{
    return database_run(store, error, "UPDATE notice SET next_try = ?2 WHERE id = ?1", "ii", id, until);
}

bool store_notice_id(struct store *store, const char *uid, int64_t *ret, struct error *error)
{
    *ret = 0;
    return database_one(store, ret, error, "SELECT id FROM notice WHERE uid = ?1", "t", uid);
}

bool store_notice_gather(struct store *store, int64_t id, int64_t teller, struct error *error)
{
    return database_run(store, error, "UPDATE notice SET state = 3, group_ = ?2 WHERE id = ?1", "ii", id, teller);
}

bool store_raised_count(struct store *store, const char *recipient, struct span span, int64_t *ret, struct error *error)
{
    *ret = 0;
    return database_one(
        store, ret, error,
        "SELECT count(DISTINCT alarm) FROM notice WHERE recipient = ?1 AND created >= ?2 AND created < ?3"
        " AND event = 0",
        "tii", recipient, span.from, span.to);
}

bool store_raised_last(struct store *store, const char *recipient, const char *rule, int64_t since, int64_t *ret,
                       struct error *error)
{
    *ret = TIME_NONE;
    return database_one(store, ret, error,
                        "SELECT max(created) FROM notice WHERE recipient = ?1 AND rule = ?2 AND created >= ?3"
                        " AND event IN (0, 7) AND (state IN (1, 2) OR attempts > 0)",
                        "tti", recipient, rule, since);
}

bool store_notices_of_alarm(struct store *store, int64_t alarm, struct arena *arena, struct notice_fact **ret,
                            size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error,
        "SELECT n.recipient, n.event, n.created, coalesce(g.state, n.state), coalesce(g.attempts, n.attempts),"
        " coalesce(g.delivered, n.delivered), coalesce(g.next_try, n.next_try),"
        " coalesce(g.answer, n.answer), n.group_ IS NOT NULL"
        " FROM notice n LEFT JOIN notice g ON g.id = n.group_ WHERE n.alarm = ?1 ORDER BY n.id",
        "i", alarm);
    struct notice_fact *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = (struct notice_fact){.recipient = column_text(arena, row, 0),
                                         .event = (enum notice_event)sqlite3_column_int(row, 1),
                                         .created = sqlite3_column_int64(row, 2),
                                         .state = (enum notice_state)sqlite3_column_int(row, 3),
                                         .attempts = sqlite3_column_int64(row, 4),
                                         .delivered = column_time(row, 5),
                                         .next_try = sqlite3_column_int64(row, 6),
                                         .answer = column_text(arena, row, 7),
                                         .is_gathered = sqlite3_column_int(row, 8) != 0};
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_notice_outcome(struct store *store, int64_t id, struct arena *arena, struct notice_fact *ret,
                          struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error,
        "SELECT recipient, event, created, state, attempts, delivered, next_try, answer FROM notice WHERE id = ?1", "i",
        id);
    int got = row ? database_step(store, row, error) : -1;
    if (got > 0)
        *ret = (struct notice_fact){.recipient = column_text(arena, row, 0),
                                    .event = (enum notice_event)sqlite3_column_int(row, 1),
                                    .created = sqlite3_column_int64(row, 2),
                                    .state = (enum notice_state)sqlite3_column_int(row, 3),
                                    .attempts = sqlite3_column_int64(row, 4),
                                    .delivered = column_time(row, 5),
                                    .next_try = sqlite3_column_int64(row, 6),
                                    .answer = column_text(arena, row, 7)};
    return got > 0 || (got == 0 && fail(error, ERROR_STORAGE, "notice %" PRId64 " is gone from the database", id));
}

bool store_raised_newest(struct store *store, const char *recipient, int64_t *ret, struct error *error)
{
    *ret = TIME_NONE;
    return database_one(store, ret, error,
                        "SELECT created FROM notice WHERE recipient = ?1 AND event = 0 ORDER BY created DESC LIMIT 1",
                        "t", recipient);
}

bool store_raised_times(struct store *store, const char *recipient, int64_t since, struct arena *arena, int64_t **ret,
                        size_t *ret_n, struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error,
        "SELECT min(created) FROM notice WHERE recipient = ?1 AND created >= ?2 AND event = 0 GROUP BY alarm"
        " ORDER BY 1",
        "ti", recipient, since);
    int64_t *list = NULL;
    size_t n = 0, capacity = 0;
    int got = row ? 1 : -1;
    while (got > 0 && (got = database_step(store, row, error)) > 0) {
        list = x_grow(list, n, &capacity, sizeof *list);
        list[n++] = sqlite3_column_int64(row, 0);
    }
    *ret = to_arena(arena, list, n, sizeof *list);
    *ret_n = n;
    return got == 0;
}

bool store_chattering_count(struct store *store, const char *recipient, int64_t since, int64_t *ret,
                            struct error *error)
{
    *ret = 0;
    return database_one(store, ret, error,
                        "SELECT count(DISTINCT n.alarm) FROM notice n JOIN alarm a ON a.id = n.alarm"
                        " WHERE n.recipient = ?1 AND n.created >= ?2 AND n.event = 0 AND a.times >= 3",
                        "ti", recipient, since);
}

bool store_given_up_count(struct store *store, const char *recipient, struct span span, int64_t *ret,
                          struct error *error)
{
    *ret = 0;
    return database_one(
        store, ret, error,
        "SELECT count(*) FROM notice WHERE recipient = ?1 AND state = 2 AND next_try >= ?2 AND next_try < ?3", "tii",
        recipient, span.from, span.to);
}

bool store_listener_find(struct store *store, const char *recipient, struct listener_fact *ret, struct error *error)
{
    *ret = (struct listener_fact){.flood_since = TIME_NONE, .summary_at = TIME_NONE, .digest_at = TIME_NONE};
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error, "SELECT flood_since, summary_at, digest_at FROM listener WHERE recipient = ?1", "t", recipient);
    int got = row ? database_step(store, row, error) : -1;
    if (got > 0)
        *ret = (struct listener_fact){column_time(row, 0), column_time(row, 1), column_time(row, 2)};
    return got >= 0;
}

bool store_listener_put(struct store *store, const char *recipient, const struct listener_fact *fact,
                        struct error *error)
{
    return database_run(store, error, "INSERT OR REPLACE INTO listener VALUES(?1, ?2, ?3, ?4)", "tTTT", recipient,
                        fact->flood_since, fact->summary_at, fact->digest_at);
}

bool store_notice_deadline(struct store *store, int64_t now, int64_t *ret, struct error *error)
{
    *ret = TIME_FOREVER;
    return database_one(store, ret, error, "SELECT min(next_try) FROM notice WHERE state = 0 AND next_try > ?1", "i",
                        now);
}

bool store_notice_done(struct store *store, int64_t id, enum notice_state state, int64_t now, int64_t next_try,
                       const char *answer, struct error *error)
{
    return database_run(store, error,
                        "UPDATE notice SET state = ?2, attempts = attempts + 1, answer = ?4,"
                        " next_try = CASE WHEN ?2 = 2 THEN ?5 ELSE ?3 END," /* then: when it was given up */
                        " delivered = CASE WHEN ?2 = 1 THEN ?5 END WHERE id = ?1",
                        "iiiti", id, (int64_t)state, next_try, answer, now);
}

bool store_outbox_summary(struct store *store, struct arena *arena, struct outbox_line **ret, size_t *ret_n,
                          struct error *error)
{
    CLEANUP(database_reset)
    sqlite3_stmt *row = database_start(
        store, error,
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

static bool collect_notices(struct store *store, sqlite3_stmt *row, struct arena *arena, struct notice **ret,
                            size_t *ret_n, struct error *error)
{
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

/* Of each alarm the last word; the urgent first. */
static bool load_items(struct store *store, struct arena *arena, struct notice *notice, struct error *error)
{
    if (notice->event != NOTICE_GROUP && notice->event != NOTICE_SUMMARY)
        return true;
    struct notice *items;
    CLEANUP(database_reset)
    sqlite3_stmt *row =
        database_start(store, error,
                       "SELECT " NOTICE_COLUMNS " FROM notice WHERE group_ = ?1 AND id IN (SELECT max(id) FROM notice"
                       " WHERE group_ = ?1 GROUP BY alarm) ORDER BY priority DESC, id LIMIT ?2",
                       "ii", notice->id, (int64_t)ITEMS_MOST);
    if (!collect_notices(store, row, arena, &items, &notice->item_count, error))
        return false;
    notice->items = items;
    return database_one(store, &notice->item_total, error, "SELECT count(DISTINCT alarm) FROM notice WHERE group_ = ?1",
                        "i", notice->id);
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
        .body = column_text(arena, row, 33),
    };
    snprintf(notice.alarm.episode.detail, sizeof notice.alarm.episode.detail, "%s",
             (const char *)sqlite3_column_text(row, 16));
    return notice;
}
