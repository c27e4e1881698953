/* SPDX-License-Identifier: MIT */
#include "alarms/gather.h"

#include "alarms/series.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "base/zone.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

#define NOW (INT64_C(20563) * DAY_MS + 3 * HOUR_MS) /* Monday 2026-04-20T03:00:00Z */

static struct arena *arena;
static const struct hours always = {.zone = NULL};

static void set_up(void)
{
    arena = arena_new();
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(gather, .init = set_up, .fini = tear_down);

/* "12!a 13b -12a": new alarms 12 of rule a (high priority) and 13 of rule b, and a return of 12. */
static struct gather_input input_of(const char *text)
{
    struct gather_item *items = arena_array(arena, 64, sizeof *items);
    struct gather_input input = {.items = items,
                                 .hours = &always,
                                 .gather = MINUTE_MS,
                                 .flood_since = TIME_NONE,
                                 .summary_at = TIME_NONE,
                                 .now = NOW};
    for (const char *at = text; *at;) {
        char rule[2] = "", flags[4] = "";
        int number = 0, used = 0;
        bool is_return = *at == '-';
        at += is_return;
        if (sscanf(at, "%d%3[!~]%1[a-z]%n", &number, flags, rule, &used) != 3)
            cr_assert(sscanf(at, "%d%1[a-z]%n", &number, rule, &used) == 2, "%s", at);
        items[input.n++] = (struct gather_item){.alarm = number,
                                                .rule = arena_strdup(arena, rule),
                                                .event = is_return ? NOTICE_RETURNED : NOTICE_RAISED,
                                                .priority = strchr(flags, '!') ? PRIORITY_HIGH : PRIORITY_MEDIUM,
                                                .last_of_rule = strchr(flags, '~') ? NOW - 20 * SECOND_MS : TIME_NONE};
        input.raised_lately += !is_return;
        at += used;
        at += strspn(at, " ");
    }
    return input;
}

/* "send", "held 40 s", "group 0", "summary", "with 3", one an item. */
static const char *plan_of(const struct gather_input *input, struct gather_plan *ret)
{
    struct text text;
    char duration[TIMESTAMP_SIZE];
    *ret = gather_plan(arena, input);
    text_init(&text, 65536);
    text_puts(&text, "");
    for (size_t i = 0; i < input->n; i++) {
        text_puts(&text, i ? ", " : "");
        switch (ret->fates[i]) {
        case GATHER_SEND: text_puts(&text, "send"); break;
        case GATHER_BY_LATER: text_printf(&text, "with %zu", ret->with[i]); break;
        case GATHER_HOLD: text_printf(&text, "held %s", duration_print(ret->until[i] - input->now, duration)); break;
        case GATHER_GROUP: text_printf(&text, "group %zu", ret->with[i]); break;
        case GATHER_SUMMARY: text_puts(&text, "summary"); break;
        }
    }
    const char *copy = arena_strdup(arena, text.bytes);
    text_done(&text);
    return copy;
}

static void expect_plan(const char *items, const char *expected)
{
    struct gather_plan plan;
    struct gather_input input = input_of(items);
    const char *found = plan_of(&input, &plan);
    cr_expect_str_eq(found, expected, "%s: %s, not %s", items, found, expected);
}

Test(gather, one_alarm_goes_out_at_once)
{
    expect_plan("1a", "send");
    expect_plan("-1a", "send");
    expect_plan("", "");
}

Test(gather, new_alarms_of_one_rule_are_one_message)
{
    expect_plan("1a 2a 3a", "group 0, group 0, group 0");
    expect_plan("1a 2b 3a 4b 5c", "group 0, group 1, group 0, group 1, send");
    expect_plan("1a -2a", "send, send");
}

Test(gather, one_more_within_the_minute_waits_and_is_gathered)
{
    expect_plan("1~a", "held 40 s");
    expect_plan("1~a 2~a", "held 40 s, held 40 s");
    expect_plan("1~a -1~a", "held 40 s, held 40 s");
    expect_plan("-1~a", "send");
    struct gather_plan plan;
    struct gather_input input = input_of("1~a 2~a");
    input.gather = 0;
    cr_expect_str_eq(plan_of(&input, &plan), "send, send", "where gathering is off each is its own");
    input = input_of("1a 2b 3c 4d 5e -1a");
    input.gather = 0;
    cr_expect_str_eq(plan_of(&input, &plan), "send, send, send, send, send, send");
    input.raised_lately = 11;
    cr_expect_str_eq(plan_of(&input, &plan), "summary, summary, summary, summary, summary, summary", "but for a flood");
    input.raised_lately = 0;
    input.flood_since = NOW - HOUR_MS;
    cr_expect_str_eq(plan_of(&input, &plan), "summary, summary, summary, summary, summary, summary",
                     "and for what it held back");
    cr_expect_eq(plan.flood_since, TIME_NONE);
    cr_expect_not(plan.is_flood);
}

Test(gather, of_one_alarm_only_the_last_word_is_sent)
{
    expect_plan("1a -1a", "with 1, send");
    expect_plan("1a 2a -1a", "with 2, group 0, group 0");
}

Test(gather, more_than_four_messages_at_once_are_one)
{
    expect_plan("1a 2b 3c 4d", "send, send, send, send");
    expect_plan("1a 2b 3c 4d 5e", "summary, summary, summary, summary, summary");
    expect_plan("1a 2b 3c 4d 5a", "group 0, send, send, send, group 0");
    expect_plan("1a 2b 3c 4d 5e -1a", "with 5, summary, summary, summary, summary, summary");
}

Test(gather, outside_the_hours_only_high_priority_is_sent)
{
    struct error error;
    struct hours office = {.days = 0x1F, .from = 420, .to = 1140, .zone = zone_load("-08:00", &error)};
    struct gather_plan plan;
    struct gather_input input = input_of("1!a 2a -2a 3!b -4b"); /* Sunday 19:00 there */
    input.hours = &office;
    cr_expect_str_eq(plan_of(&input, &plan), "send, held 12 h, held 12 h, send, held 12 h");
    input.now += 12 * HOUR_MS;
    cr_expect_str_eq(plan_of(&input, &plan), "group 0, with 2, group 0, send, send");
    zone_free(office.zone);
}

/* Check values of the definition: more than 10 in 10 min begins, fewer than 5 ends. */
Test(gather, a_flood_begins_with_the_eleventh_and_ends_below_five)
{
    struct gather_plan plan;
    struct gather_input input = input_of("1a 2b");
    input.raised_lately = 10;
    cr_expect_str_eq(plan_of(&input, &plan), "send, send");
    cr_expect_eq(plan.flood_since, TIME_NONE);
    input.raised_lately = 11;
    cr_expect_str_eq(plan_of(&input, &plan), "summary, summary");
    cr_expect(plan.is_flood && plan.flood_since == NOW && plan.summary_at == NOW);
    input.flood_since = NOW - HOUR_MS;
    input.summary_at = NOW - 4 * MINUTE_MS;
    input.raised_lately = 5;
    cr_expect_str_eq(plan_of(&input, &plan), "held 6 min, held 6 min");
    cr_expect(plan.flood_since == NOW - HOUR_MS && plan.summary_at == NOW - 4 * MINUTE_MS);
    input.raised_lately = 4;
    cr_expect_str_eq(plan_of(&input, &plan), "send, send");
    cr_expect(!plan.is_flood && plan.flood_since == TIME_NONE && plan.summary_at == TIME_NONE);
}

Test(gather, high_priority_does_not_wait_ten_minutes_in_a_flood)
{
    struct gather_plan plan;
    struct gather_input input = input_of("1!a 2b");
    input.flood_since = NOW - HOUR_MS;
    input.raised_lately = 20;
    input.summary_at = NOW - 40 * SECOND_MS;
    cr_expect_str_eq(plan_of(&input, &plan), "held 20 s, held 20 s");
    input.summary_at = NOW - MINUTE_MS;
    cr_expect_str_eq(plan_of(&input, &plan), "summary, summary");
}

/* Alarms at random, told by the plans: everything is told in the end, nothing twice, and the recipient gets few
 * messages however many alarms there are. */
Test(gather, driven_to_the_end_everything_is_told_once_and_never_as_a_flood)
{
    uint64_t random = 17;
    for (int round = 0; round < 200; round++) {
        arena_reset(arena);
        enum { MOST = 60, MOST_WITHIN = 14 };
        struct gather_item all[MOST];
        int64_t born[MOST], ready[MOST], sent_rule[3] = {TIME_NONE, TIME_NONE, TIME_NONE};
        bool is_told[MOST] = {false};
        static const char *const rules[] = {"a", "b", "c"};
        int64_t flood_since = TIME_NONE, summary_at = TIME_NONE, spread = (int64_t)(1 + random_below(&random, 60));
        size_t n = 1 + random_below(&random, MOST), told = 0, messages = 0;
        int64_t sent[MOST];
        for (size_t i = 0; i < n; i++) {
            all[i] = (struct gather_item){
                .alarm = (int64_t)i, .rule = rules[random_below(&random, 3)], .event = NOTICE_RAISED};
            all[i].priority = random_below(&random, 10) ? PRIORITY_MEDIUM : PRIORITY_HIGH;
            born[i] = ready[i] = NOW + (int64_t)random_below(&random, (size_t)spread) * MINUTE_MS;
        }
        for (int64_t now = NOW; now < NOW + 4 * HOUR_MS; now += 10 * SECOND_MS) {
            struct gather_item items[MOST];
            size_t index[MOST], count = 0;
            int64_t lately = 0;
            for (size_t i = 0; i < n; i++) {
                lately += born[i] <= now && born[i] > now - FLOOD_WINDOW;
                if (is_told[i] || ready[i] > now)
                    continue;
                items[count] = all[i];
                int64_t last = sent_rule[all[i].rule[0] - 'a'];
                items[count].last_of_rule = last != TIME_NONE && last > now - MINUTE_MS ? last : TIME_NONE;
                index[count++] = i;
            }
            if (count == 0)
                continue;
            struct gather_input input = {items, count, &always, MINUTE_MS, lately, flood_since, summary_at, now};
            struct gather_plan plan = gather_plan(arena, &input);
            flood_since = plan.flood_since;
            summary_at = plan.summary_at;
            bool has_summary = false;
            size_t before = messages;
            for (size_t k = 0; k < count; k++) {
                size_t i = index[k];
                if (plan.fates[k] == GATHER_HOLD) {
                    cr_assert_gt(plan.until[k], now);
                    ready[i] = plan.until[k];
                    continue;
                }
                cr_assert(!is_told[i] && plan.fates[k] != GATHER_BY_LATER);
                is_told[i] = true;
                told++;
                has_summary |= plan.fates[k] == GATHER_SUMMARY;
                messages += plan.fates[k] == GATHER_SEND;
                if (plan.fates[k] != GATHER_SUMMARY)
                    sent_rule[all[i].rule[0] - 'a'] = now;
            }
            messages += plan.group_count * !has_summary + has_summary;
            cr_assert_leq(messages - before, MESSAGES_AT_ONCE);
            for (size_t m = before; m < messages; m++)
                sent[m] = now;
            size_t within = 0;
            for (size_t m = 0; m < messages; m++)
                within += sent[m] > now - FLOOD_WINDOW;
            cr_assert_leq(within, MOST_WITHIN, "round %d: %zu messages within 10 min of %zu alarms in %d min", round,
                          within, n, (int)spread);
        }
        cr_assert_eq(told, n, "round %d: %zu of %zu", round, told, n);
    }
}
