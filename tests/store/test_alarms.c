/* SPDX-License-Identifier: MIT */
#include "base/timestamp.h"
#include "store/state.h"

#include <criterion/criterion.h>
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

TestSuite(alarms, .init = make_state, .fini = remove_state);

static struct alarm an_alarm(const char *station, int64_t start, int64_t end)
{
    return (struct alarm){.station = station,
                          .rule = "low-oxygen",
                          .episode = {.start = start,
                                      .raised = start + 10,
                                      .end = end,
                                      .worst = 1.52,
                                      .worst_time = start + 20,
                                      .last = 1.83,
                                      .last_time = start + 30,
                                      .detail = "check reading 7.9 mg/L"},
                          .state = ALARM_UNACKNOWLEDGED,
                          .learnt = 5000,
                          .changed = 6000,
                          .sequence = 1,
                          .is_old_news = true};
}

static int64_t put_alarm(struct alarm *alarm)
{
    OK(&state, store_alarm_put(state.store, alarm, "service", "raised", &state.error));
    return alarm->id;
}

static struct alarm *find_touching(int64_t from, int64_t to, size_t *ret_n)
{
    struct alarm *list;
    OK(&state, store_alarms_touching(state.store, "heron-creek", "low-oxygen", (struct span){from, to}, state.arena,
                                     &list, ret_n, &state.error));
    return list;
}

static void expect_alarm(const struct alarm *got, const struct alarm *expected)
{
    const struct episode *a = &got->episode, *b = &expected->episode;
    cr_expect_eq(got->id, expected->id);
    cr_expect_str_eq(got->station, expected->station);
    cr_expect_str_eq(got->rule, expected->rule);
    cr_expect(a->start == b->start && a->raised == b->raised && a->end == b->end);
    cr_expect(a->worst == b->worst && a->worst_time == b->worst_time);
    cr_expect(a->last == b->last && a->last_time == b->last_time);
    cr_expect_str_eq(a->detail, b->detail);
    cr_expect(got->state == expected->state && got->learnt == expected->learnt && got->changed == expected->changed);
    cr_expect(got->sequence == expected->sequence && got->is_old_news == expected->is_old_news);
}

Test(alarms, an_alarm_comes_back_as_it_was_and_as_it_was_changed)
{
    struct alarm alarm = an_alarm("heron-creek", 1000, TIME_NONE);
    cr_expect_neq(put_alarm(&alarm), 0);
    size_t n;
    struct alarm *got = find_touching(0, 5000, &n);
    cr_assert_eq(n, 1);
    expect_alarm(&got[0], &alarm);
    alarm.episode = (struct episode){900, 910, 2000, 1.1, 1900, 3.3, 1950, "grown"};
    alarm.state = ALARM_RETURNED_UNACKNOWLEDGED;
    alarm.changed = 7000;
    alarm.sequence = 2;
    alarm.is_old_news = false;
    int64_t id = alarm.id;
    cr_expect_eq(put_alarm(&alarm), id, "the same alarm");
    got = find_touching(0, 5000, &n);
    cr_assert_eq(n, 1);
    expect_alarm(&got[0], &alarm);
}

Test(alarms, every_step_is_kept_for_proof_unless_there_is_nothing_to_say)
{
    struct alarm alarm = an_alarm("heron-creek", 1000, TIME_NONE);
    put_alarm(&alarm);
    alarm.state = ALARM_ACKNOWLEDGED;
    OK(&state, store_alarm_put(state.store, &alarm, "pat", "acknowledged: on the way", &state.error));
    OK(&state, store_alarm_put(state.store, &alarm, "service", NULL, &state.error));
    state_commit(&state);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM alarm_step"), 2);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM alarm_step WHERE who = 'pat' AND state = 1 AND at = 6000"
                                     " AND what LIKE '%on the way'"),
                 1);
}

Test(alarms, those_that_touch_a_span_are_found_at_its_edges_too)
{
    struct alarm past = an_alarm("heron-creek", 1000, 2000), open = an_alarm("heron-creek", 3000, TIME_NONE),
                 elsewhere = an_alarm("weir-pool", 1000, 2000), other_rule = an_alarm("heron-creek", 1000, 2000);
    other_rule.rule = "high-level";
    past.state = ALARM_NORMAL;
    put_alarm(&open);
    put_alarm(&past);
    put_alarm(&elsewhere);
    put_alarm(&other_rule);
    const struct {
        int64_t from, to;
        size_t past, open;
    } rows[] = {{0, 999, 0, 0},     {0, 1000, 1, 0},    {1500, 1600, 1, 0},
                {2000, 2999, 1, 0}, {2001, 2999, 0, 0}, {2001, 3000, 0, 1},
                {2000, 3000, 1, 1}, {9000, 9999, 0, 1}, {TIME_NONE, TIME_FOREVER, 1, 1}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        size_t n;
        struct alarm *got = find_touching(rows[i].from, rows[i].to, &n);
        cr_assert_eq(n, rows[i].past + rows[i].open, "row %zu: %zu", i, n);
        if (rows[i].past)
            cr_expect_eq(got[0].id, past.id, "by start");
        if (rows[i].open)
            cr_expect_eq(got[n - 1].id, open.id);
    }
}

Test(alarms, those_of_a_station_come_newest_first_whatever_their_rule_and_state)
{
    struct alarm first = an_alarm("heron-creek", 1000, 2000), second = an_alarm("heron-creek", 3000, TIME_NONE),
                 elsewhere = an_alarm("weir-pool", 1000, 2000);
    first.state = ALARM_WITHDRAWN;
    second.rule = "high-level";
    put_alarm(&first);
    put_alarm(&second);
    put_alarm(&elsewhere);
    const struct {
        struct span span;
        size_t most, n;
        int64_t newest;
    } rows[] = {{{0, 9000}, 10, 2, second.id}, {{0, 9000}, 1, 1, second.id}, {{0, 3000}, 10, 1, first.id},
                {{0, 1000}, 10, 0, 0},         {{2500, 2600}, 10, 0, 0},     {{2500, 9000}, 10, 1, second.id}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct alarm *got;
        size_t n;
        OK(&state, store_alarms_of_station(state.store, "heron-creek", rows[i].span, rows[i].most, state.arena, &got,
                                           &n, &state.error));
        cr_assert_eq(n, rows[i].n, "row %zu: %zu", i, n);
        cr_expect(n == 0 || got[0].id == rows[i].newest, "row %zu", i);
    }
}

Test(alarms, the_open_ones_are_those_that_a_person_may_still_answer)
{
    for (enum alarm_state s = 0; s < ALARM_STATE_COUNT; s++) {
        struct alarm alarm = an_alarm(s % 2 ? "heron-creek" : "weir-pool", 1000 * s, TIME_NONE);
        alarm.state = s;
        alarm.rule = s == ALARM_SHELVED ? "high-level" : "low-oxygen";
        put_alarm(&alarm);
    }
    struct alarm *list;
    size_t n;
    OK(&state, store_alarms_open(state.store, state.arena, &list, &n, &state.error));
    cr_assert_eq(n, 4);
    for (size_t i = 0; i < n; i++)
        cr_expect(list[i].state != ALARM_NORMAL && list[i].state != ALARM_WITHDRAWN);
    OK(&state, store_alarms_of_rule(state.store, "low-oxygen", state.arena, &list, &n, &state.error));
    cr_expect_eq(n, 3);
    OK(&state, store_alarms_of_rule(state.store, "high-level", state.arena, &list, &n, &state.error));
    cr_expect(n == 1 && list[0].state == ALARM_SHELVED);
    struct store_counts counts;
    OK(&state, store_counts(state.store, &counts, &state.error));
    cr_expect_eq(counts.alarms_open, 4);
}
