/* SPDX-License-Identifier: MIT */
#include "archive/changes.h"

#include <criterion/criterion.h>
#include <string.h>

#define HEAD "time_utc,level_m,level_flag,level_tests,barometer,drop,line\r\n"

static struct text text;

static void start(void)
{
    text_init(&text, 65536);
}

static void finish(void)
{
    text_done(&text);
}

TestSuite(changes, .init = start, .fini = finish);

static const char *of_rows(const char *before, const char *after)
{
    changes_of_rows(before, strlen(before), after, strlen(after), &text);
    return text.bytes ? text.bytes : "";
}

static const char *of_facts(const char *before, const char *after)
{
    changes_of_facts(before, after, &text);
    return text.bytes ? text.bytes : "";
}

Test(changes, same_rows_say_nothing)
{
    const char *rows = HEAD "2026-04-01T00:00:00Z,1.000,1,0,hill,1,2\r\n";
    cr_expect_str_eq(of_rows(rows, rows), "");
}

Test(changes, counts_values_and_flags_and_tells_largest_and_mean_difference)
{
    cr_expect_str_eq(of_rows(HEAD "2026-04-01T00:00:00Z,1.000,1,0,hill,1,2\r\n"
                                  "2026-04-01T00:05:00Z,1.000,1,0,hill,1,3\r\n"
                                  "2026-04-01T00:10:00Z,1.000,1,0,hill,1,4\r\n",
                             HEAD "2026-04-01T00:00:00Z,1.010,1,0,hill,1,2\r\n"
                                  "2026-04-01T00:05:00Z,0.970,3,0,hill,1,3\r\n"
                                  "2026-04-01T00:10:00Z,1.000,1,0,hill,1,4\r\n"),
                     "Water level: 2 values changed by up to -0.0300, in the mean -0.0100 m, 1 flag changed\n");
}

Test(changes, rows_and_values_come_and_go)
{
    cr_expect_str_eq(of_rows(HEAD "2026-04-01T00:00:00Z,1.000,1,0,hill,1,2\r\n"
                                  "2026-04-01T00:05:00Z,,9,0,,1,3\r\n",
                             HEAD "2026-04-01T00:05:00Z,0.970,9,0,hill,1,3\r\n"
                                  "2026-04-01T00:05:00.500Z,1.000,1,0,hill,1,4\r\n"
                                  "2026-04-01T00:10:00Z,1.000,1,0,hill,1,5\r\n"),
                     "2 rows came\n1 row went\nWater level: 3 values came, 1 value went\n");
}

Test(changes, a_column_that_comes_is_counted_in_rows_that_are_else_the_same)
{
    cr_expect_str_eq(of_rows("time_utc,temperature_degc,temperature_flag\r\n2026-04-01T00:00:00Z,7.00,1\r\n",
                             "time_utc,level_m,level_flag,temperature_degc,temperature_flag\r\n"
                             "2026-04-01T00:00:00Z,1.000,1,7.00,1\r\n"),
                     "Water level: 1 value came, 1 flag changed\n");
}

Test(changes, no_file_at_all_is_a_file_without_rows)
{
    cr_expect_str_eq(of_rows("", HEAD "2026-04-01T00:00:00Z,1.000,1,0,hill,1,2\r\n"),
                     "1 row came\nWater level: 1 value came\n");
}

Test(changes, facts_come_go_and_are_silent_where_they_stay)
{
    cr_expect_str_eq(of_facts("program 1\nsettings aa\nfile 'a.csv'\nnote x\n",
                              "program 2\nsettings bb\nfile 'a.csv'\nfile 'b.csv'\n"),
                     "Now: program 2\nThe station’s settings changed\nNew: file 'b.csv'\nNo longer: note x\n");
}

Test(changes, nothing_is_said_where_the_facts_before_are_not_known)
{
    cr_expect_str_eq(of_facts("", "program 2\nfile 'b.csv'\n"), "");
}

Test(changes, many_facts_are_cut_and_counted)
{
    struct text after;
    text_init(&after, 65536);
    for (int k = 0; k < CHANGES_LINES_MAX + 3; k++)
        text_printf(&after, "note %d\n", k);
    const char *said = of_facts("program 1\n", after.bytes);
    text_done(&after);
    cr_expect(strstr(said, "New: note 39\n"));
    cr_expect_not(strstr(said, "New: note 40\n"));
    cr_expect(strstr(said, "And 3 facts more\n"));
}
