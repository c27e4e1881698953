/* SPDX-License-Identifier: MIT */
#include "service/target.h"

#include "fixture.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static struct fixture f;
static char folder[64];
static struct error error;

static void set_up(void)
{
    f = fixture_open("");
    strcpy(folder, "/tmp/target-XXXXXX");
    cr_assert(mkdtemp(folder));
}

static void tear_down(void)
{
    rmdir(folder);
    fixture_close(&f);
}

TestSuite(target, .init = set_up, .fini = tear_down);

static bool may_stand(const char *parent, const char *name)
{
    char path[256];
    snprintf(path, sizeof path, "%s/%s", parent, name);
    return target_check(f.config, path, "file", &error);
}

Test(target, stands_anywhere_but_in_the_folders_of_the_service)
{
    cr_expect(may_stand(folder, "book.csv"));
    cr_expect(target_check(f.config, "book.csv", "file", &error), "beside whoever asks");
    cr_expect(may_stand("/nowhere/at/all", "book.csv"), "whoever writes tells that it is not there");
    cr_expect_not(may_stand(f.config->state, "book.csv"));
    cr_expect_eq(error.kind, ERROR_INPUT);
    cr_expect(strstr(error.text, "name a file outside of inbox, archive and state"), "%s", error.text);
}

Test(target, links_and_dots_lead_nowhere_else)
{
    char link[128];
    snprintf(link, sizeof link, "%s/link", folder);
    cr_assert_eq(symlink(f.config->state, link), 0);
    cr_expect_not(may_stand(link, "book.csv"));
    cr_assert_eq(unlink(link), 0);
    snprintf(link, sizeof link, "%s/../%s/.", folder, strrchr(f.config->state, '/') + 1);
    cr_expect_not(may_stand(link, "book.csv"));
}
