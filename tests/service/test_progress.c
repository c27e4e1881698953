/* SPDX-License-Identifier: MIT */
#include "service/progress.h"

#include <criterion/criterion.h>

static void expect(const char *wanted, size_t done, size_t total, size_t first, int64_t elapsed)
{
    struct text line;
    text_init(&line, 256);
    progress_print(&line, "writing records", done, total, first, elapsed);
    cr_expect_str_eq(line.bytes, wanted);
    text_done(&line);
}

Test(progress, the_line_says_how_much_how_fast_and_how_long)
{
    expect("writing records: 3", 3, 0, 0, 500);
    expect("writing records: 3 of 12", 3, 12, 0, 500);
    expect("writing records: 310, 155 a second", 310, 0, 0, 2000);
    expect("writing records: 120 of 480, 30 a second, 13 s left", 120, 480, 0, 4000);
    expect("writing records: 12 of 12, 6.0 a second", 12, 12, 0, 2000);
}

Test(progress, the_rate_is_that_of_this_run_alone)
{
    expect("writing records: 120 of 480, 5.0 a second, 2 min left", 120, 480, 100, 4000);
    expect("writing records: 100 of 480", 100, 480, 100, 4000);
}

Test(progress, a_long_time_is_told_in_few_figures)
{
    expect("writing records: 100 of 100000, 10 a second, 3 h left", 100, 100000, 0, 10000);
    expect("writing records: 100 of 10000000, 10 a second, 11 d 14 h left", 100, 10000000, 0, 10000);
}

Test(progress, what_is_left_is_counted_against_the_most_there_was)
{
    struct progress progress = {.is_shown = true};
    progress_tell_left(&progress, "deriving spans", 40, 1000);
    cr_expect_eq(progress.most, 40);
    progress_tell_left(&progress, "deriving spans", 10, 2000);
    cr_expect_eq(progress.most, 40);
    progress_tell_left(&progress, "deriving spans", 70, 3000); /* more came meanwhile */
    cr_expect_eq(progress.most, 70);
    progress_tell_left(&progress, "writing records", 5, 4000);
    cr_expect_eq(progress.most, 5);
    cr_expect_eq(progress.first, 0);
    cr_expect_not(progress_is_due(&progress, 4050));
    cr_expect(progress_is_due(&progress, 4100));
    progress_close(&progress);
    cr_expect_not(progress_is_due(&progress, 9000));
}
