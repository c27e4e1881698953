/* SPDX-License-Identifier: MIT */
#include "service/take_answers.h"

#include "base/timestamp.h"
#include "fixture.h"
#include "service/status.h"

#include <criterion/criterion.h>
#include <string.h>

#define RULES                                                                                                          \
    "alarms: {longest_shelf: 7 d, answers: [\"desk/answers*.csv\", \"night.csv\"]}\n"                                  \
    "rules: {low-oxygen: {kind: below, quantity: oxygen, limit: 3 mg/L, tell: [desk, on-call]}}\n"
#define HEADER "alarm,answer,who,until,reason\n"

static struct fixture f;

static void set_up(void)
{
    f = fixture_open(RULES);
}

static void tear_down(void)
{
    fixture_close(&f);
}

TestSuite(take_answers, .init = set_up, .fini = tear_down);

static struct answers_taken take(const char *path, const char *text, int64_t now)
{
    struct error error = {0};
    struct answers_taken taken;
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(answers_take(&f.teller, path, text, strlen(text), false, now, now, &taken, &error), "%s", error.text);
    cr_assert(store_commit(f.store, &error));
    return taken;
}

Test(take_answers, a_trusted_file_acknowledges_and_shelves_and_each_line_is_heard_once)
{
    struct alarm first = fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    struct alarm second = fixture_raise(&f, "weir-pool", "low-oxygen", hours_on(1));
    const char *one = HEADER "1,acknowledge,R. Fen,,on my way\n";
    struct answers_taken taken = take("desk/answers.csv", one, hours_on(2));
    cr_expect(taken.given == 1 && taken.refused == 0 && !*taken.said);
    cr_expect_eq(fixture_alarm(&f, first.id).state, ALARM_ACKNOWLEDGED);
    cr_expect(strstr(fixture_steps(&f, first.id), "R. Fen, by desk/answers.csv acknowledged: on my way"), "%s",
              fixture_steps(&f, first.id));
    const char *more = HEADER "1,acknowledge,R. Fen,,on my way\n2,Shelve,R. Fen,8 h,gate works\n";
    taken = take("desk/answers.csv", more, hours_on(3));
    cr_expect(taken.lines == 2 && taken.given == 1, "the first line was heard before");
    cr_expect_eq(fixture_alarm(&f, second.id).state, ALARM_SHELVED);
    cr_expect_eq(fixture_alarm(&f, second.id).shelved_until, hours_on(11));
    taken = take("desk/answers.csv", more, hours_on(5));
    cr_expect(taken.given == 0 && taken.refused == 0);
    cr_expect_eq(fixture_alarm(&f, second.id).shelved_until, hours_on(11), "nothing is put off by reading again");
}

Test(take_answers, what_cannot_be_done_is_told_and_the_rest_is_done)
{
    struct alarm alarm = fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    struct answers_taken taken =
        take("night.csv",
             HEADER "99,acknowledge,R. Fen,,\none,acknowledge,R. Fen,,\n1,ack,R. Fen,,\n1,shelve,R. Fen,,why\n"
                    "1,shelve,R. Fen,soon,why\n1,shelve,R. Fen,60 d,why\n1,shelve,R. Fen,8 h,\n1,acknowledge,,,\n"
                    "1,acknowledge,R. Fen,,\n",
             hours_on(2));
    cr_expect(taken.given == 1 && taken.refused == 8, "%zu given: %s", taken.given, taken.said);
    static const char *const said[] = {"line 2: there is no alarm 99",        "line 3: 'one' is no number of an alarm",
                                       "line 4: 'ack' is no answer",          "line 5: shelving needs its end",
                                       "line 6: 'soon' is no end of a shelf", "line 7: alarm 1 cannot be shelved until",
                                       "line 8: shelving needs a reason",     "line 9: an answer needs a name"};
    for (size_t k = 0; k < COUNT_OF(said); k++)
        cr_expect(strstr(taken.said, said[k]), "'%s' in %s", said[k], taken.said);
    cr_expect_eq(fixture_alarm(&f, alarm.id).state, ALARM_ACKNOWLEDGED);
}

Test(take_answers, a_file_older_than_the_alarm_was_meant_for_another)
{
    struct error error = {0};
    struct answers_taken taken;
    fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(5));
    const char *text = HEADER "1,acknowledge,R. Fen,,\n";
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(
        answers_take(&f.teller, "night.csv", text, strlen(text), false, hours_on(4), hours_on(6), &taken, &error));
    cr_assert(store_commit(f.store, &error));
    cr_expect(strstr(taken.said, "line 2: alarm 1 is younger than this answer"), "%s", taken.said);
    cr_expect_eq(fixture_alarm(&f, 1).state, ALARM_UNACKNOWLEDGED);
}

Test(take_answers, what_was_heard_before_the_database_was_lost_is_not_heard_again)
{
    struct error error = {0};
    size_t lines;
    const char *text = HEADER "1,acknowledge,R. Fen,,\n";
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(answers_remember(&f.teller, "night.csv", text, strlen(text), hours_on(1), &lines, &error), "%s",
              error.text);
    cr_assert(answers_remember(&f.teller, "night.csv", text, strlen(text), hours_on(1), &lines, &error), "%s",
              error.text);
    cr_assert(store_commit(f.store, &error));
    cr_expect_eq(lines, 1);
    fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    struct answers_taken taken = take("night.csv", text, hours_on(2));
    cr_expect(taken.given == 0 && taken.refused == 0);
    cr_expect_eq(fixture_alarm(&f, 1).state, ALARM_UNACKNOWLEDGED);
}

Test(take_answers, nobody_else_can_answer)
{
    fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    const char *text = HEADER "1,acknowledge,R. Fen,,\n";
    static const char *const paths[] = {"answers.csv", "north/answers.csv", "desk/north/answers.csv",
                                        "desk/../answers.csv"};
    for (size_t k = 0; k < COUNT_OF(paths); k++) {
        struct error error = {0};
        struct answers_taken taken;
        cr_expect(answers_are_in(f.config, paths[k]), "%s is known for what it is", paths[k]);
        cr_expect_not(
            answers_take(&f.teller, paths[k], text, strlen(text), true, hours_on(2), hours_on(2), &taken, &error));
        cr_expect_eq(error.kind, ERROR_INPUT);
        cr_expect(strstr(error.text, "'answers' under 'alarms'"), "%s", error.text);
    }
    cr_expect_eq(fixture_alarm(&f, 1).state, ALARM_UNACKNOWLEDGED);
    cr_expect_not(answers_are_in(f.config, "desk/heron.csv"));
}

Test(take_answers, a_half_written_line_waits)
{
    fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    struct answers_taken taken = take("night.csv", HEADER "1,acknowledge,R. Fen", hours_on(2));
    cr_expect(taken.ends_open && taken.given == 0);
    cr_expect_eq(fixture_alarm(&f, 1).state, ALARM_UNACKNOWLEDGED);
}

Test(take_answers, the_status_answers_each_line)
{
    fixture_raise(&f, "heron-creek", "low-oxygen", hours_on(1));
    take("night.csv", HEADER "1,acknowledge,R. Fen,,\n9,acknowledge,R. Fen,,\n", hours_on(2));
    struct text text;
    struct error error = {0};
    bool needs_hand;
    text_init(&text, 1 << 20);
    const struct status_options options = {.now = hours_on(3)};
    cr_assert(status_render(f.config, f.store, &options, &text, &needs_hand, &error), "%s", error.text);
    cr_expect(strstr(text.bytes, "night.csv line 2, R. Fen: given; alarm 1 is now acknowledged"), "%s", text.bytes);
    cr_expect(strstr(text.bytes, "night.csv line 3, R. Fen: not given; there is no alarm 9"), "%s", text.bytes);
    text_clear(&text);
    const struct status_options much_later = {.now = hours_on(3 + 24 * 8)};
    cr_assert(status_render(f.config, f.store, &much_later, &text, &needs_hand, &error), "%s", error.text);
    cr_expect_null(strstr(text.bytes, "night.csv"));
    text_done(&text);
}
