/* SPDX-License-Identifier: MIT */
#include "service/rehearse.h"

#include "alarms/rules.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "fixture.h"
#include "model/readings.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#define LOW                                                                                                            \
    "low: {kind: below, quantity: oxygen, limit: 3 mg/L, deadband: 0.5 mg/L, on_delay: 1 h, off_delay: 1 h, tell: "    \
    "[desk]}"

static struct fixture f;

static void tear_down(void)
{
    fixture_close(&f);
}

TestSuite(rehearse, .fini = tear_down);

/* Hourly oxygen at heron-creek from day 0 on, of one drop that arrived at `arrived`. */
static struct record put_oxygen(const double *value, size_t n, int64_t arrived)
{
    struct error error = {0};
    struct readings readings;
    struct record record;
    uint32_t place;
    int64_t number;
    struct drop_fact_row drop = {
        .sha256 = "00", .path = "a.csv", .original = "o", .layout = "l", .evidence = "", .complaints = ""};
    readings_init(&readings, f.arena, n, 1u << QUANTITY_OXYGEN);
    record_init(&record, f.arena, n, 1u << QUANTITY_OXYGEN);
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(store_drop_next_number(f.store, &number, &error));
    for (size_t k = 0; k < n; k++) {
        readings.time[k] = record.time[k] = record.raw_time[k] = hours_on((double)k);
        readings.value[QUANTITY_OXYGEN][k] = record.value[QUANTITY_OXYGEN][k] = value[k];
        readings.drop[k] = (uint32_t)number;
        record.flag[QUANTITY_OXYGEN][k] = FLAG_PASS;
    }
    drop.number = number;
    drop.arrived = arrived;
    cr_assert(store_place_number(f.store, "heron-creek", &place, &error), "%s", error.text);
    cr_assert(store_drop_add(f.store, &drop, &error), "%s", error.text);
    cr_assert(store_readings_save(f.store, place, &readings, &error), "%s", error.text);
    struct span all = {record.time[0], record.time[n - 1] + 1};
    cr_assert(store_record_save(f.store, place, all, &record, &error), "%s", error.text);
    cr_assert(store_commit(f.store, &error));
    return record;
}

static const struct config *other; /* to compare with, or NULL */

static const char *play(int64_t from, int64_t to, int64_t now, bool as_json)
{
    struct error error = {0};
    struct text text;
    struct rehearse_options options = {
        .from = from, .to = to, .as_json = as_json, .now = now, .against = other, .against_name = "other.yaml"};
    text_init(&text, 1 << 22);
    cr_assert(rehearse_render(f.config, f.store, &options, &text, &error), "%s", error.text);
    const char *ret = arena_strdup(f.arena, text.bytes);
    text_done(&text);
    return ret;
}

Test(rehearse, says_what_would_have_been_told_when_it_was_known_and_how_that_differs)
{
    const double value[] = {5, 2, 2, 2, 5, 5, 5, 5, 2, 1, 1};
    f = fixture_open("rules: {" LOW "}\n");
    put_oxygen(value, sizeof value / sizeof value[0], hours_on(30));
    fixture_raise(&f, "heron-creek", "low", hours_on(2)); /* since hour 1: the first of the two, still open */
    struct alarm gone = fixture_raise(&f, "heron-creek", "no-more", hours_on(2));
    const char *text = play(TIME_NONE, TIME_FOREVER, hours_on(31), false);
    cr_expect(strstr(text, "2026-04-21 06:00  medium  low at heron-creek: worst 2.00 mg/L\n"
                           "                          2026-04-20 01:00 to 2026-04-20 04:00; to desk\n"),
              "%s", text);
    cr_expect(strstr(text, "2026-04-20 08:00 to now; to desk\n"), "%s", text);
    cr_expect(strstr(text, "2 episodes, 2 would have been announced, 0 were old news\n"), "%s", text);
    cr_expect(strstr(text, "\n  2026-04-20  to desk 2; low 2\n"), "%s", text);
    cr_expect(strstr(text, "0 new, 1 gone, 1 the same\n  gone: alarm 2, no-more at heron-creek, 2026-04-20 01:00\n"),
              "%s", text);
    text = play(hours_on(5), TIME_FOREVER, hours_on(31), true);
    cr_expect(
        strstr(text,
               "\"happened_at\":\"2026-04-20T08:00:00Z\",\"raised_at\":\"2026-04-20T09:00:00Z\",\"ended_at\":null,"
               "\"known_at\":\"2026-04-21T06:00:00Z\""),
        "%s", text);
    cr_expect(strstr(text, "\"difference\":{\"new\":1,\"gone\":0,\"same\":0,"), "%s", text);
    cr_expect_eq(fixture_alarm(&f, gone.id).state, ALARM_UNACKNOWLEDGED, "nothing was touched");
}

Test(rehearse, compares_the_rules_of_two_files_of_settings)
{
    const double value[] = {5, 2, 2, 2, 5, 5, 5, 3.5, 3.4, 3.5, 5, 5};
    f = fixture_open("rules: {" LOW ", odd: {kind: above, quantity: oxygen, limit: 4.5 mg/L}}\n");
    struct fixture higher =
        fixture_open("rules: {low: {kind: below, quantity: oxygen, limit: 4 mg/L, deadband: 0.5 mg/L, "
                     "on_delay: 1 h, off_delay: 1 h, tell: [desk, on-call]}}\n");
    other = higher.config;
    put_oxygen(value, sizeof value / sizeof value[0], hours_on(30));
    const char *text = play(TIME_NONE, TIME_FOREVER, hours_on(31), false);
    cr_expect(strstr(text, "\n  2026-04-20  to desk 1 (2), on-call 0 (2); low 1 (2)\n"), "%s", text);
    cr_expect(
        strstr(text,
               "Against the rules of 'other.yaml': 3 only here, 1 only there, 1 in both; announced 1 here, 2 there"),
        "%s", text);
    cr_expect(strstr(text, "Only there:\n2026-04-21 06:00  medium  low at heron-creek: worst 3.40 mg/L\n"), "%s", text);
    text = play(TIME_NONE, TIME_FOREVER, hours_on(31), true);
    cr_expect(strstr(text,
                     "\"against\":{\"only_here\":3,\"only_there\":1,\"both\":1,\"episodes_only_there\":[{\"place\":"
                     "\"heron-creek\",\"rule\":\"low\""),
              "%s", text);
    cr_expect(strstr(text, "\"weeks\":[{\"monday\":\"2026-04-20\",\"to\":{\"desk\":1}}]"), "%s", text);
    cr_expect(strstr(text, "\"weeks\":[{\"monday\":\"2026-04-20\",\"to\":{\"desk\":2,\"on-call\":2}}]}}"), "%s", text);
    fixture_close(&higher);
}

Test(rehearse, a_late_file_brings_old_news)
{
    const double value[] = {5, 2, 2, 2, 5, 5, 5};
    f = fixture_open("rules: {" LOW "}\n");
    put_oxygen(value, sizeof value / sizeof value[0], hours_on(24 * 30));
    const char *text = play(TIME_NONE, TIME_FOREVER, hours_on(24 * 31), false);
    cr_expect(strstr(text, "worst 2.00 mg/L  (new)\n"), "%s", text);
    cr_expect(strstr(text, "; old news, nobody\n"), "%s", text);
    cr_expect(strstr(text, "1 episode, 0 would have been announced, 1 was old news\n\nAgainst"), "%s", text);
}

/* A year is looked at in parts: what lies across their edges is found once and whole. */
Test(rehearse, parts_show_what_the_whole_shows)
{
    enum { N = 24 * 365 };
    static double value[N];
    f = fixture_open("rules: {" LOW ", flat: {kind: flat, quantity: oxygen, limit: 0.01 mg/L, window: 12 h}, "
                     "rise: {kind: rise, quantity: oxygen, limit: 1.5 mg/L, window: 6 h}}\n");
    for (int k = 0; k < N; k++) {
        double day = k / 24.0;
        value[k] = 5 + 4 * sin(day / 9) + 0.3 * sin(day * 7);
        if (fmod(day, 41) < 3)
            value[k] = 2.8;
    }
    struct record whole = put_oxygen(value, N, hours_on(N));
    size_t count = 0, shown = 0;
    const char *text = play(TIME_NONE, TIME_FOREVER, hours_on(N), true);
    for (size_t r = 0; r < f.config->rule_count; r++) {
        struct episode *found;
        struct rule_view view = {
            .rule = &f.config->rules[r], .record = &whole, .before = TIME_NONE, .after = TIME_NONE};
        size_t n = rules_evaluate(f.arena, &view, &found);
        for (size_t k = 0; k < n; k++) {
            char start[TIMESTAMP_SIZE], raised[TIMESTAMP_SIZE], end[TIMESTAMP_SIZE];
            const char *line =
                arena_printf(f.arena,
                             "\"rule\":\"%s\",\"priority\":\"medium\",\"happened_at\":\"%s\",\"raised_at\":\"%s\","
                             "\"ended_at\":%s%s%s",
                             f.config->rules[r].id, timestamp_print(found[k].start, start),
                             timestamp_print(found[k].raised, raised), found[k].end == TIME_NONE ? "" : "\"",
                             found[k].end == TIME_NONE ? "null" : timestamp_print(found[k].end, end),
                             found[k].end == TIME_NONE ? "" : "\"");
            cr_expect(strstr(text, line), "%s is missing", line);
        }
        count += n;
    }
    for (const char *at = text; (at = strstr(at, "\"happened_at\"")) != NULL; at++)
        shown++;
    cr_expect_eq(shown, count);
    cr_expect_gt(count, 20);
}
