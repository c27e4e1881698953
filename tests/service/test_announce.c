/* SPDX-License-Identifier: MIT */
#include "service/pipeline.h"

#include "alarms/lifecycle.h"
#include "alarms/rules.h"
#include "base/timestamp.h"
#include "fixture.h"
#include "model/readings.h"
#include "service/answer.h"
#include "service/supplies.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct fixture f;
static struct pipeline p;
static struct error error;

static void open_with(const char *settings)
{
    f = fixture_open(settings);
    cr_assert(pipeline_open(&p, f.config, f.store, &error), "%s", error.text);
}

static void tear_down(void)
{
    pipeline_close(&p);
    fixture_close(&f);
}

TestSuite(announce, .fini = tear_down);

/* Hourly rows of heron-creek from hour `first` on, and what the rules make of them. */
static void put_rows(enum quantity quantity, size_t first, const double *value, size_t n, int64_t now)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct readings readings, older, joined;
    struct merge_result ignored;
    struct record record;
    uint32_t place = p.station_places[config_find_station(f.config, "heron-creek")];
    struct span days = {timestamp_floor(hours_on((double)first), DAY_MS),
                        timestamp_floor(hours_on((double)(first + n)), DAY_MS) + DAY_MS};
    struct span span = {hours_on((double)first), hours_on((double)(first + n - 1)) + 1};
    readings_init(&readings, arena, n, 1u << quantity);
    record_init(&record, arena, n, 1u << quantity);
    for (size_t k = 0; k < n; k++) {
        readings.time[k] = record.time[k] = record.raw_time[k] = hours_on((double)(first + k));
        readings.value[quantity][k] = record.value[quantity][k] = value[k];
        record.flag[quantity][k] = FLAG_PASS;
    }
    arena_reset(p.arena);
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(store_readings_load(f.store, place, days, arena, &older, &error), "%s", error.text);
    readings_merge(&older, &readings, arena, &joined, &ignored);
    cr_assert(store_readings_save(f.store, place, &joined, &error), "%s", error.text);
    cr_assert(store_record_save(f.store, place, span, &record, &error), "%s", error.text);
    cr_assert(announce_span(&p, "heron-creek", place, false, span, now, &error), "%s", error.text);
    cr_assert(store_commit(f.store, &error), "%s", error.text);
}

static void put_note(enum note_kind kind, double hour)
{
    bool is_changed;
    struct note note = {.kind = kind,
                        .time = hours_on(hour),
                        .until = TIME_NONE,
                        .quantity = QUANTITY_COUNT,
                        .value = 1,
                        .reference = NAN,
                        .text = "",
                        .station = "heron-creek"};
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(store_note_put(f.store, p.station_places[config_find_station(f.config, "heron-creek")], &note,
                             &is_changed, &error),
              "%s", error.text);
    cr_assert(store_commit(f.store, &error));
}

static void put_visit(double hour)
{
    put_note(NOTE_LEVEL, hour);
}

static void advance(double hour)
{
    cr_assert(pipeline_advance(&p, hours_on(hour), &error), "%s", error.text);
}

/* "low 1..4 unacknowledged; visit 24..open ..." in hours, by start. */
static const char *alarms_now(void)
{
    struct alarm *list;
    size_t n;
    char *text = arena_strdup(f.arena, "");
    cr_assert(store_alarms_of_station(f.store, "heron-creek", (struct span){TIME_NONE, TIME_FOREVER}, 1000, f.arena,
                                      &list, &n, &error));
    for (size_t k = n; k-- > 0;) {
        const struct episode *e = &list[k].episode;
        double start = (double)(e->start - hours_on(0)) / (double)HOUR_MS;
        const char *until = "open";
        if (e->end != TIME_NONE)
            until = arena_printf(f.arena, "%g", (double)(e->end - hours_on(0)) / (double)HOUR_MS);
        text = arena_printf(f.arena, "%s%s%s %g..%s %s", text, *text ? "; " : "", list[k].rule, start, until,
                            alarm_state_word(list[k].state));
    }
    return text;
}

/* Hourly levels of a tide of 12 h, high at hour 0: a rule on the ebb hears nothing of the last four hours, and later
 * data tell, without a word taken back. */
Test(announce, a_rule_on_a_stage_of_the_tide_is_judged_when_later_data_tell_the_stage)
{
    open_with("rules: {ebb: {kind: below, quantity: level, limit: 1.95 m, while: {tide: falling}}}\n");
    double level[60];
    for (size_t k = 0; k < 60; k++)
        level[k] = 2 + cos(2 * M_PI * (double)k / 12);
    put_rows(QUANTITY_LEVEL, 0, level, 20, hours_on(20));
    cr_expect_str_eq(alarms_now(), "", "known up to hour 15, when it is above the limit");
    put_rows(QUANTITY_LEVEL, 20, level + 20, 1, hours_on(21));
    cr_expect_str_eq(alarms_now(), "ebb 16..open unacknowledged");
    put_rows(QUANTITY_LEVEL, 21, level + 21, 39, hours_on(60));
    cr_expect_str_eq(alarms_now(),
                     "ebb 16..17 returned to normal, unacknowledged; ebb 28..29 returned to normal, unacknowledged; "
                     "ebb 40..41 returned to normal, unacknowledged; ebb 52..53 returned to normal, unacknowledged");
    put_rows(QUANTITY_LEVEL, 26, level + 26, 6, hours_on(61));
    cr_expect_str_eq(alarms_now(),
                     "ebb 16..17 returned to normal, unacknowledged; ebb 28..29 returned to normal, unacknowledged; "
                     "ebb 40..41 returned to normal, unacknowledged; ebb 52..53 returned to normal, unacknowledged",
                     "the same rows again change nothing");
}

/* The same store under settings in which heron-creek is, or is not, out of service. */
static void reopen(const char *why)
{
    pipeline_close(&p);
    f.config->stations[config_find_station(f.config, "heron-creek")].out_of_service = why;
    cr_assert(pipeline_open(&p, f.config, f.store, &error), "%s", error.text);
}

Test(announce, a_station_out_of_service_wakes_nobody_and_tells_what_is_so_when_it_is_back)
{
    open_with("rules: {low: {kind: below, quantity: oxygen, limit: 3 mg/L, tell: [desk], repeat: 1 h},\n"
              "        warm: {kind: above, quantity: temperature, limit: 20 degC, tell: [desk]},\n"
              "        quiet: {kind: silence, window: 12 h, tell: [desk]}}\n");
    put_rows(QUANTITY_OXYGEN, 0, (double[]){5, 2}, 2, hours_on(1));
    cr_expect_str_eq(fixture_notices(&f, 1), "desk raised");
    reopen("the bridge is rebuilt");
    advance(2);
    cr_expect_str_eq(alarms_now(), "low 1..open shelved");
    cr_expect_str_eq(fixture_alarm(&f, 1).shelf_reason, "out of service: the bridge is rebuilt");
    cr_expect_str_eq(fixture_steps(&f, 1),
                     "rillward raised; rillward the station is out of service: the bridge is rebuilt");
    put_rows(QUANTITY_TEMPERATURE, 2, (double[]){15, 25, 25}, 3, hours_on(4));
    advance(8); /* no reminder */
    advance(20);
    cr_expect_str_eq(alarms_now(), "low 1..open shelved; warm 3..open shelved; quiet 16..open shelved");
    cr_expect_str_eq(fixture_notices(&f, 1), "desk raised");
    cr_expect_str_eq(fixture_notices(&f, 2), "");
    cr_expect_str_eq(fixture_notices(&f, 3), "");
    advance(20);
    cr_expect_str_eq(fixture_steps(&f, 1),
                     "rillward raised; rillward the station is out of service: the bridge is rebuilt",
                     "done twice it changes nothing");
    put_rows(QUANTITY_OXYGEN, 5, (double[]){6, 6}, 2, hours_on(20)); /* over, and quiet */
    cr_expect_str_eq(fixture_notices(&f, 1), "desk raised");
    reopen(NULL);
    advance(21);
    cr_expect_str_eq(alarms_now(),
                     "low 1..5 returned to normal; warm 3..open unacknowledged; quiet 18..open unacknowledged");
    cr_expect_str_eq(fixture_notices(&f, 1), "desk raised");
    cr_expect_str_eq(fixture_notices(&f, 2), "desk updated");
    advance(22);
    put_rows(QUANTITY_OXYGEN, 7, (double[]){2}, 1, hours_on(22));
    cr_expect_str_eq(fixture_notices(&f, 4), "desk raised", "its shelves are gone");
}

Test(announce, a_visit_is_overdue_by_the_clock_and_a_note_ends_it)
{
    open_with("rules: {visit: {kind: visit_due, window: 1 d}}\n");
    advance(0);
    cr_expect_str_eq(alarms_now(), "", "nobody was there yet");
    put_visit(1);
    advance(25);
    cr_expect_str_eq(alarms_now(), "");
    cr_expect_eq(p.next_alarm_look, hours_on(25) + 1, "and it looks again by itself");
    advance(26);
    cr_expect_str_eq(alarms_now(), "visit 25..open unacknowledged");
    put_visit(27);
    advance(28);
    cr_expect_str_eq(alarms_now(), "visit 25..27 returned to normal, unacknowledged");
}

Test(announce, a_visit_is_due_before_memory_or_battery_run_out)
{
    const double steady[] = {1, 1, 1, 1};
    open_with("rules: {visit: {kind: visit_due, window: 90 d, ahead: 6 h, tell: [desk]}}\n");
    struct station *station = &f.config->stations[config_find_station(f.config, "heron-creek")];
    station->memory_samples = 100; /* hourly: found from the data */
    put_note(NOTE_IN_WATER, 0);
    put_rows(QUANTITY_DEPTH, 0, steady, 4, hours_on(4));
    put_visit(10); /* read the staff, and left the logger where it is */
    advance(94);
    cr_expect_str_eq(alarms_now(), "");
    cr_expect_eq(p.next_alarm_look, hours_on(94) + 1, "and it looks again by itself");
    advance(95);
    cr_expect_str_eq(alarms_now(), "visit 94..open unacknowledged");
    struct notice notice;
    cr_assert(store_notice_find(f.store, 1, f.arena, &notice, &error));
    cr_expect(notice.limit == 3.5 && notice.last > 3.5, "days since the visit, and how many were fine");
    cr_expect(strncmp(fixture_alarm(&f, 1).episode.detail, "memory full about 20", 20) == 0);

    station->interval = 2 * HOUR_MS; /* every second hour: it lasts twice as long */
    supplies_forget(&p, "heron-creek");
    advance(96);
    cr_expect_str_eq(alarms_now(), "visit 94..96 returned to normal, unacknowledged");
    cr_expect_str_eq(fixture_alarm(&f, 1).episode.detail, "memory and battery last longer than was reckoned");
    station->battery_lasts = 5 * DAY_MS; /* since the first reading */
    advance(97);
    cr_expect_str_eq(alarms_now(), "visit 94..96 returned to normal, unacknowledged", "it is remembered");
    supplies_forget(&p, "heron-creek");
    advance(115);
    cr_expect_str_eq(alarms_now(), "visit 94..96 returned to normal, unacknowledged; visit 114..open unacknowledged");
    put_note(NOTE_BATTERY, 116);
    put_note(NOTE_IN_WATER, 116);
    advance(117);
    cr_expect_str_eq(alarms_now(), "visit 94..96 returned to normal, unacknowledged; visit 114..116 returned to normal, "
                                   "unacknowledged");
    advance(229);
    cr_expect_eq(p.next_alarm_look, hours_on(116 + 120 - 6) + 1, "five days from the new batteries");
}

Test(announce, a_change_since_the_visit_begins_anew_with_a_visit_that_is_noted_late)
{
    const double depth[] = {1, 1, 1, 1, 0.9, 0.7, 0.6, 0.6, 0.6, 0.5, 0.2};
    open_with("rules: {silted: {kind: change, quantity: depth, limit: 0.25 m, since: visit}}\n");
    put_visit(1);
    put_rows(QUANTITY_DEPTH, 0, depth, sizeof depth / sizeof depth[0], hours_on(11));
    cr_expect_str_eq(alarms_now(), "silted 5..open unacknowledged");
    put_visit(6.5);
    put_rows(QUANTITY_DEPTH, 6, depth + 6, 1, hours_on(12));
    cr_expect_str_eq(alarms_now(), "silted 5..7 returned to normal, unacknowledged; silted 10..open unacknowledged");
}

Test(announce, a_gap_is_told_when_data_stand_on_both_sides_and_withdrawn_when_it_is_filled)
{
    const double depth[] = {1, 1, 1, 1, 1, 1, 1, 1};
    open_with("rules: {hole: {kind: gap, window: 3 h}}\n");
    put_rows(QUANTITY_DEPTH, 0, depth, 2, hours_on(20));
    cr_expect_str_eq(alarms_now(), "");
    put_rows(QUANTITY_DEPTH, 8, depth, 2, hours_on(20));
    cr_expect_str_eq(alarms_now(), "hole 1..8 returned to normal, unacknowledged");
    put_rows(QUANTITY_DEPTH, 2, depth, 6, hours_on(20));
    cr_expect_str_eq(alarms_now(), "hole 1..8 withdrawn");
}

Test(announce, what_comes_and_goes_is_called_chattering)
{
    const double oxygen[] = {2, 5, 2, 5, 2, 5};
    open_with(
        "alarms: {chattering: 6 h}\nrules: {low: {kind: below, quantity: oxygen, limit: 3 mg/L, tell: [desk]}}\n");
    put_rows(QUANTITY_OXYGEN, 0, oxygen, sizeof oxygen / sizeof oxygen[0], hours_on(7));
    struct notice *list;
    size_t n;
    cr_assert(store_notices_due(f.store, hours_on(7), 10, f.arena, &list, &n, &error) && n == 1);
    cr_expect_str_eq(list[0].alarm.episode.detail, "", "the first is none");
    cr_expect_eq(fixture_alarm(&f, 3).times, 3);
    struct notice third;
    cr_assert(store_notice_find(f.store, 3, f.arena, &third, &error));
    cr_expect_str_eq(third.alarm.episode.detail, "chattering: it began 3 times within 6 h");
    cr_expect_str_eq(fixture_alarm(&f, 3).episode.detail, "", "the episode itself stays what the rule made of it");
}

Test(announce, a_shelf_is_over_the_rule_until_its_time)
{
    const double oxygen[] = {2, 5, 2, 2, 2};
    open_with("rules: {low: {kind: below, quantity: oxygen, limit: 3 mg/L, tell: [desk]}}\n");
    put_rows(QUANTITY_OXYGEN, 0, oxygen, 1, hours_on(1));
    const char *said;
    struct answer shelve = {
        .alarm = 1, .kind = ANSWER_SHELVE, .until = hours_on(10), .who = "anna", .reason = "weir open"};
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(answer_give(&f.teller, &shelve, hours_on(1), &said, &error), "%s", error.text);
    cr_assert(store_commit(f.store, &error));
    put_rows(QUANTITY_OXYGEN, 1, oxygen + 1, 3, hours_on(5));
    cr_expect_str_eq(alarms_now(), "low 0..1 returned to normal; low 2..open shelved",
                     "and so is what begins meanwhile");
    cr_expect_str_eq(fixture_notices(&f, 1), "desk raised");
    cr_expect_str_eq(fixture_notices(&f, 2), "");
    advance(9);
    cr_expect_eq(p.next_alarm_look, hours_on(10));
    advance(10);
    cr_expect_str_eq(alarms_now(), "low 0..1 returned to normal; low 2..open unacknowledged");
    cr_expect_str_eq(fixture_notices(&f, 2), "desk updated");
    cr_expect_str_eq(fixture_steps(&f, 2),
                     "rillward raised while its rule is shelved here; rillward the shelf's time is over");
}

/* One drop that is in trouble, in order, in trouble again: each time one alarm, and looking twice adds none. */
Test(announce, a_drop_in_trouble_again_is_one_more_alarm_and_only_one)
{
    open_with("rules: {bad-drop: {kind: unreadable_drop, tell: [desk]}}\n");
    for (int round = 0; round < 3; round++) {
        struct path_fact path = {
            .path = "a.csv", .state = DROP_SET_ASIDE, .since = hours_on(10 * round), .message = "no header"};
        for (int k = 0; k < 2; k++) {
            path.state = k ? DROP_TAKEN : DROP_SET_ASIDE;
            cr_assert(store_begin(f.store, __func__, &error));
            cr_assert(store_path_put(f.store, &path, &error), "%s", error.text);
            cr_assert(store_commit(f.store, &error));
            for (int look = 0; look < 3; look++)
                advance(10 * round + 2 * k + 0.5 * look);
        }
    }
    struct alarm *list;
    size_t n;
    cr_assert(store_alarms_of_station(f.store, "a.csv", (struct span){TIME_NONE, TIME_FOREVER}, 100, f.arena, &list, &n,
                                      &error));
    cr_expect_eq(n, 3);
    for (size_t k = 0; k < n; k++)
        cr_expect(list[k].episode.end != TIME_NONE && list[k].state == ALARM_RETURNED_UNACKNOWLEDGED);
}

Test(announce, others_hear_of_notices_that_do_not_get_through)
{
    const double oxygen[] = {2, 5};
    open_with("rules:\n"
              "  low: {kind: below, quantity: oxygen, limit: 3 mg/L, tell: [desk]}\n"
              "  lost: {kind: undelivered, window: 2 h, tell: [desk, on-call]}\n");
    put_rows(QUANTITY_OXYGEN, 0, oxygen, 1, hours_on(1));
    cr_assert(store_notice_done(f.store, 1, NOTICE_DUE, hours_on(1), hours_on(1.1), "answered 451", &error));
    advance(2);
    cr_expect_str_eq(fixture_notices(&f, 2), "", "it is tried, and not for long");
    cr_expect_eq(p.next_alarm_look, hours_on(3) + 1);
    advance(3.5);
    struct alarm lost = fixture_alarm(&f, 2);
    cr_expect_str_eq(lost.station, "recipient desk");
    cr_expect_eq(lost.episode.start, hours_on(1));
    cr_expect_eq(lost.state, ALARM_UNACKNOWLEDGED);
    cr_expect_null(strstr(lost.episode.detail, "451"), "what a receiver says is not for pages");
    cr_expect_str_eq(fixture_notices(&f, 2), "on-call raised", "whom it does not reach is not told");
    cr_assert(store_notice_done(f.store, 1, NOTICE_GIVEN_UP, hours_on(4), hours_on(4), "answered 550", &error));
    advance(5);
    cr_expect_eq(fixture_alarm(&f, 2).state, ALARM_UNACKNOWLEDGED, "the same alarm, a worse cause");
    cr_expect_str_eq(fixture_alarm(&f, 2).episode.detail, "a notice was given up; 'rillward status' tells why");
    put_rows(QUANTITY_OXYGEN, 1, oxygen + 1, 1, hours_on(6));
    struct notice *due;
    size_t n;
    cr_assert(store_notices_due(f.store, hours_on(6), 10, f.arena, &due, &n, &error));
    for (size_t k = 0; k < n; k++)
        if (strcmp(due[k].recipient, "desk") == 0)
            cr_assert(store_notice_done(f.store, due[k].id, NOTICE_DELIVERED, hours_on(6), hours_on(6), "250", &error));
    advance(7);
    cr_expect_eq(fixture_alarm(&f, 2).state, ALARM_RETURNED_UNACKNOWLEDGED);
    cr_expect_str_eq(fixture_alarm(&f, 2).episode.detail, "a notice got through");
}

/* ---- data, people and the clock in any order ---- */

enum { HOURS = 240 };

static uint64_t random_state = 20260420;

static size_t below(size_t n)
{
    random_state ^= random_state >> 12;
    random_state ^= random_state << 25;
    random_state ^= random_state >> 27;
    return (size_t)((random_state * UINT64_C(2685821657736338717)) >> 33) % n;
}

static void answer_somehow(int64_t now)
{
    struct alarm *list;
    size_t n;
    const char *said;
    cr_assert(store_alarms_open(f.store, f.arena, &list, &n, &error));
    if (n == 0)
        return;
    struct answer answer = {.alarm = list[below(n)].id,
                            .kind = (enum answer_kind)below(ANSWER_KIND_COUNT),
                            .until = now + (int64_t)(1 + below(20)) * HOUR_MS,
                            .who = "anna",
                            .reason = "because"};
    cr_assert(store_begin(f.store, __func__, &error));
    bool is_given = answer_give(&f.teller, &answer, now, &said, &error);
    cr_assert(is_given || error.kind == ERROR_INPUT, "%s", error.text);
    if (is_given)
        cr_assert(store_commit(f.store, &error));
    else
        store_rollback(f.store);
}

/* The alarms that are not withdrawn are the episodes of all rows, one each; what is so is active, what is over is not;
 * nobody is asked about what needs no answer; no shelf outlives its time. */
static void expect_sound(const double *value, int64_t now, int turn)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct record whole;
    struct alarm *list;
    struct episode *found;
    size_t n, rows = 0, alive = 0;
    record_init(&whole, arena, HOURS, 1u << QUANTITY_OXYGEN);
    for (size_t k = 0; k < HOURS; k++)
        if (isfinite(value[k])) {
            whole.time[rows] = hours_on((double)k);
            whole.value[QUANTITY_OXYGEN][rows] = value[k];
            whole.flag[QUANTITY_OXYGEN][rows++] = FLAG_PASS;
        }
    whole.n = rows;
    struct rule_view view = {
        .rule = &f.config->rules[0], .record = &whole, .before = TIME_NONE, .after = TIME_NONE, .now = now};
    size_t count = rules_evaluate(arena, &view, &found);
    cr_assert(store_alarms_of_station(f.store, "heron-creek", (struct span){TIME_NONE, TIME_FOREVER}, 10000, arena,
                                      &list, &n, &error));
    for (size_t k = 0; k < n; k++) {
        const struct alarm *a = &list[k];
        cr_assert(lifecycle_is_active(a->state) == (a->episode.end == TIME_NONE), "turn %d, alarm %d", turn,
                  (int)a->id);
        cr_assert((a->asked != TIME_NONE) == (a->state == ALARM_UNACKNOWLEDGED && !a->is_old_news), "turn %d", turn);
        cr_assert(a->shelved_until == TIME_NONE || a->shelved_until > now, "turn %d: a shelf outlived its time", turn);
        cr_assert(a->state != ALARM_SHELVED || a->shelved_until != TIME_NONE, "turn %d: shelved for ever", turn);
        bool was_told = *fixture_notices(&f, a->id) != '\0';
        cr_assert(a->state != ALARM_UNACKNOWLEDGED || a->is_old_news || was_told, "turn %d: asked and never told",
                  turn);
        alive += a->state != ALARM_WITHDRAWN;
    }
    cr_assert_eq(alive, count, "turn %d: %zu alarms, %zu episodes", turn, alive, count);
    for (size_t e = 0; e < count; e++) {
        bool is_held = false;
        for (size_t k = 0; k < n; k++)
            is_held |= list[k].state != ALARM_WITHDRAWN && list[k].episode.start == found[e].start &&
                       list[k].episode.end == found[e].end;
        cr_assert(is_held, "turn %d: an episode without an alarm", turn);
    }
}

Test(announce, data_people_and_the_clock_in_any_order_never_lose_or_stick_an_alarm)
{
    open_with("rules: {low: {kind: below, quantity: oxygen, limit: 3 mg/L, deadband: 0.5 mg/L, on_delay: 1 h, "
              "off_delay: 2 h, "
              "tell: [desk], repeat: 2 h, escalate: {after: 5 h, to: [on-call]}}}\n");
    static double value[HOURS];
    for (size_t k = 0; k < HOURS; k++)
        value[k] = NAN;
    double hour = HOURS;
    for (int turn = 0; turn < 400; turn++) {
        size_t what = below(4), n = 1 + below(12), first = below(HOURS - n);
        double block[12];
        for (size_t k = 0; k < n && what < 2; k++)
            value[first + k] = block[k] = 2 + (double)below(30) / 10;
        if (what < 2)
            put_rows(QUANTITY_OXYGEN, first, block, n, hours_on(hour));
        else if (what == 2)
            answer_somehow(hours_on(hour));
        else
            hour += (double)below(8) / 2;
        advance(hour);
        expect_sound(value, hours_on(hour), turn);
    }
}
