/* SPDX-License-Identifier: MIT */
#include "alarms/remind.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>

#define NOW (100 * DAY_MS)

static struct arena *arena;

static void set_up(void)
{
    arena = arena_new();
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(remind, .init = set_up, .fini = tear_down);

static const struct rule pressing = {.id = "low-oxygen", .repeat = 30 * MINUTE_MS, .escalate_after = HOUR_MS};

static struct alarm asked_since(int64_t asked)
{
    return (struct alarm){.state = ALARM_UNACKNOWLEDGED, .asked = asked, .told = asked, .escalated = TIME_NONE};
}

/* "R" reminded, "E" escalated. */
static const char *due(const struct rule *rule, struct alarm alarm, int64_t now, int64_t *next)
{
    static char text[8];
    struct reminder *list;
    size_t n = remind_plan(arena, &alarm, &rule, 1, now, &list, next), length = 0;
    for (size_t k = 0; k < n; k++)
        text[length++] = list[k].event == NOTICE_REMINDED ? 'R' : 'E';
    text[length] = '\0';
    return text;
}

Test(remind, a_reminder_is_due_a_repeat_after_the_last_word)
{
    int64_t next;
    cr_expect_str_eq(due(&pressing, asked_since(NOW), NOW + 30 * MINUTE_MS - 1, &next), "");
    cr_expect_eq(next, NOW + 30 * MINUTE_MS);
    cr_expect_str_eq(due(&pressing, asked_since(NOW), NOW + 30 * MINUTE_MS, &next), "R");
    cr_expect_eq(next, NOW + 60 * MINUTE_MS);
    struct alarm grown = asked_since(NOW);
    grown.told = NOW + 20 * MINUTE_MS;
    cr_expect_str_eq(due(&pressing, grown, NOW + 40 * MINUTE_MS, &next), "", "growth was told 20 min ago");
}

Test(remind, those_further_up_are_told_once)
{
    int64_t next;
    struct alarm alarm = asked_since(NOW);
    alarm.told = NOW + 45 * MINUTE_MS;
    cr_expect_str_eq(due(&pressing, alarm, NOW + HOUR_MS, &next), "E");
    alarm.escalated = NOW + HOUR_MS;
    cr_expect_str_eq(due(&pressing, alarm, NOW + 74 * MINUTE_MS, &next), "");
    cr_expect_eq(next, NOW + 75 * MINUTE_MS);
}

Test(remind, a_long_sleep_gives_one_reminder)
{
    int64_t next;
    cr_expect_str_eq(due(&pressing, asked_since(NOW), NOW + 9 * HOUR_MS, &next), "ER");
    cr_expect_eq(next, NOW + 9 * HOUR_MS + 30 * MINUTE_MS);
}

Test(remind, only_what_is_so_and_unanswered_is_pressed)
{
    int64_t next;
    for (enum alarm_state state = 0; state < ALARM_STATE_COUNT; state++) {
        struct alarm alarm = asked_since(NOW);
        alarm.state = state;
        bool is_pressed = *due(&pressing, alarm, NOW + DAY_MS, &next) != '\0';
        cr_expect_eq(is_pressed, state == ALARM_UNACKNOWLEDGED, "%s", alarm_state_word(state));
    }
    struct alarm old = asked_since(NOW);
    old.is_old_news = true;
    cr_expect_str_eq(due(&pressing, old, NOW + DAY_MS, &next), "");
    const struct rule calm = {.id = "warm"};
    cr_expect_str_eq(due(&calm, asked_since(NOW), NOW + DAY_MS, &next), "", "by default nobody is pressed");
    cr_expect_eq(next, TIME_FOREVER);
    cr_expect_str_eq(due(NULL, asked_since(NOW), NOW + DAY_MS, &next), "", "nor by a rule that is gone");
}

/* The planner driven as the service drives it: sleep until `next`, tell, note it. */
Test(remind, driven_by_its_own_deadlines_it_misses_nothing_and_never_spins)
{
    struct alarm alarm = asked_since(NOW);
    const struct rule *rule = &pressing;
    int64_t now = NOW, next;
    int reminders = 0, escalations = 0, turns = 0;
    while (now < NOW + 10 * HOUR_MS) {
        struct reminder *list;
        size_t n = remind_plan(arena, &alarm, &rule, 1, now, &list, &next);
        for (size_t k = 0; k < n; k++) {
            bool is_reminder = list[k].event == NOTICE_REMINDED;
            reminders += is_reminder;
            escalations += !is_reminder;
            *(is_reminder ? &alarm.told : &alarm.escalated) = now;
        }
        cr_assert_gt(next, now);
        now = next;
        turns++;
    }
    cr_expect_eq(reminders, 19);
    cr_expect_eq(escalations, 1);
    cr_expect_leq(turns, 21);
}
