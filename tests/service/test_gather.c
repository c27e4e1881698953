/* SPDX-License-Identifier: MIT */
#include "service/gather.h"

#include "base/text.h"
#include "base/timestamp.h"
#include "fixture.h"
#include "service/digest.h"
#include "service/figures.h"
#include "service/remind.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

#define RULES                                                                                                          \
    "alarms: {digest: {at: \"07:00\", zone: \"-08:00\", tell: [desk]}}\n"                                              \
    "rules:\n"                                                                                                         \
    "  low: {kind: below, title: Oxygen low, quantity: oxygen, limit: 3 mg/L, tell: [desk], priority: high, "          \
    "repeat: 30 min, escalate: {after: 1 h, to: [on-call]}}\n"                                                         \
    "  warm: {kind: above, quantity: temperature, limit: 20 degC, tell: [desk]}\n"                                     \
    "  calm: {kind: above, quantity: depth, limit: 2 m, tell: [day-desk]}\n"                                           \
    "  silent: {kind: silence, window: 2 d}\n"

static struct fixture f;

static void set_up(void)
{
    f = fixture_open(RULES);
}

static void tear_down(void)
{
    fixture_close(&f);
}

TestSuite(gathering, .init = set_up, .fini = tear_down);

static bool has_room(const void *context, const char *recipient)
{
    const char *busy = context;
    return !busy || strcmp(busy, recipient) != 0;
}

static void gather_at(int64_t now, const char *busy)
{
    struct error error = {0};
    const struct gather_room room = {has_room, busy};
    cr_assert(gather_notices(&f.teller, &room, true, now, &error), "%s", error.text);
}

/* What would be sent now, and sent it is: "desk raised 1" or "desk group of 3 (low)". */
static const char *send_all(int64_t now)
{
    struct error error = {0};
    char *text = arena_strdup(f.arena, "");
    for (;;) {
        struct notice *list;
        size_t n;
        cr_assert(store_notices_due(f.store, now, 100, f.arena, &list, &n, &error), "%s", error.text);
        if (n == 0)
            return text;
        cr_assert(store_begin(f.store, __func__, &error));
        for (size_t k = 0; k < n; k++) {
            bool is_many = list[k].item_count > 0;
            const char *about = is_many ? arena_printf(f.arena, "of %zu%s%s", list[k].item_count,
                                                       *list[k].alarm.rule ? " " : "", list[k].alarm.rule)
                                        : arena_printf(f.arena, "%lld", (long long)list[k].alarm.id);
            text = arena_printf(f.arena, "%s%s%s %s %s", text, *text ? ", " : "", list[k].recipient,
                                notice_event_word(list[k].event), about);
            cr_assert(store_notice_done(f.store, list[k].id, NOTICE_DELIVERED, now, TIME_NONE, "250 fine", &error),
                      "%s", error.text);
        }
        cr_assert(store_commit(f.store, &error));
    }
}

static int64_t deadline(int64_t now)
{
    int64_t ret;
    struct error error = {0};
    cr_assert(store_notice_deadline(f.store, now, &ret, &error));
    return ret;
}

Test(gathering, alarms_of_one_rule_at_once_are_one_message_that_lists_them)
{
    for (int k = 0; k < 3; k++)
        fixture_raise(&f, k ? "weir-pool" : "heron-creek", "warm", hours_on(1));
    gather_at(hours_on(1), NULL);
    cr_expect_str_eq(send_all(hours_on(1)), "desk group of 3 warm");
    cr_expect_str_eq(fixture_notices(&f, 2), "desk raised");
    struct notice_fact *facts;
    size_t n;
    struct error error = {0};
    cr_assert(store_notices_of_alarm(f.store, 2, f.arena, &facts, &n, &error) && n == 1);
    cr_expect(facts[0].is_gathered && facts[0].state == NOTICE_DELIVERED, "told by the group, and delivered with it");
}

Test(gathering, what_comes_within_the_minute_waits_and_comes_together)
{
    int64_t now = hours_on(1);
    fixture_raise(&f, "heron-creek", "warm", now);
    gather_at(now, NULL);
    cr_expect_str_eq(send_all(now), "desk raised 1");
    fixture_raise(&f, "weir-pool", "warm", now + 10 * SECOND_MS);
    fixture_raise(&f, "hill", "warm", now + 20 * SECOND_MS);
    gather_at(now + 20 * SECOND_MS, NULL);
    cr_expect_str_eq(send_all(now + 20 * SECOND_MS), "");
    cr_expect_eq(deadline(now + 20 * SECOND_MS), now + MINUTE_MS, "the service wakes by itself");
    gather_at(now + MINUTE_MS, NULL);
    cr_expect_str_eq(send_all(now + MINUTE_MS), "desk group of 2 warm");
}

/* Gathering begins when the first has left: it never waits for others that may come. */
Test(gathering, the_first_of_high_priority_leaves_at_once_whatever_else_was_told)
{
    int64_t now = hours_on(1);
    fixture_raise(&f, "heron-creek", "warm", now);
    gather_at(now, NULL);
    cr_expect_str_eq(send_all(now), "desk raised 1");
    fixture_raise(&f, "heron-creek", "low", now + SECOND_MS);
    gather_at(now + SECOND_MS, NULL);
    cr_expect_str_eq(send_all(now + SECOND_MS), "desk raised 2");
    fixture_raise(&f, "weir-pool", "low", now + 2 * SECOND_MS);
    fixture_raise(&f, "heron-creek", "low", now + 3 * SECOND_MS);
    gather_at(now + 3 * SECOND_MS, NULL);
    cr_expect_str_eq(send_all(now + 3 * SECOND_MS), "", "those that follow are gathered");
    gather_at(now + SECOND_MS + MINUTE_MS, NULL);
    cr_expect_str_eq(send_all(now + SECOND_MS + MINUTE_MS), "desk group of 2 low");
    fixture_raise(&f, "weir-pool", "low", now + 3 * MINUTE_MS);
    gather_at(now + 3 * MINUTE_MS, NULL);
    cr_expect_str_eq(send_all(now + 3 * MINUTE_MS), "desk raised 5", "a minute of calm, and one leaves at once again");
}

Test(gathering, a_recipient_with_a_message_in_the_air_is_left_alone)
{
    fixture_raise(&f, "heron-creek", "warm", hours_on(1));
    fixture_raise(&f, "weir-pool", "warm", hours_on(1));
    gather_at(hours_on(1), "desk");
    cr_expect_str_eq(send_all(hours_on(1)), "desk raised 1, desk raised 2");
}

Test(gathering, outside_the_hours_notices_wait_for_the_morning_and_come_as_the_last_word)
{
    /* Monday 2026-04-20 04:00 at UTC-8 is 12:00Z. */
    struct alarm alarm = fixture_raise(&f, "heron-creek", "calm", hours_on(12));
    gather_at(hours_on(12), NULL);
    cr_expect_str_eq(send_all(hours_on(12)), "");
    cr_expect_eq(deadline(hours_on(12)), hours_on(15));
    struct error error = {0};
    alarm.state = ALARM_NORMAL;
    alarm.changed = hours_on(13);
    alarm.sequence++;
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(tell_change(&f.teller, &alarm, NOTICE_RETURNED, "rillward", "returned", &error), "%s", error.text);
    cr_assert(store_commit(f.store, &error));
    gather_at(hours_on(13), NULL);
    cr_expect_str_eq(send_all(hours_on(13)), "");
    gather_at(hours_on(15), NULL);
    cr_expect_str_eq(send_all(hours_on(15)), "day-desk returned 1");
}

Test(gathering, more_than_ten_in_ten_minutes_become_summaries_until_it_calms)
{
    int64_t now = hours_on(1);
    static const char *const rules[] = {"warm", "low"};
    for (int k = 0; k < 10; k++)
        fixture_raise(&f, "heron-creek", rules[k % 2], now);
    gather_at(now, NULL);
    cr_expect_str_eq(send_all(now), "desk group of 5 warm, desk group of 5 low");
    now += 2 * MINUTE_MS;
    fixture_raise(&f, "heron-creek", "warm", now);
    fixture_raise(&f, "heron-creek", "warm", now);
    gather_at(now, NULL);
    cr_expect_str_eq(send_all(now), "desk summary of 2");
    now += MINUTE_MS / 2;
    fixture_raise(&f, "heron-creek", "low", now);
    gather_at(now, NULL);
    cr_expect_str_eq(send_all(now), "", "high priority waits for a minute only");
    gather_at(now + MINUTE_MS / 2, NULL);
    cr_expect_str_eq(send_all(now + MINUTE_MS / 2), "desk raised 13");
    struct figures figures;
    struct error error = {0};
    cr_assert(figures_load(f.config, f.store, f.arena, "desk", NULL, 0, now, &figures, &error), "%s", error.text);
    cr_expect(figures.is_flood && figures.day == 13 && figures.most_in_10_min == 13);
    now += HOUR_MS;
    fixture_raise(&f, "heron-creek", "warm", now);
    gather_at(now, NULL);
    cr_expect_str_eq(send_all(now), "desk raised 14");
    cr_assert(figures_load(f.config, f.store, f.arena, "desk", NULL, 0, now, &figures, &error), "%s", error.text);
    cr_expect(!figures.is_flood);
}

/* A dead receiver: what was tried keeps its own bytes, what was not is gathered. */
Test(gathering, what_was_tried_once_stays_as_it_is)
{
    struct error error = {0};
    struct notice *list;
    size_t n;
    fixture_raise(&f, "heron-creek", "warm", hours_on(1));
    gather_at(hours_on(1), NULL);
    cr_assert(store_notices_due(f.store, hours_on(1), 100, f.arena, &list, &n, &error) && n == 1);
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(store_notice_done(f.store, list[0].id, NOTICE_DUE, hours_on(1), hours_on(2), "no answer", &error));
    cr_assert(store_commit(f.store, &error));
    for (int k = 0; k < 3; k++)
        fixture_raise(&f, "weir-pool", "warm", hours_on(1.5));
    gather_at(hours_on(1.5), NULL);
    cr_expect_str_eq(send_all(hours_on(1.5)), "desk group of 3 warm");
    gather_at(hours_on(2), NULL);
    cr_expect_str_eq(send_all(hours_on(2)), "desk raised 1");
}

/* ---- reminders ---- */

static int64_t remind_at(int64_t now)
{
    struct error error = {0};
    int64_t next;
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(remind_people(&f.teller, now, &next, &error), "%s", error.text);
    cr_assert(store_commit(f.store, &error));
    return next;
}

Test(gathering, nobody_answers_so_they_are_reminded_and_it_is_passed_on)
{
    struct alarm alarm = fixture_raise(&f, "heron-creek", "low", hours_on(1));
    cr_expect_eq(remind_at(hours_on(1)), hours_on(1.5));
    cr_expect_eq(remind_at(hours_on(1.5)), hours_on(2));
    cr_expect_eq(remind_at(hours_on(2)), hours_on(2.5));
    cr_expect_str_eq(fixture_notices(&f, alarm.id), "desk raised, desk reminded, on-call escalated, desk reminded");
    cr_expect_eq(remind_at(hours_on(2.5)), hours_on(3));
    cr_expect(text_ends_with(fixture_notices(&f, alarm.id), ", desk reminded, on-call reminded"), "%s",
              fixture_notices(&f, alarm.id));
    cr_expect(text_starts_with(fixture_steps(&f, alarm.id), "rillward raised; rillward reminded; rillward escalated; "),
              "%s", fixture_steps(&f, alarm.id));
}

/* ---- digest ---- */

static const char *digest_of(int64_t from, int64_t now)
{
    struct error error = {0};
    struct text text;
    text_init(&text, 20000);
    text_puts(&text, "");
    cr_assert(digest_render(&f.teller, from, now, &text, &error), "%s", error.text);
    const char *ret = arena_strdup(f.arena, text.bytes ? text.bytes : "");
    text_done(&text);
    return ret;
}

static int64_t digest_at(int64_t now)
{
    struct error error = {0};
    int64_t next;
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(digest_people(&f.teller, now, &next, &error), "%s", error.text);
    cr_assert(store_commit(f.store, &error));
    return next;
}

Test(gathering, a_day_with_nothing_to_say_sends_nothing)
{
    cr_expect_eq(digest_at(hours_on(1)), hours_on(15), "07:00 at UTC-8");
    cr_expect_eq(digest_at(hours_on(15)), hours_on(39));
    cr_expect_str_eq(send_all(hours_on(15)), "");
    cr_expect_str_eq(digest_of(hours_on(0), hours_on(15)), "");
}

Test(gathering, the_digest_tells_once_a_day_what_woke_nobody)
{
    struct error error = {0};
    struct alarm open = fixture_raise(&f, "heron-creek", "warm", hours_on(1));
    struct alarm silent = fixture_raise(&f, "weir-pool", "silent", hours_on(1));
    struct alarm old = open;
    old.id = 0;
    old.is_old_news = true;
    old.state = ALARM_NORMAL;
    old.learnt = hours_on(2);
    old.episode.end = old.episode.start + HOUR_MS;
    struct path_fact drop = {
        .path = "north/a\n.csv", .state = DROP_SET_ASIDE, .since = hours_on(3), .message = "line 3: no such day\nmore"};
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(store_alarm_put(f.store, &old, "rillward", "recorded as old news", &error), "%s", error.text);
    cr_assert(store_path_put(f.store, &drop, &error), "%s", error.text);
    cr_assert(store_commit(f.store, &error));
    const char *expected =
        "Old news: learnt of too late to wake anybody (1)\n"
        "- warm at Heron Creek at the footbridge: worst 1.50 °C; since 2026-04-19T16:00:00-08:00, it was over "
        "after 1 h; returned to normal, alarm 3\n"
        "\nOpen alarms (1)\n"
        "- warm at Heron Creek at the footbridge: worst 1.50 °C; since 2026-04-19T16:00:00-08:00, last "
        "sample 14 h 1 min ago; unacknowledged, alarm 1\n"
        "\nSilent (1)\n"
        "- silent at Weir pool; since 2026-04-19T16:00:00-08:00, last sample 14 h 1 min ago; unacknowledged, "
        "alarm 2\n"
        "\nDrops set aside (1)\n"
        "- north/a\\x0A.csv, 12 h ago: line 3: no such day\n";
    cr_expect_str_eq(digest_of(hours_on(0), hours_on(15)), expected);
    send_all(hours_on(2));
    digest_at(hours_on(2));
    cr_expect_eq(digest_at(hours_on(15)), hours_on(39));
    cr_expect_str_eq(send_all(hours_on(15)), "desk digest 0");
    cr_expect_eq(digest_at(hours_on(16)), hours_on(39), "once");
    cr_expect_str_eq(send_all(hours_on(16)), "");
    cr_expect_null(strstr(digest_of(hours_on(15), hours_on(39)), "Old news"), "told already");
    cr_expect(open.id == 1 && silent.id == 2);
}
