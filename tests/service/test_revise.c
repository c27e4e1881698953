/* SPDX-License-Identifier: MIT */
#include "service/revise.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

static struct arena *arena;

static void start(void)
{
    arena = arena_new();
}

static void finish(void)
{
    arena_free(arena);
}

TestSuite(revise, .init = start, .fini = finish);

Test(revise, a_history_has_a_line_for_each_revision_that_told_something)
{
    const char *history = revise_history("", 1, "", arena);
    history = revise_history(history, 2, "2 rows came\nNew: file 'a'\n", arena);
    history = revise_history(history, 3, NULL, arena);
    history = revise_history(history, 4, "1 row went\n", arena);
    cr_expect_str_eq(history, "revision 2: 2 rows came; New: file 'a'\nrevision 4: 1 row went");
}

Test(revise, a_history_is_the_same_drawn_up_first_or_from_the_newest_ones_again)
{
    const char *grown = "", *again = "";
    for (int64_t r = 1; r <= REVISE_HISTORY_MAX + 7; r++)
        grown = revise_history(grown, r, "2 rows came\n", arena);
    for (int64_t r = 8; r <= REVISE_HISTORY_MAX + 7; r++)
        again = revise_history(again, r, "2 rows came\n", arena);
    cr_expect_str_eq(grown, again);
    cr_expect(strncmp(grown, "revision 8: ", strlen("revision 8: ")) == 0);
}

Test(revise, a_long_list_is_cut_between_two_of_its_lines)
{
    struct text changes;
    text_init(&changes, 1 << 16);
    for (int k = 0; k < 200; k++)
        text_printf(&changes, "New: note %d \u00e9\u00e9\u00e9\n", k);
    const char *history = revise_history("", 2, changes.bytes, arena);
    text_done(&changes);
    cr_expect(strlen(history) < 2000);
    cr_expect_eq(history[strlen(history) - 1], ';');
}
