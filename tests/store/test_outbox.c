/* SPDX-License-Identifier: MIT */
#include "base/random.h"
#include "base/timestamp.h"
#include "store/state.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static struct state state;

static void make_state(void)
{
    state_make(&state);
    state_begin(&state);
}

static void remove_state(void)
{
    state_done(&state);
}

TestSuite(outbox, .init = make_state, .fini = remove_state);

static struct alarm an_alarm(void)
{
    return (struct alarm){.station = "heron-creek",
                          .rule = "low-oxygen",
                          .episode = {.start = 100,
                                      .raised = 110,
                                      .end = TIME_NONE,
                                      .worst = 1.52,
                                      .worst_time = 120,
                                      .last = 1.83,
                                      .last_time = 130,
                                      .detail = "check reading 7.9 mg/L"},
                          .state = ALARM_UNACKNOWLEDGED,
                          .learnt = 5000,
                          .changed = 6000,
                          .sequence = 1,
                          .is_old_news = true};
}

static struct notice a_notice(const char *uid, const char *recipient, int64_t alarm)
{
    struct notice notice = {.uid = uid,
                            .recipient = recipient,
                            .event = NOTICE_UPDATED,
                            .created = 1000,
                            .alarm = an_alarm(),
                            .priority = PRIORITY_HIGH,
                            .station_name = "Heron Creek",
                            .rule_title = "Oxygen low",
                            .advice = "",
                            .rule_kind = "below",
                            .unit = "mg/L",
                            .quantity = "oxygen",
                            .limit = 3,
                            .worst = 1.52,
                            .last = NAN,
                            .decimals = 2,
                            .utc_offset = 10 * HOUR_MS,
                            .data_until = TIME_NONE};
    notice.alarm.id = alarm;
    return notice;
}

static void add_notice(const char *uid, const char *recipient, int64_t alarm)
{
    struct notice notice = a_notice(uid, recipient, alarm);
    OK(&state, store_notice_add(state.store, &notice, &state.error));
}

static struct notice *load_due(int64_t now, size_t most, size_t *ret_n)
{
    struct notice *list;
    OK(&state, store_notices_due(state.store, now, most, state.arena, &list, ret_n, &state.error));
    return list;
}

static void finish(int64_t id, enum notice_state how, int64_t now, int64_t next_try, const char *answer)
{
    OK(&state, store_notice_done(state.store, id, how, now, next_try, answer, &state.error));
}

Test(outbox, a_notice_comes_back_complete)
{
    struct notice sent = a_notice("n-1", "desk", 42);
    OK(&state, store_notice_add(state.store, &sent, &state.error));
    size_t n;
    struct notice *got = load_due(1000, 10, &n);
    cr_assert_eq(n, 1);
    cr_expect_str_eq(got->uid, "n-1");
    cr_expect_str_eq(got->recipient, "desk");
    cr_expect(got->event == NOTICE_UPDATED && got->created == 1000 && got->attempts == 0);
    const struct episode *e = &got->alarm.episode;
    cr_expect(got->alarm.id == 42 && e->start == 100 && e->raised == 110 && e->end == TIME_NONE);
    cr_expect(e->worst == 1.52 && e->worst_time == 120 && e->last == 1.83 && e->last_time == 130);
    cr_expect_str_eq(e->detail, "check reading 7.9 mg/L");
    cr_expect_str_eq(got->alarm.station, "heron-creek");
    cr_expect_str_eq(got->alarm.rule, "low-oxygen");
    cr_expect(got->alarm.state == ALARM_UNACKNOWLEDGED && got->alarm.learnt == 5000 && got->alarm.sequence == 1);
    cr_expect_str_eq(got->station_name, "Heron Creek");
    cr_expect_str_eq(got->rule_title, "Oxygen low");
    cr_expect_str_eq(got->advice, "");
    cr_expect_str_eq(got->rule_kind, "below");
    cr_expect_str_eq(got->unit, "mg/L");
    cr_expect_str_eq(got->quantity, "oxygen");
    cr_expect(got->priority == PRIORITY_HIGH && got->limit == 3 && got->worst == 1.52 && isnan(got->last));
    cr_expect(got->decimals == 2 && got->utc_offset == 10 * HOUR_MS && got->data_until == TIME_NONE);
}

Test(outbox, a_name_of_a_notice_is_used_once)
{
    add_notice("n-1", "desk", 42);
    struct notice again = a_notice("n-1", "pager", 42);
    cr_expect(!store_notice_add(state.store, &again, &state.error));
}

Test(outbox, each_recipient_is_due_one_notice_the_oldest)
{
    add_notice("a1", "desk", 1);
    add_notice("a2", "desk", 2);
    add_notice("b1", "pager", 1);
    add_notice("a3", "desk", 3);
    size_t n;
    struct notice *got = load_due(1000, 10, &n);
    cr_assert_eq(n, 2);
    cr_expect_str_eq(got[0].uid, "a1");
    cr_expect_str_eq(got[1].uid, "b1");
    got = load_due(1000, 1, &n);
    cr_assert_eq(n, 1);
    cr_expect_str_eq(got[0].uid, "a1");
    finish(got[0].id, NOTICE_DELIVERED, 1001, 0, "200");
    got = load_due(1000, 10, &n);
    cr_assert_eq(n, 2);
    cr_expect_str_eq(got[0].uid, "a2");
    load_due(999, 10, &n);
    cr_expect_eq(n, 0, "not before it was made");
}

Test(outbox, a_later_notice_of_an_alarm_waits_for_the_earlier_and_other_alarms_do_not)
{
    add_notice("raised", "desk", 1);
    add_notice("returned", "desk", 1);
    add_notice("other", "desk", 2);
    size_t n;
    struct notice *got = load_due(1000, 10, &n);
    finish(got[0].id, NOTICE_DUE, 1000, 5000, "timed out");
    got = load_due(2000, 10, &n);
    cr_assert_eq(n, 1);
    cr_expect_str_eq(got[0].uid, "other");
    finish(got[0].id, NOTICE_DELIVERED, 2000, 0, "ok");
    load_due(4999, 10, &n);
    cr_expect_eq(n, 0);
    got = load_due(5000, 10, &n);
    cr_assert_eq(n, 1);
    cr_expect_str_eq(got[0].uid, "raised");
    cr_expect_eq(got[0].attempts, 1);
    finish(got[0].id, NOTICE_GIVEN_UP, 5000, 0, "refused");
    got = load_due(5000, 10, &n);
    cr_assert_eq(n, 1);
    cr_expect_str_eq(got[0].uid, "returned");
}

Test(outbox, the_deadline_is_the_next_try_that_is_still_to_come)
{
    int64_t deadline;
    OK(&state, store_notice_deadline(state.store, 0, &deadline, &state.error));
    cr_expect_eq(deadline, TIME_FOREVER);
    add_notice("a", "desk", 1);
    add_notice("b", "pager", 1);
    size_t n;
    struct notice *got = load_due(1000, 10, &n);
    cr_assert_eq(n, 2);
    OK(&state, store_notice_deadline(state.store, 1000, &deadline, &state.error));
    cr_expect_eq(deadline, TIME_FOREVER, "both are due now");
    finish(got[0].id, NOTICE_DUE, 1000, 8000, "later");
    finish(got[1].id, NOTICE_DUE, 1000, 6000, "later");
    OK(&state, store_notice_deadline(state.store, 1000, &deadline, &state.error));
    cr_expect_eq(deadline, 6000);
    OK(&state, store_notice_deadline(state.store, 6000, &deadline, &state.error));
    cr_expect_eq(deadline, 8000);
    finish(got[0].id, NOTICE_DELIVERED, 1000, 0, "ok");
    OK(&state, store_notice_deadline(state.store, 6000, &deadline, &state.error));
    cr_expect_eq(deadline, TIME_FOREVER);
}

Test(outbox, the_summary_counts_by_recipient_and_keeps_the_last_answer)
{
    add_notice("a1", "desk", 1);
    add_notice("a2", "desk", 2);
    add_notice("a3", "desk", 3);
    add_notice("b1", "pager", 1);
    size_t n;
    struct notice *got = load_due(1000, 10, &n);
    finish(got[0].id, NOTICE_GIVEN_UP, 1000, 0, "550 no such box");
    finish(got[1].id, NOTICE_DELIVERED, 1000, 0, "250 ok");
    struct outbox_line *lines;
    OK(&state, store_outbox_summary(state.store, state.arena, &lines, &n, &state.error));
    cr_assert_eq(n, 2);
    cr_expect_str_eq(lines[0].recipient, "desk");
    cr_expect(lines[0].due == 2 && lines[0].given_up == 1 && lines[0].delivered == 0 && lines[0].oldest_due == 1000);
    cr_expect_str_eq(lines[0].last_answer, "550 no such box");
    cr_expect(lines[1].due == 0 && lines[1].delivered == 1 && lines[1].oldest_due == TIME_NONE);
    cr_expect_str_eq(lines[1].last_answer, "");
}

enum { NOTICES = 120, RECIPIENTS = 4, ALARMS = 6 };

/* A post office of chance: some deliveries fail and are tried later, and all arrive in the end, each once. */
Test(outbox, notices_of_an_alarm_reach_a_recipient_in_order_whatever_fails)
{
    uint64_t random = 1;
    int64_t alarm_of[NOTICES + 1], next_try[NOTICES + 1] = {0}, last[RECIPIENTS][ALARMS + 1] = {{0}};
    size_t delivered = 0;
    for (int64_t i = 1; i <= NOTICES; i++) {
        char uid[16], recipient[16];
        snprintf(uid, sizeof uid, "n-%d", (int)i);
        snprintf(recipient, sizeof recipient, "%zu", random_index(&random, RECIPIENTS));
        alarm_of[i] = 1 + (int64_t)random_index(&random, ALARMS);
        add_notice(uid, recipient, alarm_of[i]);
    }
    for (int64_t now = 1000; delivered < NOTICES; now += 7) {
        cr_assert_lt(now, 100000, "%zu of %d delivered", delivered, NOTICES);
        size_t n;
        struct notice *due = load_due(now, 3, &n);
        cr_assert_leq(n, 3);
        bool has_one[RECIPIENTS] = {false};
        for (size_t k = 0; k < n; k++) {
            size_t who = (size_t)(due[k].recipient[0] - '0');
            cr_assert(!has_one[who], "two to one recipient");
            has_one[who] = true;
            cr_assert_leq(next_try[due[k].id], now, "before its time");
            cr_assert_lt(last[who][due[k].alarm.id], due[k].id, "out of order");
            bool fails = random_index(&random, 3) == 0;
            next_try[due[k].id] = now + random_between(&random, 1, 200);
            finish(due[k].id, fails ? NOTICE_DUE : NOTICE_DELIVERED, now, next_try[due[k].id], "");
            if (fails)
                continue;
            last[who][due[k].alarm.id] = due[k].id;
            delivered++;
        }
        arena_reset(state.arena);
    }
    size_t n;
    load_due(TIME_FOREVER, NOTICES, &n);
    cr_expect_eq(n, 0);
}

/* Groups, digests and tests are about no single alarm: one that cannot be delivered holds up no other. */
Test(outbox, what_is_about_no_alarm_has_no_order)
{
    add_notice("group-1", "desk", 0);
    add_notice("group-2", "desk", 0);
    finish(1, NOTICE_DUE, 1000, 900000, "answered 413");
    size_t n;
    struct notice *got = load_due(2000, 10, &n);
    cr_assert_eq(n, 1);
    cr_expect_str_eq(got[0].uid, "group-2");
}

Test(outbox, tells_what_came_of_one_notice)
{
    struct notice_fact fact;
    add_notice("n-1", "desk", 0);
    OK(&state, store_notice_outcome(state.store, 1, state.arena, &fact, &state.error));
    cr_expect(fact.attempts == 0 && fact.state == NOTICE_DUE && fact.delivered == TIME_NONE);
    finish(1, NOTICE_DELIVERED, 1500, 0, "answered 204");
    OK(&state, store_notice_outcome(state.store, 1, state.arena, &fact, &state.error));
    cr_expect(fact.attempts == 1 && fact.state == NOTICE_DELIVERED && fact.delivered == 1500);
    cr_expect_str_eq(fact.answer, "answered 204");
    cr_expect_not(store_notice_outcome(state.store, 99, state.arena, &fact, &state.error));
}
