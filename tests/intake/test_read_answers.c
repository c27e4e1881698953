/* SPDX-License-Identifier: MIT */
#include "intake/read_answers.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

static struct arena *arena;

static void set_up(void)
{
    arena = arena_new();
}

static void tear_down(void)
{
    arena_free(arena);
}

TestSuite(read_answers, .init = set_up, .fini = tear_down);

static bool read_text(const char *text, struct answer_line **ret, size_t *ret_n, bool *ret_ends_open,
                      struct error *error)
{
    return answers_read(arena, text, strlen(text), ret, ret_n, ret_ends_open, error);
}

static struct answer_line *expect_lines(const char *text, size_t count)
{
    struct answer_line *lines = NULL;
    struct error error = {0};
    size_t n = 0;
    bool ends_open;
    cr_assert(read_text(text, &lines, &n, &ends_open, &error), "%s", error.text);
    cr_assert_eq(n, count, "%zu lines", n);
    return lines;
}

static void expect_refused(const char *text, const char *why)
{
    struct answer_line *lines;
    struct error error = {0};
    size_t n;
    bool ends_open;
    cr_assert_not(read_text(text, &lines, &n, &ends_open, &error), "%s", text);
    cr_expect_eq(error.kind, ERROR_INPUT);
    cr_expect(strstr(error.text, why), "'%s' says nothing of '%s'", error.text, why);
}

Test(read_answers, a_name_is_enough_to_know_such_a_file)
{
    cr_expect(answers_is_name("answers.csv"));
    cr_expect(answers_is_name("desk/Answers (2).CSV"));
    cr_expect(answers_is_name("desk/answers-2026-04-20.csv"));
    cr_expect_not(answers_is_name("answers/heron.csv"));
    cr_expect_not(answers_is_name("desk/my answers.csv"));
}

Test(read_answers, columns_stand_in_any_order_and_may_be_fewer)
{
    struct answer_line *lines =
        expect_lines("\xEF\xBB\xBF\r\nWho;Alarm;Answer;Reason\r\n"
                     "R. Fen;42;acknowledge;\"on my way; 20 min\"\r\n;;;\r\nJ. Reed;7;unshelve;\r\n",
                     2);
    cr_expect_str_eq(lines[0].alarm, "42");
    cr_expect_str_eq(lines[0].answer, "acknowledge");
    cr_expect_str_eq(lines[0].who, "R. Fen");
    cr_expect_str_eq(lines[0].until, "");
    cr_expect_str_eq(lines[0].reason, "on my way; 20 min");
    cr_expect_eq(lines[0].line, 3);
    cr_expect_eq(lines[1].line, 5);
}

Test(read_answers, a_line_is_known_again_in_a_longer_file_and_a_second_one_like_it_is_another)
{
    struct answer_line *once = expect_lines("alarm,answer,who\n1,acknowledge,R\n", 1);
    struct answer_line *more = expect_lines("who,alarm,answer\nR,2,acknowledge\nR,1,acknowledge\nR,1,acknowledge\n", 3);
    cr_expect_str_eq(once[0].key, more[1].key);
    cr_expect_str_neq(more[1].key, more[2].key);
    cr_expect_str_neq(more[0].key, more[1].key);
}

Test(read_answers, says_what_is_no_file_of_answers)
{
    expect_refused("", "an empty file");
    expect_refused("\n\n", "no header");
    expect_refused("alarm,who\n1,R\n", "line 1: there is no column 'answer'");
    expect_refused("PK\x03\x04 and more", "a workbook");
    char *large = arena_alloc(arena, ANSWERS_LARGEST + 2);
    memset(large, 'a', ANSWERS_LARGEST + 1);
    expect_refused(large, "larger than");
    char *many = arena_alloc(arena, 64 + (ANSWERS_MOST + 1) * 4);
    strcpy(many, "alarm,answer,who\n");
    for (int k = 0; k <= ANSWERS_MOST; k++)
        strcat(many, "1,,\n");
    expect_refused(many, "more than 1000 answers");
}

Test(read_answers, tells_that_the_last_line_may_be_half_written)
{
    struct answer_line *lines;
    struct error error = {0};
    size_t n;
    bool ends_open;
    cr_assert(read_text("alarm,answer,who\n1,acknow", &lines, &n, &ends_open, &error));
    cr_expect(ends_open);
    cr_assert(read_text("alarm,answer,who\n1,acknowledge,R\n", &lines, &n, &ends_open, &error));
    cr_expect_not(ends_open);
}
