/* SPDX-License-Identifier: MIT */
#include "base/timestamp.h"
#include "store/state.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

static struct state state;

static void make_state(void)
{
    state_make(&state);
}

static void remove_state(void)
{
    state_done(&state);
}

TestSuite(retention, .init = make_state, .fini = remove_state);

static int64_t add_alarm(enum alarm_state how, int64_t changed)
{
    struct alarm alarm = {.station = "heron-creek",
                          .rule = "low-oxygen",
                          .episode = {.start = changed, .raised = changed, .end = TIME_NONE, .detail = ""},
                          .state = how,
                          .changed = changed,
                          .learnt = changed};
    OK(&state, store_alarm_put(state.store, &alarm, "rillward", "raised", &state.error));
    return alarm.id;
}

static int64_t add_notice(const char *uid, int64_t alarm, int64_t created, enum notice_state how)
{
    struct notice notice = {.uid = uid,
                            .recipient = "desk",
                            .event = NOTICE_RAISED,
                            .created = created,
                            .station_name = "",
                            .rule_title = "",
                            .advice = "",
                            .rule_kind = "below",
                            .unit = "",
                            .quantity = "",
                            .data_until = TIME_NONE};
    notice.alarm = (struct alarm){.id = alarm, .station = "heron-creek", .rule = "low-oxygen"};
    int64_t id;
    OK(&state, store_notice_add(state.store, &notice, &state.error));
    OK(&state, store_notice_id(state.store, uid, &id, &state.error));
    if (how != NOTICE_DUE)
        OK(&state, store_notice_done(state.store, id, how, created, created, "", &state.error));
    return id;
}

static size_t forget(int64_t before, size_t most)
{
    size_t n;
    OK(&state, store_notices_forget(state.store, before, most, &n, &state.error));
    return n;
}

Test(retention, notices_that_are_done_go_when_their_alarm_is_over)
{
    state_begin(&state);
    int64_t over = add_alarm(ALARM_NORMAL, 100), open = add_alarm(ALARM_UNACKNOWLEDGED, 100);
    int64_t over_lately = add_alarm(ALARM_NORMAL, 900);
    add_notice("gone-1", over, 100, NOTICE_DELIVERED);
    add_notice("gone-2", over, 110, NOTICE_GIVEN_UP);
    add_notice("a digest", 0, 120, NOTICE_DELIVERED);
    add_notice("due", over, 100, NOTICE_DUE);
    add_notice("young", over, 500, NOTICE_DELIVERED);
    add_notice("open", open, 100, NOTICE_DELIVERED);
    add_notice("lately", over_lately, 100, NOTICE_DELIVERED);
    cr_expect_eq(forget(500, 2), 2, "no more than asked for");
    cr_expect_eq(forget(500, 2), 1);
    cr_expect_eq(forget(500, 2), 0);
    state_commit(&state);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM notice"), 4);
    cr_expect_eq(
        state_query(&state, "SELECT count(*) FROM notice WHERE uid IN ('due', 'young', 'open', 'lately')"), 4);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM alarm"), 3, "alarms stay");
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM alarm_step"), 3, "and each of their steps");
}

Test(retention, a_notice_that_tells_others_goes_after_them)
{
    state_begin(&state);
    int64_t over = add_alarm(ALARM_NORMAL, 100), open = add_alarm(ALARM_ACKNOWLEDGED, 100);
    int64_t teller = add_notice("teller", over, 100, NOTICE_DELIVERED);
    int64_t told = add_notice("told", open, 100, NOTICE_DUE);
    OK(&state, store_notice_gather(state.store, told, teller, &state.error));
    cr_expect_eq(forget(500, 10), 0);
    state_commit(&state);
    state_execute(&state, "UPDATE alarm SET state = 3");
    state_begin(&state);
    cr_expect_eq(forget(500, 10), 1);
    cr_expect_eq(forget(500, 10), 1);
    state_commit(&state);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM notice"), 0);
}
_Static_assert(ALARM_NORMAL == 3, "stands in the statement above");

static void add_name(const char *path, enum drop_state how, int64_t since)
{
    struct path_fact fact = {.path = path, .state = how, .since = since, .message = ""};
    OK(&state, store_path_put(state.store, &fact, &state.error));
}

Test(retention, names_come_in_their_order_and_can_be_forgotten)
{
    state_begin(&state);
    add_name("c", DROP_REPEATED, 100);
    add_name("a", DROP_TAKEN, 100);
    add_name("b", DROP_TAKEN, 900);
    add_name("d", DROP_SET_ASIDE, 100);
    add_name("e", DROP_WAITING, 100);
    const char **names;
    size_t n;
    OK(&state, store_names_before(state.store, 500, "", 1, state.arena, &names, &n, &state.error));
    cr_assert_eq(n, 1);
    cr_expect_str_eq(names[0], "a");
    OK(&state, store_names_before(state.store, 500, "a", 10, state.arena, &names, &n, &state.error));
    cr_assert_eq(n, 1);
    cr_expect_str_eq(names[0], "c");
    OK(&state, store_name_forget(state.store, "c", &state.error));
    state_commit(&state);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM path"), 4);
}

Test(retention, a_database_that_is_mostly_empty_is_written_anew)
{
    bool did;
    OK(&state, store_compact(state.store, 1, &did, &state.error));
    cr_expect_not(did, "nothing is empty yet");
    state_execute(&state, "CREATE TABLE much(b BLOB) STRICT; INSERT INTO much VALUES(zeroblob(4000000)); "
                          "INSERT INTO place(key) VALUES('kept')");
    int64_t before = state_query(&state, "PRAGMA page_count");
    state_execute(&state, "DROP TABLE much");
    OK(&state, store_compact(state.store, 1 << 30, &did, &state.error));
    cr_expect_not(did, "too little to be worth it");
    OK(&state, store_compact(state.store, 1, &did, &state.error));
    cr_expect(did);
    cr_expect_lt(state_query(&state, "PRAGMA page_count") * 4, before);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM place WHERE key = 'kept'"), 1);
    OK(&state, store_check_integrity(state.store, &state.error));
}
