/* SPDX-License-Identifier: MIT */
#include "service/answer.h"

#include "base/text.h"
#include "base/timestamp.h"
#include "fixture.h"
#include "service/alarms_command.h"

#include <criterion/criterion.h>
#include <string.h>

#define RULES                                                                                                          \
    "alarms: {longest_shelf: 7 d}\n"                                                                                   \
    "rules: {low-oxygen: {kind: below, quantity: oxygen, limit: 3 mg/L, tell: [desk, on-call]}}\n"

static struct fixture f;

static void set_up(void)
{
    f = fixture_open(RULES);
}

static void tear_down(void)
{
    fixture_close(&f);
}

TestSuite(answer, .init = set_up, .fini = tear_down);

static bool give(struct answer answer, int64_t now, const char **ret_said, struct error *error)
{
    cr_assert(store_begin(f.store, __func__, error), "%s", error->text);
    bool is_given = answer_give(&f.teller, &answer, now, ret_said, error);
    if (is_given)
        cr_assert(store_commit(f.store, error), "%s", error->text);
    else
        store_rollback(f.store);
    return is_given;
}

static const char *expect_given(struct answer answer, int64_t now)
{
    struct error error = {0};
    const char *said = "";
    cr_assert(give(answer, now, &said, &error), "%s", error.text);
    return said;
}

static void expect_refused(struct answer answer, int64_t now, const char *why)
{
    struct error error = {0};
    const char *said;
    cr_expect_not(give(answer, now, &said, &error));
    cr_expect_eq(error.kind, ERROR_INPUT);
    cr_expect(strstr(error.text, why), "'%s' says nothing of '%s'", error.text, why);
}

Test(answer, an_acknowledged_alarm_keeps_who_and_when_and_asks_no_more)
{
    struct alarm alarm = fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    cr_expect_eq(alarm.asked, hours_on(1));
    const char *said = expect_given((struct answer){.alarm = alarm.id, .who = "anna"}, hours_on(2));
    cr_expect_str_eq(said, "alarm 1 is now acknowledged");
    alarm = fixture_alarm(&f, alarm.id);
    cr_expect_eq(alarm.state, ALARM_ACKNOWLEDGED);
    cr_expect_eq(alarm.asked, TIME_NONE);
    cr_expect_eq(alarm.changed, hours_on(2));
    cr_expect_str_eq(fixture_steps(&f, alarm.id), "rillward raised; anna acknowledged");
    said = expect_given((struct answer){.alarm = alarm.id, .who = "bert"}, hours_on(3));
    cr_expect_str_eq(said, "alarm 1 needs no answer, it is acknowledged");
    cr_expect_str_eq(fixture_steps(&f, alarm.id), "rillward raised; anna acknowledged", "nothing is written twice");
}

Test(answer, a_shelf_is_for_a_time_and_has_a_reason)
{
    struct alarm alarm = fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    struct answer shelve = {
        .alarm = alarm.id, .kind = ANSWER_SHELVE, .until = hours_on(9), .who = "anna", .reason = "weir open"};
    cr_expect_str_eq(expect_given(shelve, hours_on(2)), "alarm 1 is shelved until 2026-04-20T09:00:00Z");
    alarm = fixture_alarm(&f, alarm.id);
    cr_expect_eq(alarm.state, ALARM_SHELVED);
    cr_expect_eq(alarm.shelved_until, hours_on(9));
    cr_expect_str_eq(alarm.shelf_reason, "weir open");
    cr_expect_str_eq(fixture_steps(&f, alarm.id),
                     "rillward raised; anna shelved until 2026-04-20T09:00:00Z: weir open");
    cr_expect_str_eq(fixture_notices(&f, alarm.id), "desk raised, on-call raised", "a person knows what they did");
}

Test(answer, what_cannot_be_is_refused_with_its_reason)
{
    struct alarm alarm = fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    struct answer shelve = {
        .alarm = alarm.id, .kind = ANSWER_SHELVE, .until = hours_on(9), .who = "anna", .reason = "x"};
    struct answer wrong = shelve;
    wrong.until = hours_on(1);
    expect_refused(wrong, hours_on(2), "past");
    wrong.until = hours_on(2 + 7 * 24.1);
    expect_refused(wrong, hours_on(2), "the longest shelf is 7 d");
    wrong = shelve;
    wrong.reason = "";
    expect_refused(wrong, hours_on(2), "reason");
    wrong = shelve;
    wrong.who = "";
    expect_refused(wrong, hours_on(2), "name");
    wrong = shelve;
    wrong.alarm = 77;
    expect_refused(wrong, hours_on(2), "no alarm 77");
    cr_expect_str_eq(fixture_steps(&f, alarm.id), "rillward raised");
}

Test(answer, taken_off_the_shelf_it_needs_an_answer_again_and_people_are_told)
{
    struct alarm alarm = fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    struct alarm other = fixture_raise(&f, "weir-pool", "low-oxygen", hours_on(1));
    struct answer answer = {
        .alarm = alarm.id, .kind = ANSWER_SHELVE, .until = hours_on(9), .who = "anna", .reason = "x"};
    expect_given(answer, hours_on(2));
    answer.alarm = other.id;
    expect_given(answer, hours_on(2));
    answer = (struct answer){.alarm = alarm.id, .kind = ANSWER_UNSHELVE, .who = "anna"};
    cr_expect_str_eq(expect_given(answer, hours_on(3)), "alarm 1 is now unacknowledged");
    alarm = fixture_alarm(&f, alarm.id);
    cr_expect_eq(alarm.state, ALARM_UNACKNOWLEDGED);
    cr_expect_eq(alarm.asked, hours_on(3));
    cr_expect_eq(alarm.shelved_until, TIME_NONE);
    cr_expect_str_eq(fixture_notices(&f, alarm.id), "desk raised, on-call raised, desk updated, on-call updated");
    cr_expect_eq(fixture_alarm(&f, other.id).state, ALARM_SHELVED, "another place's shelf is another shelf");
    cr_expect_str_eq(expect_given(answer, hours_on(3)), "alarm 1 is not shelved, it is unacknowledged");
}

Test(answer, an_end_of_a_shelf_is_a_time_or_a_duration)
{
    int64_t until;
    struct error error = {0};
    cr_expect(answer_parse_until("8 h", hours_on(2), &until, &error) && until == hours_on(10));
    cr_expect(answer_parse_until("2026-04-20T09:00:00+01:00", hours_on(2), &until, &error) && until == hours_on(8));
    cr_expect_not(answer_parse_until("tomorrow", hours_on(2), &until, &error));
    cr_expect(strstr(error.text, "'tomorrow'"));
    cr_expect_not(answer_parse_until("2026-04-20 09:00", hours_on(2), &until, &error), "a time needs its zone");
}

Test(answer, words_round_trip)
{
    for (enum answer_kind kind = 0; kind < ANSWER_KIND_COUNT; kind++)
        cr_expect_eq(answer_kind_find(answer_kind_word(kind)), kind);
    cr_expect_eq(answer_kind_find("delete"), ANSWER_KIND_COUNT);
}

/* ---- the command ---- */

static const char *command(bool as_json, const char *who, const char *until, const char *reason, char **words)
{
    struct error error = {0};
    struct text text;
    bool needs_hand = false;
    int count = 0;
    while (words[count])
        count++;
    struct alarms_options options = {.words = words,
                                     .word_count = count,
                                     .who = who,
                                     .until = until,
                                     .reason = reason,
                                     .as_json = as_json,
                                     .now = hours_on(2)};
    text_init(&text, 1 << 20);
    bool is_done = alarms_command_run(f.config, &options, &text, &needs_hand, &error);
    const char *ret =
        arena_printf(f.arena, "%s%s%s", text.bytes ? text.bytes : "", is_done ? "" : "! ", is_done ? "" : error.text);
    text_done(&text);
    return ret;
}

#define WORDS(...) ((char *[]){__VA_ARGS__, NULL})

Test(answer, the_command_lists_answers_and_tells_the_history_beside_the_service)
{
    struct alarm alarm = fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    fixture_raise(&f, "weir-pool", "low-oxygen", hours_on(1));
    const char *list = command(false, NULL, NULL, NULL, WORDS("list"));
    cr_expect(
        strstr(list,
               "     1  medium    heron-creek             low-oxygen        2026-04-20T00:00:00Z  unacknowledged; "
               "worst 1.50 mg/L, last 2.00 mg/L\n"),
        "%s", list);
    cr_expect_str_eq(command(false, "anna", NULL, NULL, WORDS("acknowledge", "1", "2")),
                     "alarm 1 is now acknowledged\nalarm 2 is now acknowledged\n");
    cr_expect_str_eq(command(false, "anna", "8 h", "weir open", WORDS("shelve", "2")),
                     "alarm 2 is shelved until 2026-04-20T10:00:00Z\n");
    list = command(true, NULL, NULL, NULL, WORDS("list"));
    cr_expect(strstr(list, "\"shelved_until\":\"2026-04-20T10:00:00Z\",\"shelf_reason\":\"weir open\""), "%s", list);
    const char *history = command(false, NULL, NULL, NULL, WORDS("history", "1"));
    cr_expect(strstr(history, "  2026-04-20T02:00:00Z  anna: acknowledged (acknowledged)\n"), "%s", history);
    cr_expect(strstr(history, "  2026-04-20T01:00:00Z  to desk: raised; waits to be sent\n"), "%s", history);
    history = command(true, NULL, NULL, NULL, WORDS("history", "1"));
    cr_expect(strstr(history, "\"who\":\"anna\",\"what\":\"acknowledged\""), "%s", history);
    cr_expect_eq(fixture_alarm(&f, alarm.id).state, ALARM_ACKNOWLEDGED);
}

Test(answer, the_command_says_what_it_wants)
{
    fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    cr_expect(strstr(command(false, "a", NULL, NULL, WORDS("acknowledge")), "needs the number of an alarm"));
    cr_expect(strstr(command(false, "a", NULL, NULL, WORDS("acknowledge", "x")), "'x' is no number of an alarm"));
    cr_expect(strstr(command(false, "a", NULL, NULL, WORDS("acknowledge", "1", "9")),
                     "alarm 1 is now acknowledged\n! there"));
    cr_expect(strstr(command(false, "a", NULL, "x", WORDS("shelve", "1")), "--until"));
    cr_expect(strstr(command(false, "a", "1 h", NULL, WORDS("acknowledge", "1")), "--until belongs"));
    cr_expect(strstr(command(false, "a", NULL, NULL, WORDS("forget", "1")), "expected list, acknowledge"));
    cr_expect(strstr(command(false, NULL, NULL, NULL, WORDS("history", "9")), "there is no alarm 9"));
}
