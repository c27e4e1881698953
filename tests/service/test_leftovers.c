/* SPDX-License-Identifier: MIT */
#include "service/leftovers.h"

#include "base/file.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static struct config config;
static char folder[64], archive[96], state[96];
static struct error error;

static void start(void)
{
    strcpy(folder, "/tmp/leftovers-XXXXXX");
    cr_assert(mkdtemp(folder));
    snprintf(archive, sizeof archive, "%s/archive", folder);
    snprintf(state, sizeof state, "%s/state", folder);
    config = (struct config){.archive = archive, .state = state};
    cr_assert(mkdir(archive, 0755) == 0 && mkdir(state, 0755) == 0);
}

static void finish(void)
{
    char command[128];
    snprintf(command, sizeof command, "rm -r %s", folder);
    cr_expect_eq(system(command), 0);
}

TestSuite(leftovers, .init = start, .fini = finish);

static void leave_one(void)
{
    char path[160];
    snprintf(path, sizeof path, "%s/.rillward-index.html", archive);
    cr_assert(file_write_whole(path, "half", 4, &error), "%s", error.text);
}

Test(leftovers, what_a_first_run_or_a_killed_one_left_is_removed)
{
    leave_one();
    cr_expect_eq(leftovers_begin(&config), 1);
    leave_one(); /* and the run is killed: it does not say that it ended */
    cr_expect_eq(leftovers_begin(&config), 1);
}

Test(leftovers, after_a_run_that_ended_well_nothing_is_looked_for_once)
{
    leftovers_begin(&config);
    leftovers_end(&config);
    leave_one();
    cr_expect_eq(leftovers_begin(&config), 0, "the mark says that there are none");
    cr_expect_eq(leftovers_begin(&config), 1, "it holds for one run");
}

Test(leftovers, another_archive_in_its_place_is_looked_through)
{
    char before[128];
    leftovers_begin(&config);
    leftovers_end(&config);
    snprintf(before, sizeof before, "%s-before", archive);
    cr_assert(rename(archive, before) == 0 && mkdir(archive, 0755) == 0);
    leave_one();
    cr_expect_eq(leftovers_begin(&config), 1);
}

Test(leftovers, half_a_mark_is_none)
{
    char mark[128];
    leftovers_begin(&config);
    leftovers_end(&config);
    snprintf(mark, sizeof mark, "%s/tidy", state);
    cr_assert_eq(truncate(mark, 8), 0);
    leave_one();
    cr_expect_eq(leftovers_begin(&config), 1);
    leftovers_end(&config);
    cr_assert_eq(unlink(mark), 0, "a whole one can be written again");
}
