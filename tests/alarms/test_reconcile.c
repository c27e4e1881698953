/* SPDX-License-Identifier: MIT */
#include "alarms/reconcile.h"

#include "alarms/lifecycle.h"
#include "alarms/series.h"
#include "alarms/tide.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define NOW (100 * DAY_MS)
#define NEWS_AGE (3 * DAY_MS)
#define STORED_LIMIT 512

static struct arena *arena;

/* The alarms of one rule at one station, as a database would keep them. */
struct shelf {
    struct alarm alarms[STORED_LIMIT];
    size_t count;
};

static void set_up(void)
{
    arena = arena_new();
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(reconcile, .init = set_up, .fini = tear_down);

static const struct rule low_oxygen = {
    .id = "low-oxygen", .kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3, .deadband = 0.5};
static const struct rule silent = {
    .id = "silent", .kind = RULE_SILENCE, .quantity = QUANTITY_COUNT, .window = DAY_MS};
static const struct rule bad_drop = {
    .id = "bad-drop", .kind = RULE_UNREADABLE_DROP, .quantity = QUANTITY_COUNT};

static struct episode lasting(int64_t start, int64_t end, double worst);
static struct episode open_since(int64_t start, int64_t last_time, double worst);
static size_t bring_up_to_date(struct shelf *shelf, const struct rule *rule, const struct episode *found,
                               size_t n, int64_t now, struct alarm_change **ret);
static void expect_nothing_more(struct shelf *shelf, const struct rule *rule, const struct episode *found,
                                size_t n, int64_t now);
static struct alarm *shelf_sort(struct shelf *shelf);
static void take_span(struct shelf *shelf, const struct rule *rule, const struct record *record,
                      struct span changed, int64_t now);
static struct rule random_rule(uint64_t *random);
static struct record series_for(const struct rule *rule, uint64_t *random);
static const uint8_t *stages_of(const struct rule *rule, const struct record *record, struct span window);
static void expect_shelf_holds(const struct shelf *shelf, const struct rule *rule,
                               const struct record *record, int64_t now, int round);
static struct record without_rows(const struct record *record, const bool *is_there);
static struct shelf *shelf_new(void);

Test(reconcile, a_new_open_episode_is_raised)
{
    struct shelf *shelf = shelf_new();
    const struct episode found = open_since(NOW - HOUR_MS, NOW - MINUTE_MS, 2.4);
    struct alarm_change *changes;
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &found, 1, NOW, &changes) == 1);
    cr_expect(changes[0].what == ALARM_NEW && changes[0].announce && changes[0].event == NOTICE_RAISED);
    const struct alarm *alarm = &shelf->alarms[0];
    cr_expect_str_eq(alarm->station, "heron-creek");
    cr_expect_str_eq(alarm->rule, "low-oxygen");
    cr_expect(alarm->state == ALARM_UNACKNOWLEDGED && !alarm->is_old_news);
    cr_expect(alarm->learnt == NOW && alarm->changed == NOW && alarm->sequence == 1);
    expect_nothing_more(shelf, &low_oxygen, &found, 1, NOW + HOUR_MS);
}

Test(reconcile, a_fresh_episode_that_is_over_already_is_announced_once_with_its_end)
{
    struct shelf *shelf = shelf_new();
    const struct episode found = lasting(NOW - 2 * DAY_MS, NOW - DAY_MS, 2);
    struct alarm_change *changes;
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &found, 1, NOW, &changes) == 1);
    cr_expect(changes[0].announce && changes[0].event == NOTICE_RAISED);
    cr_expect(changes[0].alarm.episode.end == NOW - DAY_MS);
    cr_expect(changes[0].alarm.state == ALARM_RETURNED_UNACKNOWLEDGED && changes[0].alarm.sequence == 1);
    expect_nothing_more(shelf, &low_oxygen, &found, 1, NOW);
}

Test(reconcile, old_news_is_stored_and_wakes_nobody)
{
    struct shelf *shelf = shelf_new();
    const struct episode found[] = {lasting(NOW - 30 * DAY_MS, NOW - 29 * DAY_MS, 1),
                                    lasting(NOW - 4 * DAY_MS, NOW - NEWS_AGE, 1)};
    struct alarm_change *changes;
    cr_assert(bring_up_to_date(shelf, &low_oxygen, found, 2, NOW, &changes) == 2);
    cr_expect(!changes[0].announce && changes[0].event == NOTICE_EVENT_COUNT);
    cr_expect(changes[0].alarm.is_old_news && changes[0].alarm.state == ALARM_NORMAL &&
              changes[0].alarm.sequence == 0);
    cr_expect(changes[1].announce, "just news_age back is news");
    expect_nothing_more(shelf, &low_oxygen, found, 2, NOW + DAY_MS);
}

Test(reconcile, old_news_stays_quiet_when_corrected_ended_or_withdrawn)
{
    struct shelf *shelf = shelf_new();
    const struct episode open = open_since(NOW - 30 * DAY_MS, NOW - 20 * DAY_MS, 2);
    struct alarm_change *changes;
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &open, 1, NOW, &changes) == 1);
    cr_expect(!changes[0].announce && shelf->alarms[0].state == ALARM_UNACKNOWLEDGED);
    const struct episode worse = open_since(NOW - 30 * DAY_MS, NOW - 19 * DAY_MS, 0);
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &worse, 1, NOW, &changes) == 1);
    cr_expect(!changes[0].announce);
    const struct episode over = lasting(NOW - 30 * DAY_MS, NOW - 10 * DAY_MS, 0);
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &over, 1, NOW, &changes) == 1);
    cr_expect(!changes[0].announce && shelf->alarms[0].state == ALARM_NORMAL);
    cr_assert(bring_up_to_date(shelf, &low_oxygen, NULL, 0, NOW, &changes) == 1);
    cr_expect(!changes[0].announce && shelf->alarms[0].state == ALARM_WITHDRAWN &&
              shelf->alarms[0].is_old_news);
}

Test(reconcile, old_news_that_reaches_into_the_present_becomes_news)
{
    struct shelf *shelf = shelf_new();
    const struct episode before = open_since(NOW - 30 * DAY_MS, NOW - 20 * DAY_MS, 2);
    struct alarm_change *changes;
    bring_up_to_date(shelf, &low_oxygen, &before, 1, NOW, &changes);
    const struct episode after = open_since(NOW - 30 * DAY_MS, NOW - HOUR_MS, 2);
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &after, 1, NOW, &changes) == 1);
    cr_expect(changes[0].announce && changes[0].event == NOTICE_RAISED && !changes[0].alarm.is_old_news);
    cr_expect(changes[0].alarm.state == ALARM_UNACKNOWLEDGED && changes[0].alarm.learnt == NOW);
    expect_nothing_more(shelf, &low_oxygen, &after, 1, NOW);
}

Test(reconcile, an_answered_old_alarm_is_not_raised_again)
{
    struct shelf *shelf = shelf_new();
    const struct episode before = open_since(NOW - 30 * DAY_MS, NOW - 20 * DAY_MS, 2);
    struct alarm_change *changes;
    bring_up_to_date(shelf, &low_oxygen, &before, 1, NOW, &changes);
    shelf->alarms[0].state = ALARM_ACKNOWLEDGED;
    const struct episode after = open_since(NOW - 30 * DAY_MS, NOW - HOUR_MS, 2);
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &after, 1, NOW, &changes) == 1);
    cr_expect(!changes[0].announce && shelf->alarms[0].state == ALARM_ACKNOWLEDGED);
}

Test(reconcile, old_news_does_not_wake_anybody_by_a_longer_news_age_alone)
{
    struct shelf *shelf = shelf_new();
    const struct episode found = open_since(NOW - 30 * DAY_MS, NOW - 20 * DAY_MS, 2);
    struct alarm_change *changes;
    bring_up_to_date(shelf, &low_oxygen, &found, 1, NOW, &changes);
    expect_nothing_more(shelf, &low_oxygen, &found, 1, NOW - 19 * DAY_MS);
}

Test(reconcile, the_end_of_an_announced_alarm_is_told_however_late)
{
    struct shelf *shelf = shelf_new();
    const struct episode open = open_since(NOW - HOUR_MS, NOW, 2);
    const struct episode over = lasting(NOW - HOUR_MS, NOW + HOUR_MS, 2);
    struct alarm_change *changes;
    bring_up_to_date(shelf, &low_oxygen, &open, 1, NOW, &changes);
    shelf->alarms[0].state = ALARM_ACKNOWLEDGED;
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &over, 1, NOW + 20 * DAY_MS, &changes) == 1);
    cr_expect(changes[0].what == ALARM_CHANGED && changes[0].announce && changes[0].event == NOTICE_RETURNED);
    cr_expect(changes[0].alarm.state == ALARM_NORMAL && changes[0].alarm.sequence == 2);
    cr_expect(changes[0].alarm.learnt == NOW && changes[0].alarm.changed == NOW + 20 * DAY_MS);
    expect_nothing_more(shelf, &low_oxygen, &over, 1, NOW + 30 * DAY_MS);
}

Test(reconcile, growth_is_told_at_each_whole_deadband_past_the_limit)
{
    struct shelf *shelf = shelf_new();
    struct alarm_change *changes;
    size_t told = 0;
    for (int i = 1; i <= 20; i++) { /* 2.875 ... 0.5 mg/L, by eighths: one raise, then a step each half */
        const struct episode found = open_since(NOW, NOW + i * HOUR_MS, 3 - 0.125 * i);
        cr_assert(bring_up_to_date(shelf, &low_oxygen, &found, 1, NOW + i * HOUR_MS, &changes) == 1);
        cr_expect(changes[0].announce == (i == 1 || i % 4 == 0), "%d", i);
        told += changes[0].announce;
    }
    cr_expect(told == 6 && shelf->alarms[0].sequence == 6 && shelf->alarms[0].episode.worst == 0.5);
}

Test(reconcile, without_a_deadband_a_step_is_a_tenth_of_the_limit)
{
    const struct rule rule = {.id = "high", .kind = RULE_ABOVE, .quantity = QUANTITY_LEVEL, .limit = -2};
    struct shelf *shelf = shelf_new();
    struct alarm_change *changes;
    const struct episode found[] = {open_since(NOW, NOW, -1.9), open_since(NOW, NOW, -1.85),
                                    open_since(NOW, NOW, -1.75)};
    bring_up_to_date(shelf, &rule, &found[0], 1, NOW, &changes);
    cr_assert(bring_up_to_date(shelf, &rule, &found[1], 1, NOW, &changes) == 1);
    cr_expect(!changes[0].announce);
    cr_assert(bring_up_to_date(shelf, &rule, &found[2], 1, NOW, &changes) == 1);
    cr_expect(changes[0].announce && changes[0].event == NOTICE_UPDATED);
    cr_assert(bring_up_to_date(shelf, &rule, &found[0], 1, NOW, &changes) == 1);
    cr_expect(!changes[0].announce, "a correction that makes it milder is stored, not told");
}

Test(reconcile, a_vanished_episode_is_withdrawn_and_may_come_back)
{
    struct shelf *shelf = shelf_new();
    const struct episode found = open_since(NOW - HOUR_MS, NOW, 2);
    struct alarm_change *changes;
    bring_up_to_date(shelf, &low_oxygen, &found, 1, NOW, &changes);
    cr_assert(bring_up_to_date(shelf, &low_oxygen, NULL, 0, NOW, &changes) == 1);
    cr_expect(changes[0].announce && changes[0].event == NOTICE_WITHDRAWN);
    cr_expect(shelf->alarms[0].state == ALARM_WITHDRAWN && shelf->alarms[0].episode.end == NOW);
    expect_nothing_more(shelf, &low_oxygen, NULL, 0, NOW);
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &found, 1, NOW + MINUTE_MS, &changes) == 1);
    cr_expect(changes[0].announce && changes[0].event == NOTICE_RAISED && changes[0].alarm.sequence == 3);
    cr_expect(shelf->alarms[0].state == ALARM_UNACKNOWLEDGED && shelf->alarms[0].learnt == NOW);
    expect_nothing_more(shelf, &low_oxygen, &found, 1, NOW + MINUTE_MS);
}

Test(reconcile, a_withdrawn_open_alarm_does_not_swallow_a_later_episode)
{
    struct shelf *shelf = shelf_new();
    const struct episode first = open_since(NOW - HOUR_MS, NOW, 2),
                         later = open_since(NOW + DAY_MS, NOW + DAY_MS, 2);
    struct alarm_change *changes;
    bring_up_to_date(shelf, &low_oxygen, &first, 1, NOW, &changes);
    bring_up_to_date(shelf, &low_oxygen, NULL, 0, NOW, &changes);
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &later, 1, NOW + DAY_MS, &changes) == 1);
    cr_expect(changes[0].what == ALARM_NEW);
}

Test(reconcile, an_ended_alarm_that_turns_out_to_last_recurs)
{
    struct shelf *shelf = shelf_new();
    const struct episode over = lasting(NOW - HOUR_MS, NOW, 2),
                         open = open_since(NOW - HOUR_MS, NOW + HOUR_MS, 2);
    struct alarm_change *changes;
    bring_up_to_date(shelf, &low_oxygen, &over, 1, NOW, &changes);
    shelf->alarms[0].state = ALARM_NORMAL;
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &open, 1, NOW + HOUR_MS, &changes) == 1);
    cr_expect(changes[0].announce && changes[0].event == NOTICE_RAISED &&
              shelf->alarms[0].state == ALARM_UNACKNOWLEDGED);
}

Test(reconcile, an_episode_that_splits_keeps_its_alarm_for_the_first_part)
{
    struct shelf *shelf = shelf_new();
    const struct episode whole = lasting(NOW - 10 * HOUR_MS, NOW, 1);
    const struct episode parts[] = {lasting(NOW - 10 * HOUR_MS, NOW - 8 * HOUR_MS, 2),
                                    lasting(NOW - 2 * HOUR_MS, NOW, 1)};
    struct alarm_change *changes;
    bring_up_to_date(shelf, &low_oxygen, &whole, 1, NOW, &changes);
    cr_assert(bring_up_to_date(shelf, &low_oxygen, parts, 2, NOW, &changes) == 2);
    cr_expect(changes[0].what == ALARM_CHANGED && !changes[0].announce && changes[0].alarm.id == 1);
    cr_expect(changes[1].what == ALARM_NEW && changes[1].announce);
    expect_nothing_more(shelf, &low_oxygen, parts, 2, NOW);

    cr_assert(bring_up_to_date(shelf, &low_oxygen, &whole, 1, NOW, &changes) == 2);
    cr_expect(changes[0].alarm.id == 1 && changes[1].alarm.id == 2 && changes[1].event == NOTICE_WITHDRAWN);
    expect_nothing_more(shelf, &low_oxygen, &whole, 1, NOW);
}

/* Two alarms overlap (one was left behind by a silence that was filled), and the one that is matched moves
 * behind the other. */
Test(reconcile, an_alarm_left_behind_never_changes_places_with_a_living_one)
{
    struct shelf *shelf = shelf_new();
    const struct episode moved = lasting(NOW + 12 * HOUR_MS, NOW + 22 * HOUR_MS, 1);
    shelf->alarms[0] =
        (struct alarm){.id = 1, .episode = open_since(NOW + 5 * HOUR_MS, NOW + 15 * HOUR_MS, 1)};
    shelf->alarms[1] = (struct alarm){
        .id = 2, .state = ALARM_NORMAL, .episode = lasting(NOW + 10 * HOUR_MS, NOW + 20 * HOUR_MS, 1)};
    shelf->count = 2;
    struct alarm_change *changes;
    cr_assert(bring_up_to_date(shelf, &silent, &moved, 1, NOW + 30 * HOUR_MS, &changes) == 1);
    cr_expect(changes[0].alarm.id == 1);
    expect_nothing_more(shelf, &silent, &moved, 1, NOW + 30 * HOUR_MS);
}

Test(reconcile, touching_times_are_the_same_alarm_and_apart_are_two)
{
    struct shelf *shelf = shelf_new();
    const struct episode first = lasting(NOW - 10 * HOUR_MS, NOW - 5 * HOUR_MS, 2);
    const struct episode touching = lasting(NOW - 5 * HOUR_MS, NOW, 2),
                         apart = lasting(NOW + 1, NOW + HOUR_MS, 2);
    struct alarm_change *changes;
    bring_up_to_date(shelf, &low_oxygen, &first, 1, NOW, &changes);
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &touching, 1, NOW, &changes) == 1);
    cr_expect(changes[0].what == ALARM_CHANGED && !changes[0].announce);
    cr_assert(bring_up_to_date(shelf, &low_oxygen, &apart, 1, NOW, &changes) == 2);
    cr_expect(changes[0].what == ALARM_NEW && changes[1].event == NOTICE_WITHDRAWN);
}

Test(reconcile, alarms_and_episodes_beyond_the_window_are_left_alone)
{
    struct alarm stored = {.id = 1,
                           .station = "heron-creek",
                           .rule = "low-oxygen",
                           .episode = lasting(NOW - 10 * HOUR_MS, NOW - 5 * HOUR_MS, 2),
                           .state = ALARM_NORMAL};
    const struct episode found = lasting(NOW + 2 * HOUR_MS, NOW + 3 * HOUR_MS, 2);
    const struct reconcile_input input = {.station = "heron-creek",
                                          .rule = &low_oxygen,
                                          .stored = &stored,
                                          .stored_count = 1,
                                          .found = &found,
                                          .found_count = 1,
                                          .window = {NOW, NOW + HOUR_MS},
                                          .now = NOW};
    struct alarm_change *changes;
    cr_expect(reconcile(arena, &input, &changes) == 0);
}

Test(reconcile, silence_that_is_filled_returns_as_heard_again)
{
    struct shelf *shelf = shelf_new();
    struct episode found = open_since(NOW - HOUR_MS, NOW, 25.0 * HOUR_MS);
    struct alarm_change *changes;
    bring_up_to_date(shelf, &silent, &found, 1, NOW, &changes);
    cr_expect(changes[0].event == NOTICE_RAISED);
    cr_assert(bring_up_to_date(shelf, &silent, NULL, 0, NOW + HOUR_MS, &changes) == 1);
    cr_expect(changes[0].announce && changes[0].event == NOTICE_RETURNED);
    cr_expect(changes[0].alarm.episode.end == NOW + HOUR_MS &&
              changes[0].alarm.state == ALARM_RETURNED_UNACKNOWLEDGED);
    cr_expect_str_eq(changes[0].alarm.episode.detail, "heard again");
    expect_nothing_more(shelf, &silent, NULL, 0, NOW + DAY_MS);
}

Test(reconcile, lasting_silence_is_stored_by_tenths_and_never_told_twice)
{
    struct shelf *shelf = shelf_new();
    struct alarm_change *changes;
    size_t stored = 0, told = 0;
    for (int i = 0; i < 1000; i++) { /* 1000 looks, a minute apart */
        int64_t now = NOW + i * MINUTE_MS;
        const struct episode found = open_since(NOW, now, (double)(DAY_MS + i * MINUTE_MS));
        size_t n = bring_up_to_date(shelf, &silent, &found, 1, now, &changes);
        stored += n;
        told += n && changes[0].announce;
    }
    cr_expect(told == 1);
    cr_expect(stored == 1 + 1000 / 144, "%zu", stored); /* a tenth of a day is 144 min */
}

Test(reconcile, silence_comes_with_the_clock_and_goes_with_data)
{
    struct shelf *shelf = shelf_new();
    struct record record = series_read(arena, QUANTITY_LEVEL, "1 1 ~2000 1");
    record.n = 2;
    for (int64_t now = 0; now < 2 * DAY_MS; now += HOUR_MS) {
        take_span(shelf, &silent, &record, (struct span){now, now}, now);
        cr_expect(shelf->count == (now > DAY_MS + SERIES_STEP), "%d h", (int)(now / HOUR_MS));
    }
    cr_expect(shelf->alarms[0].state == ALARM_UNACKNOWLEDGED && shelf->alarms[0].sequence == 1);
    record.n = 3;
    int64_t heard = record.time[2], now = 2 * DAY_MS;
    take_span(shelf, &silent, &record, (struct span){heard, heard + 1}, now);
    cr_expect(shelf->count == 1 && shelf->alarms[0].state == ALARM_RETURNED_UNACKNOWLEDGED);
    cr_expect(shelf->alarms[0].episode.end == heard && shelf->alarms[0].sequence == 2);
}

Test(reconcile, a_silence_that_moved_on_is_the_same_alarm)
{
    struct shelf *shelf = shelf_new();
    const struct episode before = open_since(NOW, NOW + DAY_MS, 2.0 * DAY_MS);
    const struct episode after = open_since(NOW + 3 * DAY_MS, NOW + 9 * DAY_MS, 7.0 * DAY_MS);
    struct alarm_change *changes;
    bring_up_to_date(shelf, &silent, &before, 1, NOW + DAY_MS, &changes);
    cr_assert(bring_up_to_date(shelf, &silent, &after, 1, NOW + 9 * DAY_MS, &changes) == 1);
    cr_expect(changes[0].what == ALARM_CHANGED && !changes[0].announce);
    cr_expect(shelf->alarms[0].episode.start == NOW + 3 * DAY_MS);
}

Test(reconcile, a_drop_in_order_again_returns)
{
    const struct drop_fact drop = {
        .path = "north/a.csv", .state = DROP_SET_ASIDE, .since = NOW, .message = "no header"};
    struct drop_episode *found;
    struct shelf *shelf = shelf_new();
    struct alarm_change *changes;
    cr_assert(rules_drop_episodes(arena, &bad_drop, &drop, 1, NOW + MINUTE_MS, &found) == 1);
    bring_up_to_date(shelf, &bad_drop, &found[0].episode, 1, NOW + MINUTE_MS, &changes);
    cr_expect(changes[0].announce);
    rules_drop_episodes(arena, &bad_drop, &drop, 1, NOW + 2 * MINUTE_MS, &found);
    expect_nothing_more(shelf, &bad_drop, &found[0].episode, 1, NOW + 2 * MINUTE_MS);
    cr_assert(bring_up_to_date(shelf, &bad_drop, NULL, 0, NOW + HOUR_MS, &changes) == 1);
    cr_expect(changes[0].event == NOTICE_RETURNED && shelf->alarms[0].episode.end == NOW + HOUR_MS);
    cr_expect_str_eq(shelf->alarms[0].episode.detail, "no longer waiting");
}

Test(reconcile, the_window_grows_to_hold_whole_episodes_and_no_further)
{
    struct alarm stored = {
        .id = 1, .episode = lasting(10 * DAY_MS, 20 * DAY_MS, 2), .state = ALARM_ACKNOWLEDGED};
    struct span window = {15 * DAY_MS, 16 * DAY_MS};
    cr_expect(reconcile_widen(&low_oxygen, &stored, 1, NULL, 0, TIME_NONE, &window));
    cr_expect(window.from == 10 * DAY_MS - rules_lead_in(&low_oxygen));
    cr_expect(window.to == 20 * DAY_MS + rules_lead_out(&low_oxygen));
    cr_expect(!reconcile_widen(&low_oxygen, &stored, 1, NULL, 0, TIME_NONE, &window));

    window = (struct span){15 * DAY_MS, 16 * DAY_MS};
    stored.state = ALARM_WITHDRAWN;
    cr_expect(!reconcile_widen(&low_oxygen, &stored, 1, NULL, 0, TIME_NONE, &window),
              "a withdrawn one is no episode");

    const struct episode found = open_since(15 * DAY_MS, 16 * DAY_MS, 2);
    cr_expect(!reconcile_widen(&low_oxygen, NULL, 0, &found, 1, TIME_NONE, &window), "the data end here");
    cr_expect(reconcile_widen(&low_oxygen, NULL, 0, &found, 1, 16 * DAY_MS, &window) &&
              window.to > 17 * DAY_MS);

    stored =
        (struct alarm){.id = 1, .episode = open_since(10 * DAY_MS, 16 * DAY_MS, 2), .state = ALARM_SHELVED};
    cr_expect(reconcile_widen(&low_oxygen, &stored, 1, NULL, 0, TIME_NONE, &window) &&
              window.to == TIME_FOREVER);
}

/* Rows arrive in random blocks, late ones before early ones; after each block only its window is evaluated.
 * What is stored must be what one look at all rows gives, and a second look at any time must find nothing to
 * do. */
Test(reconcile, blocks_in_any_order_give_what_the_whole_series_gives)
{
    uint64_t random = 3;
    for (int round = 0; round < 250; round++) {
        arena_reset(arena);
        struct rule rule = random_rule(&random);
        struct record whole = series_for(&rule, &random);
        size_t block = 1 + random_below(&random, 80), block_count = (whole.n + block - 1) / block;
        size_t *order = arena_array(arena, block_count, sizeof *order);
        for (size_t i = 0; i < block_count; i++) {
            size_t j = random_below(&random, i + 1);
            order[i] = order[j];
            order[j] = i;
        }
        bool *is_there = arena_array(arena, whole.n, sizeof *is_there);
        struct shelf *shelf = shelf_new();
        int64_t now = whole.time[whole.n - 1];
        for (size_t b = 0; b < block_count; b++) {
            size_t first = order[b] * block, end = first + block < whole.n ? first + block : whole.n;
            for (size_t i = first; i < end; i++)
                is_there[i] = true;
            struct record present = without_rows(&whole, is_there);
            take_span(shelf, &rule, &present, (struct span){whole.time[first], whole.time[end - 1] + 1}, now);
            expect_shelf_holds(shelf, &rule, &present, now, round);
        }
    }
}

/* A finished series is corrected in random places: values struck, restored, changed. */
Test(reconcile, corrections_in_place_give_what_the_whole_series_gives)
{
    uint64_t random = 5;
    for (int round = 0; round < 150; round++) {
        arena_reset(arena);
        struct rule rule = random_rule(&random);
        struct record record = series_for(&rule, &random);
        struct shelf *shelf = shelf_new();
        int64_t now = record.time[record.n - 1];
        take_span(shelf, &rule, &record, (struct span){0, now + 1}, now);
        for (int correction = 0; correction < 20; correction++) {
            size_t first = random_below(&random, record.n), end = first + 1 + random_below(&random, 30);
            end = end < record.n ? end : record.n;
            double shift = (double)random_below(&random, 5) - 2;
            uint8_t flag = random_below(&random, 2) ? FLAG_PASS : FLAG_FAIL;
            for (size_t i = first; i < end; i++) {
                record.value[QUANTITY_LEVEL][i] += shift;
                record.flag[QUANTITY_LEVEL][i] = flag;
            }
            take_span(shelf, &rule, &record, (struct span){record.time[first], record.time[end - 1] + 1},
                      now);
            expect_shelf_holds(shelf, &rule, &record, now, round);
        }
    }
}

/* ... and with people answering and shelving in between: whatever is open is active, whatever ended is not.
 */
Test(reconcile, people_and_data_in_any_order_leave_no_alarm_stuck)
{
    static const enum alarm_event answers[] = {ALARM_EVENT_ACKNOWLEDGED, ALARM_EVENT_SHELVED,
                                               ALARM_EVENT_UNSHELVED};
    uint64_t random = 13;
    for (int round = 0; round < 2000; round++) {
        arena_reset(arena);
        struct shelf *shelf = shelf_new();
        int64_t now = NOW;
        for (int i = 0; i < 20; i++) {
            struct episode found[3];
            size_t n = random_below(&random, 4);
            int64_t at = NOW - DAY_MS;
            for (size_t e = 0; e < n; e++) {
                int64_t start = at + (int64_t)(1 + random_below(&random, 10)) * HOUR_MS;
                at = start + (int64_t)random_below(&random, 10) * HOUR_MS;
                bool is_open = e + 1 == n && random_below(&random, 2);
                double worst = (double)random_below(&random, 30) / 10;
                found[e] = is_open ? open_since(start, at, worst) : lasting(start, at, worst);
            }
            struct alarm_change *changes;
            bring_up_to_date(shelf, &low_oxygen, found, n, now, &changes);
            expect_nothing_more(shelf, &low_oxygen, found, n, now);
            for (size_t a = 0; a < shelf->count; a++) {
                struct alarm *alarm = &shelf->alarms[a];
                cr_assert(lifecycle_is_active(alarm->state) == (alarm->episode.end == TIME_NONE), "round %d",
                          round);
                if (random_below(&random, 3) == 0)
                    alarm->state = lifecycle_step(alarm->state, answers[random_below(&random, 3)]).next;
            }
            now += (int64_t)random_below(&random, 30) * HOUR_MS;
        }
    }
}

static struct episode lasting(int64_t start, int64_t end, double worst)
{
    return (struct episode){.start = start,
                            .raised = start,
                            .end = end,
                            .worst = worst,
                            .worst_time = start,
                            .last = worst,
                            .last_time = start};
}

static struct episode open_since(int64_t start, int64_t last_time, double worst)
{
    return (struct episode){.start = start,
                            .raised = start,
                            .end = TIME_NONE,
                            .worst = worst,
                            .worst_time = start,
                            .last = worst,
                            .last_time = last_time};
}

/* Reconcile over all time and store what comes out. */
static size_t bring_up_to_date(struct shelf *shelf, const struct rule *rule, const struct episode *found,
                               size_t n, int64_t now, struct alarm_change **ret)
{
    const struct reconcile_input input = {.station = "heron-creek",
                                          .rule = rule,
                                          .stored = shelf_sort(shelf),
                                          .stored_count = shelf->count,
                                          .found = found,
                                          .found_count = n,
                                          .window = {TIME_NONE, TIME_FOREVER},
                                          .now = now,
                                          .news_age = NEWS_AGE};
    size_t count = reconcile(arena, &input, ret);
    for (size_t i = 0; i < count; i++) {
        struct alarm *alarm = &(*ret)[i].alarm;
        size_t place = 0;
        if ((*ret)[i].what == ALARM_NEW) {
            cr_assert(alarm->id == 0 && shelf->count < STORED_LIMIT);
            place = shelf->count++;
            alarm->id = (int64_t)shelf->count;
        }
        while ((*ret)[i].what == ALARM_CHANGED && shelf->alarms[place].id != alarm->id)
            cr_assert(++place < shelf->count);
        shelf->alarms[place] = *alarm;
    }
    return count;
}

static void expect_nothing_more(struct shelf *shelf, const struct rule *rule, const struct episode *found,
                                size_t n, int64_t now)
{
    struct alarm_change *changes;
    size_t count = bring_up_to_date(shelf, rule, found, n, now, &changes);
    cr_assert(count == 0, "%zu changes the second time", count);
}

static int compare_alarms(const void *a, const void *b)
{
    const struct alarm *left = a, *right = b;
    if (left->episode.start != right->episode.start)
        return left->episode.start < right->episode.start ? -1 : 1;
    return (left->id > right->id) - (left->id < right->id);
}

static struct alarm *shelf_sort(struct shelf *shelf)
{
    qsort(shelf->alarms, shelf->count, sizeof shelf->alarms[0], compare_alarms);
    return shelf->alarms;
}

/* The loop of the header, with the shelf as the database. */
static void take_span(struct shelf *shelf, const struct rule *rule, const struct record *record,
                      struct span changed, int64_t now)
{
    struct span window = {changed.from - rules_lead_in(rule), changed.to + rules_lead_out(rule)};
    struct alarm *stored = arena_array(arena, shelf->count, sizeof *stored);
    size_t stored_count, found_count;
    struct episode *found;
    int64_t after;
    do {
        stored_count = 0;
        shelf_sort(shelf);
        for (size_t i = 0; i < shelf->count; i++) {
            const struct episode *episode = &shelf->alarms[i].episode;
            if (episode->start <= window.to && (episode->end == TIME_NONE || episode->end >= window.from))
                stored[stored_count++] = shelf->alarms[i];
        }
        struct record rows = record_between(record, window.from, window.to);
        size_t first = record_at_or_after(record, window.from), end = record_at_or_after(record, window.to);
        after = end < record->n ? record->time[end] : TIME_NONE;
        struct rule_view view = {.rule = rule, .record = &rows, .after = after, .now = now};
        view.stages = stages_of(rule, record, window);
        view.before = first > 0 ? record->time[first - 1] : TIME_NONE;
        found_count = rules_evaluate(arena, &view, &found);
    } while (reconcile_widen(rule, stored, stored_count, found, found_count, after, &window));

    struct reconcile_input input = {.station = "heron-creek",
                                    .rule = rule,
                                    .stored = stored,
                                    .stored_count = stored_count,
                                    .found = found,
                                    .found_count = found_count,
                                    .window = window,
                                    .now = now,
                                    .news_age = NEWS_AGE};
    struct alarm_change *changes;
    size_t count = reconcile(arena, &input, &changes);
    for (size_t i = 0; i < count; i++) {
        struct alarm *alarm = &changes[i].alarm;
        if (changes[i].what == ALARM_NEW) {
            cr_assert(shelf->count < STORED_LIMIT);
            alarm->id = (int64_t)shelf->count + 1;
            shelf->alarms[shelf->count++] = *alarm;
        }
        for (size_t j = 0; j < shelf->count; j++)
            if (shelf->alarms[j].id == alarm->id)
                shelf->alarms[j] = *alarm;
    }
}

/* Of the rows in the window, as service/ has them: by the rows around it too. */
static const uint8_t *stages_of(const struct rule *rule, const struct record *record, struct span window)
{
    if (!tide_is_asked(rule))
        return NULL;
    struct record around = *record;
    if (window.from != TIME_NONE)
        around = record_between(record, window.from - TIDE_BEHIND,
                                window.to == TIME_FOREVER ? TIME_FOREVER : window.to + TIDE_AHEAD_OF_ALL);
    return tide_stages(arena, &around) + record_at_or_after(&around, window.from);
}

static struct record series_for(const struct rule *rule, uint64_t *random)
{
    return tide_is_asked(rule) ? series_tidal(arena, 400, random)
                               : series_random(arena, QUANTITY_LEVEL, 400, random);
}

static struct rule random_rule(uint64_t *random)
{
    enum rule_kind kinds[RULE_KIND_COUNT + 2];
    size_t kind_count = series_kinds(kinds);
    kinds[kind_count++] = RULE_SILENCE;
    kinds[kind_count++] = RULE_GAP;
    enum rule_kind kind = kinds[random_below(random, kind_count)];
    bool asks_for_tide = kind != RULE_SILENCE && kind != RULE_GAP && random_below(random, 3) == 0;
    return (struct rule){
        .conditions = {{.quantity = QUANTITY_COUNT,
                        .below = NAN,
                        .above = NAN,
                        .stages = 1u + (unsigned)random_below(random, 14)}},
        .condition_count = asks_for_tide,
        .id = "random",
        .kind = kind,
        .quantity = kind == RULE_SILENCE || kind == RULE_GAP ? QUANTITY_COUNT : QUANTITY_LEVEL,
        .low = -0.5,
        .high = 0.5,
        .limit = 0.5 * (double)(1 + random_below(random, 3)),
        .deadband = 0.25 * (double)random_below(random, 3),
        .window = (int64_t)(1 + random_below(random, random_below(random, 4) ? 300 : 6000)) * MINUTE_MS,
        .on_delay = (int64_t)random_below(random, 12) * SERIES_STEP,
        .off_delay = (int64_t)random_below(random, 12) * SERIES_STEP,
        .samples = (int)random_below(random, 8),
        .counts_suspect = random_below(random, 2)};
}

/* The alarms that are not withdrawn are the episodes of the whole record, one each. A filled silence keeps
 * its alarm. */
static void expect_shelf_holds(const struct shelf *shelf, const struct rule *rule,
                               const struct record *record, int64_t now, int round)
{
    struct rule_view view = {
        .rule = rule, .record = record, .before = TIME_NONE, .after = TIME_NONE, .now = now};
    view.stages = stages_of(rule, record, (struct span){TIME_NONE, TIME_FOREVER});
    struct episode *all;
    size_t count = rules_evaluate(arena, &view, &all), alive = 0;
    for (size_t i = 0; i < shelf->count; i++) {
        const struct alarm *alarm = &shelf->alarms[i];
        alive += alarm->state != ALARM_WITHDRAWN && strcmp(alarm->episode.detail, "heard again") != 0;
        cr_assert(lifecycle_is_active(alarm->state) == (alarm->episode.end == TIME_NONE));
    }
    for (size_t e = 0; e < count; e++) {
        bool is_held = false;
        for (size_t i = 0; i < shelf->count && !is_held; i++)
            is_held = shelf->alarms[i].state != ALARM_WITHDRAWN &&
                      memcmp(&shelf->alarms[i].episode, &all[e], sizeof all[e]) == 0;
        cr_assert(is_held, "round %d, kind %s: episode %s", round, rule_kind_word(rule->kind),
                  series_print(arena, &all[e], 1));
    }
    if (rule->kind != RULE_SILENCE)
        cr_assert(alive == count, "round %d, kind %s: %zu stored, %zu found", round,
                  rule_kind_word(rule->kind), alive, count);
}

static struct record without_rows(const struct record *record, const bool *is_there)
{
    struct record present;
    record_init(&present, arena, record->n, record_columns(record));
    size_t n = 0;
    for (size_t i = 0; i < record->n; i++) {
        if (!is_there[i])
            continue;
        present.time[n] = record->time[i];
        present.value[QUANTITY_LEVEL][n] = record->value[QUANTITY_LEVEL][i];
        present.flag[QUANTITY_LEVEL][n++] = record->flag[QUANTITY_LEVEL][i];
    }
    present.n = n;
    return present;
}

static struct shelf *shelf_new(void)
{
    static struct shelf shelf; /* one at a time: each test is a process, each round begins anew */
    shelf.count = 0;
    return &shelf;
}
