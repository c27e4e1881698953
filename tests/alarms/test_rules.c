/* SPDX-License-Identifier: MIT */
#include "alarms/rules.h"

#include "alarms/series.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "config/vocabulary.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#ifndef RILLWARD_SOURCE_ROOT
#define RILLWARD_SOURCE_ROOT "."
#endif

#define METRES_PER_FOOT 0.3048 /* exact */
#define FLOOD_ROWS 10000

static struct arena *arena;

static void set_up(void)
{
    arena = arena_new();
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(rules, .init = set_up, .fini = tear_down);

/* One behaviour: a series of 10 min steps and the episodes it gives. */
struct behaviour {
    const char *what;
    struct rule rule;
    const char *series, *expected;
};

static void expect_behaviours(const struct behaviour *rows, size_t n);
static size_t evaluate(const struct rule *rule, const struct record *record, struct episode **ret);
static size_t evaluate_checks(const struct rule *rule, const struct check_result *checks, size_t n,
                              struct episode **ret);
static size_t read_flood(struct record *record);

Test(rules, below_and_above_are_strict_and_end_at_the_first_value_back)
{
    const struct rule below = {.kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3};
    const struct rule above = {.kind = RULE_ABOVE, .quantity = QUANTITY_OXYGEN, .limit = 3};
    const struct behaviour rows[] = {
        {"nothing", below, "", ""},
        {"never met", below, "5 4 3 4", ""},
        {"one sample", below, "5 2 5", "10..20 raised 10 worst 2@10 last 2@10"},
        {"ends at the limit itself", below, "5 2 1 3 2.5",
         "10..30 raised 10 worst 1@20 last 1@20; "
         "40..open raised 40 worst 2.5@40 last 2.5@40"},
        {"from the first sample", below, "1 5", "0..10 raised 0 worst 1@0 last 1@0"},
        {"open at the end", below, "5 2 1 2", "10..open raised 10 worst 1@20 last 2@30"},
        {"above mirrors below", above, "1 4 5 3 1", "10..30 raised 10 worst 5@20 last 5@20"},
        {"the limit is not past the limit, whatever the rounding", above, "3.0000000000000004 2", ""},
    };
    expect_behaviours(rows, COUNT_OF(rows));
}

Test(rules, the_deadband_holds_an_episode_until_the_value_is_back_past_it)
{
    const struct rule below = {.kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3, .deadband = 0.5};
    const struct rule above = {.kind = RULE_ABOVE, .quantity = QUANTITY_OXYGEN, .limit = 3.2, .deadband = 0.2};
    const struct behaviour rows[] = {
        {"holds inside", below, "2 3.4 2 3.5", "0..30 raised 0 worst 2@0 last 2@20"},
        {"ends exactly at its edge", above, "4 3.1 3", "0..20 raised 0 worst 4@0 last 3.1@10"},
        {"open inside", below, "2 3.4", "0..open raised 0 worst 2@0 last 3.4@10"},
        {"begins only past the limit", below, "3.2 3.4 3.1", ""},
        {"edge met by rounded sums",
         (struct rule){.kind = RULE_BELOW, .limit = 3.2, .deadband = 0.2, .quantity = QUANTITY_OXYGEN}, "3 3.4",
         "0..10 raised 0 worst 3@0 last 3@0"},
    };
    expect_behaviours(rows, COUNT_OF(rows));
}

Test(rules, on_delay_waits_for_samples_that_all_meet_the_condition)
{
    const struct rule rule = {
        .kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3, .deadband = 1, .on_delay = 20 * MINUTE_MS};
    const struct behaviour rows[] = {
        {"served exactly", rule, "5 2 2 2 5", "10..40 raised 30 worst 2@10 last 2@30"},
        {"one sample short", rule, "5 2 2 5", ""},
        {"not served at the end of the data", rule, "5 2 2", ""},
        {"open once served", rule, "5 2 1 2", "10..open raised 30 worst 1@20 last 2@30"},
        {"the deadband does not carry it", rule, "2 2 3.2 2 2", ""},
        {"begins anew", rule, "2 2 3 2 2 2 9", "30..60 raised 50 worst 2@30 last 2@50"},
        {"a missing value does not break it", rule, "2 - 2 9", "0..30 raised 20 worst 2@0 last 2@20"},
        {"served by the sample behind a short pause", rule, "2 ~300 2", "0..open raised 300 worst 2@0 last 2@300"},
        {"a day's pause is the longest", rule, "2 ~1440 2", "0..open raised 1440 worst 2@0 last 2@1440"},
        {"a longer pause begins it anew", rule, "2 ~1441 2", ""},
        {"and is served behind it", rule, "2 ~1441 1 1 1", "1441..open raised 1461 worst 1@1441 last 1@1461"},
    };
    expect_behaviours(rows, COUNT_OF(rows));
}

Test(rules, a_smallest_number_of_samples_waits_for_as_many_in_a_row)
{
    struct rule rule = {.kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3, .samples = 3};
    const struct rule one = {.kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3, .samples = 1};
    struct rule slow = rule;
    slow.on_delay = 40 * MINUTE_MS;
    const struct behaviour rows[] = {
        {"one is enough by default", one, "5 2 5", "10..20 raised 10 worst 2@10 last 2@10"},
        {"served by the third", rule, "5 2 1 2 5", "10..40 raised 30 worst 1@20 last 2@30"},
        {"two are too few", rule, "5 2 1 5 2 1 5", ""},
        {"not served at the end of the data", rule, "5 2 1", ""},
        {"a missing value is not counted", rule, "2 - 2 9", ""},
        {"and breaks nothing", rule, "2 - 2 2 9", "0..40 raised 30 worst 2@0 last 2@30"},
        {"a spike of two samples between good ones", rule, "5 1 1 5 5 1 1 5", ""},
        {"counting begins anew behind a long pause", rule, "2 2 ~1441 2 2", ""},
        {"and goes on over a short one", rule, "2 2 ~1440 2", "0..open raised 1450 worst 2@0 last 2@1450"},
        {"the delay is served too", slow, "2 2 2 2 9", ""},
        {"the later of both raises it", slow, "2 2 2 2 2", "0..open raised 40 worst 2@0 last 2@40"},
    };
    expect_behaviours(rows, COUNT_OF(rows));
}

Test(rules, a_long_delay_allows_as_long_a_pause)
{
    const struct rule rule = {.kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3, .on_delay = 2 * DAY_MS};
    const struct behaviour rows[] = {
        {"two days", rule, "2 ~2880 2", "0..open raised 2880 worst 2@0 last 2@2880"},
        {"more", rule, "2 ~2881 2", ""},
    };
    expect_behaviours(rows, COUNT_OF(rows));
}

Test(rules, off_delay_confirms_a_return_and_dates_it_back)
{
    const struct rule rule = {
        .kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3, .deadband = 1, .off_delay = 20 * MINUTE_MS};
    const struct behaviour rows[] = {
        {"confirmed", rule, "2 5 5 5", "0..10 raised 0 worst 2@0 last 2@0"},
        {"not yet confirmed: open, last is the latest value", rule, "2 5 6", "0..open raised 0 worst 2@0 last 6@20"},
        {"interrupted", rule, "2 5 1 5 5 5", "0..30 raised 0 worst 1@20 last 1@20"},
        {"the deadband does not interrupt", rule, "2 5 3.5 5", "0..10 raised 0 worst 2@0 last 2@0"},
        {"a longer pause begins it anew", rule, "2 5 ~1441 5 5 5", "0..1451 raised 0 worst 2@0 last 2@0"},
        {"also where the value lies inside the deadband", rule, "2 5 ~1441 3.5 5 5",
         "0..1451 raised 0 worst 2@0 last 2@0"},
        {"an episode holds over any pause", rule, "2 ~99999 1", "0..open raised 0 worst 1@99999 last 1@99999"},
    };
    expect_behaviours(rows, COUNT_OF(rows));
}

Test(rules, flags_and_missing_values_decide_what_counts)
{
    const struct rule rule = {.kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3};
    const struct rule suspect = {.kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3, .counts_suspect = true};
    const struct behaviour rows[] = {
        {"suspect does not count", rule, "5 2? 5", ""},
        {"unless told", suspect, "5 2? 5", "10..20 raised 10 worst 2@10 last 2@10"},
        {"fail never", suspect, "5 2! 5", ""},
        {"a failed value does not end it", rule, "2 9! 2 5", "0..30 raised 0 worst 2@0 last 2@20"},
        {"missing at the end: last is the last counted", rule, "2 1 - -", "0..open raised 0 worst 1@10 last 1@10"},
        {"nothing but missing", rule, "- - -", ""},
    };
    expect_behaviours(rows, COUNT_OF(rows));
    struct record flagged = series_read(arena, QUANTITY_OXYGEN, "2 2 2");
    flagged.flag[QUANTITY_OXYGEN][0] = FLAG_MISSING;
    flagged.value[QUANTITY_OXYGEN][1] = INFINITY;
    flagged.flag[QUANTITY_OXYGEN][2] = FLAG_NOT_EVALUATED;
    struct episode *found;
    cr_assert(evaluate(&rule, &flagged, &found) == 1);
    cr_expect(found[0].start == 20 * MINUTE_MS, "a number flagged missing, or no finite number, does not count");
}

Test(rules, rise_and_fall_look_back_over_their_window)
{
    const struct rule rise = {.kind = RULE_RISE, .quantity = QUANTITY_LEVEL, .limit = 1, .window = 30 * MINUTE_MS};
    const struct rule fall = {.kind = RULE_FALL, .quantity = QUANTITY_LEVEL, .limit = 1, .window = 30 * MINUTE_MS};
    const struct behaviour rows[] = {
        {"sudden", rise, "0 2 2 2 2 2", "10..40 raised 10 worst 2@10 last 2@30"},
        {"the edge of the window counts", rise, "0 0.5 0.5 1.5", "30..open raised 30 worst 1.5@30 last 1.5@30"},
        {"beyond it does not", rise, "0 0.5 0.5 0.5 1.25", ""},
        {"too slow", rise, "0 0.25 0.5 0.75 1 1.25 1.5", ""},
        {"exactly the limit is not past it", rise, "0.3 1.3 0.3", ""},
        {"a pause longer than the window shows no change", rise, "0 ~60 5 5", ""},
        {"and ends it", rise, "0 2 ~60 9", "10..70 raised 10 worst 2@10 last 2@10"},
        {"a suspect spike is left out", rise, "0 3? 0 0", ""},
        {"a failed low is no base", rise, "5 0! 5", ""},
        {"the earlier fall does not hide the rise", rise, "5 0 2 2", "20..open raised 20 worst 2@20 last 2@30"},
        {"falling is no rise", rise, "5 3 1", ""},
        {"fall", fall, "5 3 3 3 3", "10..40 raised 10 worst 2@10 last 2@30"},
        {"rising is no fall", fall, "1 3 5", ""},
    };
    expect_behaviours(rows, COUNT_OF(rows));
}

Test(rules, outside_is_below_or_above_a_band_with_one_deadband_for_both)
{
    const struct rule band = {.kind = RULE_OUTSIDE, .quantity = QUANTITY_SALINITY, .low = 2, .high = 30, .deadband = 1};
    const struct rule open_above = {.kind = RULE_OUTSIDE, .quantity = QUANTITY_SALINITY, .low = 2, .high = INFINITY};
    const struct behaviour rows[] = {
        {"below", band, "5 1 2.5 3", "10..30 raised 10 worst 1@10 last 2.5@20"},
        {"above", band, "5 31 29.5 29", "10..30 raised 10 worst 31@10 last 29.5@20"},
        {"the ends belong to the band", band, "2 30", ""},
        {"from one side to the other is one episode, the worst is the farther out", band, "31 -1 20",
         "0..20 raised 0 worst -1@10 last -1@10"},
        {"one end may be open", open_above, "99 1 2", "10..20 raised 10 worst 1@10 last 1@10"},
    };
    expect_behaviours(rows, COUNT_OF(rows));
}

Test(rules, flat_needs_samples_over_the_whole_window_and_any_change_ends_it)
{
    const struct rule flat = {.kind = RULE_FLAT, .quantity = QUANTITY_OXYGEN, .limit = 0.1, .window = 30 * MINUTE_MS};
    struct rule twice = flat;
    twice.deadband = 0.2;
    const struct behaviour rows[] = {
        {"too short", flat, "5 5 5", ""},
        {"just the window", flat, "5 5 5 5", "30..open raised 30 worst 0@30 last 0@30"},
        {"a change of the limit is still flat", flat, "5 5.1 5 5.1", "30..open raised 30 worst 0.1@30 last 0.1@30"},
        {"more is not", flat, "5 5 5 5.2", ""},
        {"slow is not flat", flat, "5 5.06 5.12 5.18 5.24", ""},
        {"a jump ends it", flat, "5 5 5 5 7", "30..40 raised 30 worst 0@30 last 0@30"},
        {"a deadband: the change that ends it is larger", twice, "5 5 5 5 5.25 5.31",
         "30..50 raised 30 worst 0@30 last 0.25@40"},
        {"a pause longer than the window begins the stretch anew", flat, "5 5 ~40 5 5 5 5",
         "80..open raised 80 worst 0@80 last 0@80"},
        {"and ends nothing by itself", flat, "5 5 5 5 ~40 5", "30..open raised 30 worst 0@30 last 0@30"},
        {"a missing value is no change", flat, "5 - 5 5", "30..open raised 30 worst 0@30 last 0@30"},
    };
    expect_behaviours(rows, COUNT_OF(rows));
    struct record record = series_read(arena, QUANTITY_OXYGEN, "5 5.05 5 5");
    struct episode *found;
    cr_assert(evaluate(&flat, &record, &found) == 1);
    cr_expect_str_eq(found[0].detail, "changed by 0.05 mg/L in 30 min, at 5 mg/L");
}

Test(rules, change_is_counted_from_the_first_value_after_the_last_visit)
{
    const struct rule rule = {.kind = RULE_CHANGE, .quantity = QUANTITY_DEPTH, .limit = 0.3, .since = TIME_NONE};
    struct record record = series_read(arena, QUANTITY_DEPTH, "9 5! 1.2 1.1 0.85 0.8 0.8 0.6 0.4");
    const int64_t visits[] = {5 * MINUTE_MS, 55 * MINUTE_MS};
    struct rule_view view = {.rule = &rule,
                             .record = &record,
                             .before = TIME_NONE,
                             .after = TIME_NONE,
                             .visits = visits,
                             .visit_count = 2,
                             .base = NAN};
    struct episode *found;
    size_t count = rules_evaluate(arena, &view, &found);
    cr_expect_str_eq(series_print(arena, found, count), "40..60 raised 40 worst -0.4@50 last -0.4@50; "
                                                        "80..open raised 80 worst -0.4@80 last -0.4@80");
    cr_expect_str_eq(found[0].detail, "fell 0.4 m since the visit of 1970-01-01T00:05:00Z, from 1.2 m to 0.8 m");
    view.visit_count = 0;
    cr_expect(rules_evaluate(arena, &view, &found) == 0, "nobody was there: there is nothing to count from");
}

Test(rules, change_may_be_counted_from_a_time)
{
    const struct rule rule = {.kind = RULE_CHANGE, .quantity = QUANTITY_DEPTH, .limit = 0.3, .since = 15 * MINUTE_MS};
    struct record record = series_read(arena, QUANTITY_DEPTH, "9 9 1 1.2 1.4");
    struct rule_view view = {.rule = &rule, .record = &record, .before = TIME_NONE, .after = TIME_NONE, .base = NAN};
    struct episode *found;
    double base;
    size_t count = rules_evaluate(arena, &view, &found);
    cr_expect_str_eq(series_print(arena, found, count), "40..open raised 40 worst 0.4@40 last 0.4@40");
    cr_expect_str_eq(found[0].detail, "rose 0.4 m since 1970-01-01T00:15:00Z, from 1 m to 1.4 m");
    cr_expect(rules_base(&rule, &record, &base) == 20 * MINUTE_MS && base == 1);
    struct record later = record_between(&record, 40 * MINUTE_MS, TIME_FOREVER);
    view.record = &later;
    view.base = base;
    cr_expect(rules_evaluate(arena, &view, &found) == 1, "the base may lie before the rows");
}

Test(rules, a_condition_beside_it_must_hold_at_the_same_sample)
{
    struct record record = series_read(arena, QUANTITY_OXYGEN, "5 2 2 2 2 2 5");
    struct record warmth = series_read(arena, QUANTITY_TEMPERATURE, "25 15 25 - 25 15 25");
    record.value[QUANTITY_TEMPERATURE] = warmth.value[QUANTITY_TEMPERATURE];
    record.flag[QUANTITY_TEMPERATURE] = warmth.flag[QUANTITY_TEMPERATURE];
    struct rule rule = {.kind = RULE_BELOW,
                        .quantity = QUANTITY_OXYGEN,
                        .limit = 3,
                        .conditions = {{QUANTITY_TEMPERATURE, .below = NAN, .above = 20}},
                        .condition_count = 1};
    struct episode *found;
    size_t count = evaluate(&rule, &record, &found);
    cr_expect_str_eq(series_print(arena, found, count), "20..50 raised 20 worst 2@20 last 2@40",
                     "cool water ends it, an unknown temperature does not count");
    rule.conditions[0] = (struct rule_condition){QUANTITY_TEMPERATURE, .below = 20, .above = NAN};
    count = evaluate(&rule, &record, &found);
    cr_expect_str_eq(series_print(arena, found, count),
                     "10..20 raised 10 worst 2@10 last 2@10; 50..60 raised 50 worst 2@50 last 2@50");
    rule.conditions[0] = (struct rule_condition){QUANTITY_BATTERY, .below = 3, .above = NAN};
    cr_expect(evaluate(&rule, &record, &found) == 0, "a station without that quantity is never so");
}

/* Samples every 10 min from 1970-01-01T00:00Z; the place's clock stands 8 h behind, at 16:00 of December 31. */
Test(rules, it_counts_only_in_its_months_and_hours)
{
    struct record record = series_read(arena, QUANTITY_OXYGEN, "2 2 2 2 2 2 2 2");
    struct rule rule = {.kind = RULE_BELOW, .quantity = QUANTITY_OXYGEN, .limit = 3, .condition_count = 1};
    struct rule_view view = {.rule = &rule, .record = &record, .after = TIME_NONE, .utc_offset = -8 * HOUR_MS};
    struct episode *found;
    const struct rule_condition always = {.quantity = QUANTITY_COUNT, .below = NAN, .above = NAN};
    rule.conditions[0] = always;
    cr_expect_eq(rules_evaluate(arena, &view, &found), 1);
    rule.conditions[0].months = 1u << 11;
    cr_expect_eq(rules_evaluate(arena, &view, &found), 1, "December there");
    rule.conditions[0].months = 1u << 0;
    cr_expect_eq(rules_evaluate(arena, &view, &found), 0, "though January in UTC");
    rule.conditions[0] = always;
    rule.conditions[0].from = 16 * 60 + 20;
    rule.conditions[0].to = 16 * 60 + 40;
    size_t count = rules_evaluate(arena, &view, &found);
    cr_expect_str_eq(series_print(arena, found, count), "20..40 raised 20 worst 2@20 last 2@30");
    rule.conditions[0].from = 17 * 60;
    rule.conditions[0].to = 16 * 60 + 10;
    count = rules_evaluate(arena, &view, &found);
    cr_expect_str_eq(series_print(arena, found, count),
                     "0..10 raised 0 worst 2@0 last 2@0; 60..open raised 60 worst 2@60 last 2@70", "over midnight");
}

Test(rules, all_conditions_must_be_so_at_once)
{
    struct record record = series_read(arena, QUANTITY_OXYGEN, "2 2 2 2 2 2");
    struct record warmth = series_read(arena, QUANTITY_TEMPERATURE, "25 25 15 25 25 25");
    struct record salt = series_read(arena, QUANTITY_SALINITY, "5 1 5 5 - 5");
    record.value[QUANTITY_TEMPERATURE] = warmth.value[QUANTITY_TEMPERATURE];
    record.flag[QUANTITY_TEMPERATURE] = warmth.flag[QUANTITY_TEMPERATURE];
    record.value[QUANTITY_SALINITY] = salt.value[QUANTITY_SALINITY];
    record.flag[QUANTITY_SALINITY] = salt.flag[QUANTITY_SALINITY];
    struct rule rule = {
        .kind = RULE_BELOW,
        .quantity = QUANTITY_OXYGEN,
        .limit = 3,
        .conditions = {{QUANTITY_TEMPERATURE, .below = NAN, .above = 20}, {QUANTITY_SALINITY, .below = 10, .above = 2}},
        .condition_count = 2};
    struct episode *found;
    size_t count = evaluate(&rule, &record, &found);
    cr_expect_str_eq(series_print(arena, found, count),
                     "0..10 raised 0 worst 2@0 last 2@0; 30..open raised 30 worst 2@30 last 2@50");
}

Test(rules, a_gap_has_data_on_both_sides)
{
    const struct rule rule = {.kind = RULE_GAP, .quantity = QUANTITY_COUNT, .window = HOUR_MS};
    struct record record = series_read(arena, QUANTITY_LEVEL, "1 ~60 1 ~190 1");
    struct rule_view view = {
        .rule = &rule, .record = &record, .before = TIME_NONE, .after = TIME_NONE, .now = 100 * DAY_MS};
    struct episode *found;
    cr_assert(rules_evaluate(arena, &view, &found) == 1, "silence after the last sample is another rule's business");
    cr_expect(found[0].start == 60 * MINUTE_MS && found[0].end == 250 * MINUTE_MS &&
              found[0].worst == 190.0 * MINUTE_MS);
    cr_expect_str_eq(found[0].detail, "no data for 3 h 10 min");
    view.before = -2 * HOUR_MS;
    view.after = DAY_MS;
    cr_expect(rules_evaluate(arena, &view, &found) == 3, "the samples around the window count");
}

Test(rules, a_visit_is_due_a_window_after_the_last)
{
    const struct rule rule = {.kind = RULE_VISIT_DUE, .quantity = QUANTITY_COUNT, .window = 35 * DAY_MS};
    const int64_t visits[] = {10 * DAY_MS, 50 * DAY_MS};
    struct rule_view view = {.rule = &rule,
                             .visits = visits,
                             .visit_count = 2,
                             .visit_before = TIME_NONE,
                             .visit_after = TIME_NONE,
                             .now = 85 * DAY_MS};
    struct episode *found;
    cr_assert(rules_evaluate(arena, &view, &found) == 1);
    cr_expect(found[0].start == 45 * DAY_MS && found[0].end == 50 * DAY_MS);
    cr_expect_str_eq(found[0].detail, "no visit for 40 d");
    view.now = 85 * DAY_MS + 1;
    cr_assert(rules_evaluate(arena, &view, &found) == 2);
    cr_expect(found[1].start == 85 * DAY_MS && found[1].end == TIME_NONE);
    cr_expect_str_eq(found[1].detail, "no visit since 1970-02-20T00:00:00+00:00");
    view.visit_count = 0;
    cr_expect(rules_evaluate(arena, &view, &found) == 0, "a station that nobody visited yet is not overdue");
}

Test(rules, a_visit_is_due_before_the_logger_runs_out)
{
    const struct rule rule = {
        .kind = RULE_VISIT_DUE, .quantity = QUANTITY_COUNT, .window = 35 * DAY_MS, .ahead = 7 * DAY_MS};
    const int64_t visits[] = {10 * DAY_MS, 20 * DAY_MS};
    struct supply supplies[] = {{TIME_FOREVER, TIME_FOREVER}, {15 * DAY_MS, TIME_FOREVER}, {40 * DAY_MS, 50 * DAY_MS}};
    struct rule_view view = {.rule = &rule,
                             .visits = visits,
                             .visit_count = 2,
                             .visit_before = TIME_NONE,
                             .visit_after = TIME_NONE,
                             .supplies = supplies,
                             .now = 33 * DAY_MS};
    struct episode *found;
    cr_assert(rules_evaluate(arena, &view, &found) == 1, "week ahead of memory begins after day 33");
    cr_expect(found[0].start == 10 * DAY_MS && found[0].end == 20 * DAY_MS, "due at once, but not before the visit");
    cr_expect_str_eq(found[0].detail, "memory full about 1970-01-16; no visit for 10 d");
    view.now = 34 * DAY_MS;
    cr_assert(rules_evaluate(arena, &view, &found) == 2);
    cr_expect(found[1].start == 33 * DAY_MS && found[1].end == TIME_NONE && found[1].worst == 14.0 * DAY_MS);
    cr_expect_str_eq(found[1].detail, "memory full about 1970-02-10, battery empty about 1970-02-20; "
                                      "no visit since 1970-01-21T00:00:00+00:00");
    supplies[2] = (struct supply){90 * DAY_MS, 80 * DAY_MS}; /* lasts: the window counts */
    view.now = 56 * DAY_MS;
    cr_assert(rules_evaluate(arena, &view, &found) == 2);
    cr_expect(found[1].start == 55 * DAY_MS);
    cr_expect_str_eq(found[1].detail, "no visit since 1970-01-21T00:00:00+00:00");
}

Test(rules, a_rise_says_what_was_seen_in_written_units)
{
    const struct rule rise = {.kind = RULE_RISE, .quantity = QUANTITY_LEVEL, .limit = 0.5, .window = HOUR_MS};
    struct record level = series_read(arena, QUANTITY_LEVEL, "1.4 1.02 1.02 1.2 ~25 1.5 1.86 1.8");
    struct episode *found;
    cr_assert(evaluate(&rise, &level, &found) == 1);
    cr_expect_str_eq(found[0].detail, "rose 0.84 m in 45 min, from 1.02 m to 1.86 m");

    const struct rule fall = {
        .kind = RULE_FALL, .quantity = QUANTITY_SPECIFIC_CONDUCTANCE, .limit = 0.5, .window = HOUR_MS};
    struct record conductance = series_read(arena, QUANTITY_SPECIFIC_CONDUCTANCE, "1.2 0.4005");
    cr_assert(evaluate(&fall, &conductance, &found) == 1);
    cr_expect_str_eq(found[0].detail, "fell 799.5 µS/cm in 10 min, from 1200 µS/cm to 400.5 µS/cm");

    const struct rule salinity = {.kind = RULE_RISE, .quantity = QUANTITY_SALINITY, .limit = 5, .window = HOUR_MS};
    struct record salt = series_read(arena, QUANTITY_SALINITY, "10 30");
    cr_assert(evaluate(&salinity, &salt, &found) == 1);
    cr_expect_str_eq(found[0].detail, "rose 20 in 10 min, from 10 to 30");
}

Test(rules, a_quantity_that_the_station_lacks_gives_nothing)
{
    struct record record = series_read(arena, QUANTITY_LEVEL, "1 2 3");
    struct episode *found;
    for (enum rule_kind kind = RULE_BELOW; kind <= RULE_FALL; kind++) {
        const struct rule rule = {.kind = kind, .quantity = QUANTITY_OXYGEN, .limit = 2, .window = HOUR_MS};
        cr_expect(evaluate(&rule, &record, &found) == 0);
    }
}

Test(rules, drift_is_raised_by_a_check_and_ended_by_one_that_agrees)
{
    const struct rule rule = {.kind = RULE_DRIFT, .quantity = QUANTITY_LEVEL, .limit = 0.03};
    const struct check_result checks[] = {
        {.time = 1 * HOUR_MS, .quantity = QUANTITY_LEVEL, .difference = 0.5, .is_first = true},
        {.time = 2 * HOUR_MS, .quantity = QUANTITY_OXYGEN, .difference = 5},
        {.time = 3 * HOUR_MS, .quantity = QUANTITY_LEVEL, .difference = NAN},
        {.time = 4 * HOUR_MS, .quantity = QUANTITY_LEVEL, .difference = -0.03},
        {.time = 5 * HOUR_MS, .quantity = QUANTITY_LEVEL, .reference = 1.342, .sensor = 1.391, .difference = 0.049},
        {.time = 6 * HOUR_MS, .quantity = QUANTITY_LEVEL, .reference = 1.4, .sensor = 1.34, .difference = -0.06},
        {.time = 7 * HOUR_MS, .quantity = QUANTITY_LEVEL, .reference = 1.4, .sensor = 1.44, .difference = 0.04},
        {.time = 8 * HOUR_MS, .quantity = QUANTITY_LEVEL, .difference = 0.01},
        {.time = 9 * HOUR_MS, .quantity = QUANTITY_LEVEL, .difference = 0.02},
        {.time = 10 * HOUR_MS, .quantity = QUANTITY_LEVEL, .difference = -0.08},
    };
    struct episode *found;
    cr_assert(evaluate_checks(&rule, checks, COUNT_OF(checks), &found) == 2);
    cr_expect_str_eq(series_print(arena, found, 2), "300..480 raised 300 worst -0.06@360 last 0.04@420; "
                                                    "600..open raised 600 worst -0.08@600 last -0.08@600");
    cr_assert(evaluate_checks(&rule, checks, 5, &found) == 1);
    cr_expect_str_eq(found[0].detail, "hand reading 1.342 m, record 1.391 m: 0.049 m apart");
    cr_assert(evaluate_checks(&rule, checks, 6, &found) == 1);
    cr_expect_str_eq(found[0].detail, "hand reading 1.4 m, record 1.34 m: 0.06 m apart", "of the worst check");
}

Test(rules, drift_of_a_sensor_names_what_it_was_held_against)
{
    const struct rule rule = {.kind = RULE_DRIFT, .quantity = QUANTITY_OXYGEN, .limit = 0.5, .deadband = 0.3};
    struct check_result checks[] = {
        {.time = 0,
         .quantity = QUANTITY_OXYGEN,
         .kind = CHECK_AS_FOUND,
         .reference = 7.9,
         .sensor = 6.1,
         .difference = -1.8},
        {.time = MINUTE_MS, .quantity = QUANTITY_OXYGEN, .kind = CHECK_CLEANED, .difference = -0.3},
        {.time = HOUR_MS, .quantity = QUANTITY_OXYGEN, .kind = CHECK_CLEANED, .difference = -0.2},
    };
    struct episode *found;
    cr_assert(evaluate_checks(&rule, checks, 3, &found) == 1);
    cr_expect_str_eq(found[0].detail, "field meter 7.9 mg/L, sensor 6.1 mg/L: 1.8 mg/L apart");
    cr_expect(found[0].end == HOUR_MS, "agreement is within limit less deadband");
    checks[0].kind = CHECK_STANDARD;
    cr_assert(evaluate_checks(&rule, checks, 1, &found) == 1);
    cr_expect_str_eq(found[0].detail, "standard 7.9 mg/L, sensor 6.1 mg/L: 1.8 mg/L apart");
    checks[0].kind = CHECK_CLEANED;
    cr_assert(evaluate_checks(&rule, checks, 1, &found) == 1);
    cr_expect_str_eq(found[0].detail, "field meter 7.9 mg/L, cleaned sensor 6.1 mg/L: 1.8 mg/L apart");
}

Test(rules, an_even_week_ends_what_its_own_trend_began_and_nothing_else)
{
    const struct rule rule = {.kind = RULE_DRIFT, .quantity = QUANTITY_OXYGEN, .limit = 0.5};
    const struct check_result checks[] = {
        {.time = 1 * HOUR_MS, .quantity = QUANTITY_OXYGEN, .kind = CHECK_AS_FOUND, .difference = -1.8},
        {.time = 2 * HOUR_MS, .quantity = QUANTITY_OXYGEN, .kind = CHECK_DAILY_RANGE},
        {.time = 3 * HOUR_MS, .quantity = QUANTITY_OXYGEN, .kind = CHECK_CLEANED, .difference = 0.1},
        {.time = 4 * HOUR_MS,
         .quantity = QUANTITY_OXYGEN,
         .kind = CHECK_DAILY_RANGE,
         .sensor = 0.9,
         .reference = 2.9,
         .difference = -2},
        {.time = 4 * HOUR_MS, .quantity = QUANTITY_OXYGEN, .kind = CHECK_NIGHT_VALUES},
        {.time = 5 * HOUR_MS, .quantity = QUANTITY_OXYGEN, .kind = CHECK_DAILY_RANGE},
    };
    struct episode *found;
    cr_assert(evaluate_checks(&rule, checks, COUNT_OF(checks), &found) == 2);
    cr_expect_eq(found[0].end, 3 * HOUR_MS);
    cr_expect_eq(found[1].start, 4 * HOUR_MS);
    cr_expect_eq(found[1].end, 5 * HOUR_MS);
    cr_expect_str_eq(found[1].detail,
                     "daily range of oxygen 0.9 mg/L, when last serviced 2.9 mg/L (likely or better); a film, "
                     "or dark days: read the meter before and after cleaning");
}

Test(rules, silence_is_a_gap_between_samples_or_up_to_now)
{
    const struct rule rule = {.kind = RULE_SILENCE, .quantity = QUANTITY_COUNT, .window = HOUR_MS};
    struct record record = series_read(arena, QUANTITY_LEVEL, "1 - ~60 1 ~61 1! 1");
    struct rule_view view = {.rule = &rule, .record = &record, .before = TIME_NONE, .after = TIME_NONE};
    struct episode *found;

    view.now = 201 * MINUTE_MS;
    cr_assert(rules_evaluate(arena, &view, &found) == 1, "just the window is not longer than the window");
    cr_expect(found[0].start == 130 * MINUTE_MS && found[0].raised == found[0].start);
    cr_expect(found[0].end == 131 * MINUTE_MS && found[0].worst == 61.0 * MINUTE_MS);
    cr_expect_str_eq(found[0].detail, "no data for 1 h 1 min");

    view.now = 202 * MINUTE_MS;
    cr_assert(rules_evaluate(arena, &view, &found) == 2);
    cr_expect(found[1].start == 201 * MINUTE_MS && found[1].end == TIME_NONE && found[1].last_time == view.now);
    cr_expect(found[1].worst == 61.0 * MINUTE_MS);
    cr_expect_str_eq(found[1].detail, "no data since 1970-01-01T02:21:00+00:00");
    view.utc_offset = -6 * HOUR_MS; /* by the clock of the station, as the times beside it */
    cr_assert(rules_evaluate(arena, &view, &found) == 2);
    cr_expect_str_eq(found[1].detail, "no data since 1969-12-31T20:21:00-06:00");
    view.utc_offset = 0;

    view.after = 203 * MINUTE_MS;
    view.before = -61 * MINUTE_MS;
    cr_assert(rules_evaluate(arena, &view, &found) == 3, "gaps to the samples around the window count");
    cr_expect(found[0].start == -1 * MINUTE_MS && found[0].end == 0);
    cr_expect(found[2].end == 203 * MINUTE_MS);
}

Test(rules, silence_needs_no_rows_but_one_sample_ever)
{
    const struct rule rule = {.kind = RULE_SILENCE, .window = HOUR_MS};
    const struct record none = {.n = 0};
    struct rule_view view = {.rule = &rule, .record = &none, .before = TIME_NONE, .after = TIME_NONE, .now = DAY_MS};
    struct episode *found;
    cr_expect(rules_evaluate(arena, &view, &found) == 0);
    view.before = 0;
    cr_assert(rules_evaluate(arena, &view, &found) == 1);
    cr_expect(found[0].start == HOUR_MS && found[0].end == TIME_NONE);
    view.before = 2 * DAY_MS;
    cr_expect(rules_evaluate(arena, &view, &found) == 0, "a logger whose clock is ahead is not silent");
}

Test(rules, a_drop_set_aside_is_told_at_once_and_a_waiting_one_after_the_window)
{
    const struct rule rule = {.kind = RULE_UNREADABLE_DROP, .window = HOUR_MS};
    const struct drop_fact drops[] = {
        {.path = "a.csv", .state = DROP_TAKEN, .since = 0},
        {.path = "b.csv", .state = DROP_SET_ASIDE, .since = 2 * HOUR_MS, .message = "line 3: no such day"},
        {.path = "c.csv", .state = DROP_WAITING, .since = HOUR_MS},
        {.path = "d.csv", .state = DROP_WAITING, .since = HOUR_MS - 1},
        {.path = "e.csv", .state = DROP_REPEATED, .since = 0},
    };
    struct drop_episode *found;
    cr_assert(rules_drop_episodes(arena, &rule, drops, COUNT_OF(drops), 2 * HOUR_MS, &found) == 2);
    cr_expect(found[0].drop == 1 && found[0].episode.start == 2 * HOUR_MS && found[0].episode.raised == 2 * HOUR_MS);
    cr_expect_str_eq(found[0].episode.detail, "line 3: no such day");
    cr_expect(found[1].drop == 3 && found[1].episode.start == HOUR_MS - 1 &&
              found[1].episode.raised == 2 * HOUR_MS - 1);
    cr_expect(found[1].episode.end == TIME_NONE && found[1].episode.worst == (double)HOUR_MS + 1);
    cr_expect_str_eq(found[1].episode.detail, "");
}

Test(rules, a_long_message_is_cut_between_characters)
{
    char message[400];
    memset(message, 'x', sizeof message);
    memcpy(message + 190, "°", sizeof "°" - 1); /* two bytes across the last place of the detail */
    message[sizeof message - 1] = '\0';
    const struct rule rule = {.kind = RULE_UNREADABLE_DROP};
    const struct drop_fact drop = {.path = "a.csv", .state = DROP_SET_ASIDE, .message = message};
    struct drop_episode *found;
    cr_assert(rules_drop_episodes(arena, &rule, &drop, 1, 0, &found) == 1);
    cr_expect(strlen(found[0].episode.detail) == 190);
}

Test(rules, every_kind_has_a_word_a_line_of_help_and_looks_around_as_its_settings_say)
{
    for (enum rule_kind kind = 0; kind < RULE_KIND_COUNT; kind++) {
        const struct rule_kind_info *info = rules_kind_info(kind);
        const struct rule_vocabulary *words = rule_vocabulary(kind);
        cr_assert(info->evaluate && words->word && words->word[0] && words->help && words->help[0]);
        for (enum rule_kind other = 0; other < kind; other++)
            cr_expect_str_neq(words->word, rule_kind_word(other));
        const struct rule rule = {.kind = kind, .window = HOUR_MS, .on_delay = HOUR_MS, .off_delay = HOUR_MS};
        bool has_delays = (words->needs | words->takes) & RULE_ON_DELAY;
        cr_expect(has_delays == (rules_lead_in(&rule) > 0));
        cr_expect((has_delays || kind == RULE_SILENCE || kind == RULE_VISIT_DUE) == (rules_lead_out(&rule) > 0));
    }
}

Test(rules, excess_is_positive_past_the_limit_in_the_bad_direction)
{
    struct rule rule = {.kind = RULE_BELOW, .limit = 3, .window = HOUR_MS};
    cr_expect(rules_excess(&rule, 2) == 1);
    rule.kind = RULE_ABOVE;
    cr_expect(rules_excess(&rule, 2) == -1);
    rule.kind = RULE_DRIFT;
    cr_expect(rules_excess(&rule, -5) == 2);
    rule.kind = RULE_SILENCE;
    cr_expect(rules_excess(&rule, 2.0 * HOUR_MS) == 1.0 * HOUR_MS);
    rule = (struct rule){.kind = RULE_OUTSIDE, .low = 2, .high = 30};
    cr_expect(rules_excess(&rule, 1) == 1 && rules_excess(&rule, 32) == 2 && rules_excess(&rule, 10) < 0);
    rule = (struct rule){.kind = RULE_CHANGE, .limit = 0.5};
    cr_expect(rules_excess(&rule, -0.75) == 0.25 && rules_excess(&rule, 0.75) == 0.25);
}

/* From a random row on, at least the lead-in before an episode that the whole series shows, this and all
 * later ones are the same as in the whole. */
Test(rules, a_longer_lead_in_changes_no_episode)
{
    uint64_t random = 7;
    size_t compared = 0;
    enum rule_kind of_values[RULE_KIND_COUNT];
    size_t kind_count = series_kinds(of_values);
    for (int round = 0; round < 400; round++) {
        arena_reset(arena);
        struct record whole = series_random(arena, QUANTITY_LEVEL, 600, &random);
        struct rule rule = {.kind = of_values[random_below(&random, kind_count)],
                            .quantity = QUANTITY_LEVEL,
                            .limit = 0.5 * (double)random_below(&random, 4),
                            .low = -0.5,
                            .high = 0.5,
                            .deadband = 0.25 * (double)random_below(&random, 3),
                            .window = (int64_t)(1 + random_below(&random, 6000)) * MINUTE_MS,
                            .on_delay = (int64_t)random_below(&random, 8) * SERIES_STEP,
                            .off_delay = (int64_t)random_below(&random, 8) * SERIES_STEP,
                            .samples = (int)random_below(&random, 6),
                            .counts_suspect = random_below(&random, 2)};
        struct episode *all, *some;
        size_t all_count = evaluate(&rule, &whole, &all);
        for (size_t i = 0; i < all_count; i++) {
            int64_t from = all[i].start - rules_lead_in(&rule) - (int64_t)random_below(&random, 3) * HOUR_MS;
            struct record part = record_between(&whole, from, TIME_FOREVER);
            size_t some_count = evaluate(&rule, &part, &some), skipped = 0;
            while (skipped < some_count && some[skipped].start < all[i].start)
                skipped++;
            cr_assert(some_count - skipped == all_count - i);
            cr_assert(memcmp(some + skipped, all + i, (all_count - i) * sizeof *all) == 0, "round %d, episode %zu",
                      round, i);
            compared += all_count - i;
        }
    }
    cr_expect(compared > 1000, "the series hold episodes at all: %zu", compared);
}

/* Rises by definition, O(n * w), against the sweep: each sample that is past the limit, and the largest rise.
 */
Test(rules, the_sweep_agrees_with_the_definition_of_a_rise)
{
    uint64_t random = 11;
    size_t met_count = 0;
    for (int round = 0; round < 200; round++) {
        arena_reset(arena);
        struct record record = series_random(arena, QUANTITY_LEVEL, 300, &random);
        const struct rule rule = {.kind = RULE_RISE,
                                  .quantity = QUANTITY_LEVEL,
                                  .limit = 1,
                                  .window = (int64_t)(1 + random_below(&random, 300)) * MINUTE_MS};
        struct episode *found;
        size_t count = evaluate(&rule, &record, &found), e = 0;
        const double *value = record.value[QUANTITY_LEVEL];
        const uint8_t *flag = record.flag[QUANTITY_LEVEL];
        for (size_t i = 0; i < record.n; i++) {
            if (flag[i] == FLAG_FAIL || flag[i] == FLAG_MISSING || flag[i] == FLAG_SUSPECT)
                continue;
            double rise = 0;
            for (size_t j = 0; j < i; j++)
                if (record.time[j] >= record.time[i] - rule.window && flag[j] < FLAG_SUSPECT)
                    rise = fmax(rise, value[i] - value[j]);
            while (e < count && found[e].end != TIME_NONE && found[e].end <= record.time[i])
                e++;
            bool is_inside = e < count && found[e].start <= record.time[i];
            cr_assert(is_inside == (rise > 1), "round %d, row %zu", round, i);
            cr_assert(!is_inside || rise <= found[e].worst);
            met_count += is_inside;
        }
    }
    cr_expect(met_count > 1000);
}

/* USGS 01589330 Dead Run at Franklintown, 2018-06, public domain; what to expect is stated beside the data:
 * rises of more than 0.5 m in 1 h begin 06-03 18:20 and 21:30, 06-10 22:00, 06-11 08:10 and 09:40 UTC; 0.54 m
 * in 15 min and 1.22 m in 60 min at most. Those five are counted from the value exactly one hour before; the
 * last is seen 5 min sooner by us, because the creek was at its lowest half an hour before, between two
 * waves. */
Test(rules, the_flash_floods_of_dead_run_are_found)
{
    struct record record;
    size_t n = read_flood(&record);
    if (n == 0)
        cr_skip_test("skipped, no open data");
    const double *level = record.value[QUANTITY_LEVEL];
    const struct rule hour = {.kind = RULE_RISE, .quantity = QUANTITY_LEVEL, .limit = 0.5, .window = HOUR_MS};
    struct episode *found;
    size_t count = evaluate(&hour, &record, &found), runs = 0;
    double highest = 0, highest_quarter = 0;
    bool was_met = false;
    for (size_t i = 0; i < n; i++) {
        double rise = 0;
        for (size_t j = 0; j < i; j++) {
            if (record.time[j] < record.time[i] - HOUR_MS)
                continue;
            rise = fmax(rise, level[i] - level[j]);
            if (record.time[j] >= record.time[i] - 15 * MINUTE_MS)
                highest_quarter = fmax(highest_quarter, level[i] - level[j]);
        }
        bool is_met = rise > 0.5;
        if (is_met && !was_met) {
            cr_assert(runs < count);
            cr_expect(found[runs].start == record.time[i]);
        }
        if (!is_met && was_met)
            cr_expect(found[runs++].end == record.time[i]);
        was_met = is_met;
        highest = fmax(highest, rise);
    }
    cr_expect(runs == count && !was_met);
    cr_expect_float_eq(highest, 1.22, 0.005);
    cr_expect_float_eq(highest_quarter, 0.54, 0.005);
    double worst = 0;
    for (size_t i = 0; i < count; i++)
        worst = fmax(worst, found[i].worst);
    cr_expect(worst == highest);

    static const char *const begun[] = {"2018-06-03T18:20:00Z", "2018-06-03T21:30:00Z", "2018-06-10T22:00:00Z",
                                        "2018-06-11T08:10:00Z", "2018-06-11T09:35:00Z"};
    cr_assert(count == COUNT_OF(begun), "%zu", count);
    char text[TIMESTAMP_SIZE];
    for (size_t i = 0; i < count; i++)
        cr_expect_str_eq(timestamp_print(found[i].start, text), begun[i]);
}

static void expect_behaviours(const struct behaviour *rows, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        struct record record = series_read(arena, rows[i].rule.quantity, rows[i].series);
        struct episode *found;
        size_t count = evaluate(&rows[i].rule, &record, &found);
        const char *got = series_print(arena, found, count);
        cr_expect(strcmp(got, rows[i].expected) == 0, "%s '%s': got '%s', expected '%s'", rows[i].what, rows[i].series,
                  got, rows[i].expected);
    }
}

static size_t evaluate(const struct rule *rule, const struct record *record, struct episode **ret)
{
    struct rule_view view = {.rule = rule, .record = record, .before = TIME_NONE, .after = TIME_NONE};
    return rules_evaluate(arena, &view, ret);
}

static size_t evaluate_checks(const struct rule *rule, const struct check_result *checks, size_t n,
                              struct episode **ret)
{
    struct rule_view view = {.rule = rule, .checks = checks, .check_count = n, .before = TIME_NONE, .after = TIME_NONE};
    return rules_evaluate(arena, &view, ret);
}

/* 0 where the file is absent. Lines: qualifier, discharge, qualifier, gage height in feet, time. */
static size_t read_flood(struct record *record)
{
    const char *root = getenv("RILLWARD_OPEN_DATA");
    char *path = arena_printf(arena, "%s%s/usgs-deadrun-flashflood/usgs_01589330_2018-06_5min.csv",
                              root ? root : RILLWARD_SOURCE_ROOT, root ? "" : "/../shared/data");
    FILE *file = fopen(path, "r");
    if (!file)
        return 0;
    record_init(record, arena, FLOOD_ROWS, 1u << QUANTITY_LEVEL);
    char line[256], time[64];
    double feet;
    size_t n = 0;
    cr_assert(fgets(line, sizeof line, file) != NULL);
    while (n < FLOOD_ROWS && fgets(line, sizeof line, file)) {
        cr_assert(sscanf(line, "%*[^,],%*[^,],%*[^,],%lf,%63s", &feet, time) == 2, "%s", line);
        cr_assert(timestamp_parse(time, strlen(time), &record->time[n]));
        record->value[QUANTITY_LEVEL][n] = feet * METRES_PER_FOOT;
        record->flag[QUANTITY_LEVEL][n++] = FLAG_PASS;
    }
    fclose(file);
    record->n = n;
    return n;
}
