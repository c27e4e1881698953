/* SPDX-License-Identifier: MIT */
#include "archive/original.h"

#include "archive/archive.h"
#include "base/file.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

static struct arena *arena;
static char *root;
static struct error error;
static char path[ARCHIVE_PATH_SIZE];
static struct original_keeper *keeper;

static void start(void)
{
    arena = arena_new();
    root = fixture_make_folder();
    error = (struct error){0};
    keeper = original_keeper_new(root);
}

static void finish(void)
{
    original_keeper_free(keeper);
    fixture_remove_folder(root);
    arena_free(arena);
}

TestSuite(original, .init = start, .fini = finish);

static bool keep(const char *name, const char *bytes)
{
    char sha[SHA256_HEX_SIZE];
    sha256_hex(bytes, strlen(bytes), sha);
    archive_original_path(ARCHIVE_STATION, "a", sha, name, path);
    return original_keep(keeper, path, bytes, strlen(bytes), sha, &error);
}

static const char *full(void)
{
    return arena_printf(arena, "%s/%s", root, path);
}

static bool has_leftovers(void)
{
    return fixture_run("find '%s' -name '.rillward-*' | grep -q .", root) == 0;
}

Test(original, stands_whole_once_it_has_settled)
{
    cr_assert(keep("x.csv", "raw bytes"), "%s", error.text);
    cr_expect(!file_exists(full()), "nothing of it shows before it is durable");
    cr_assert(original_settle(keeper, &error), "%s", error.text);
    cr_expect_str_eq(fixture_read(arena, root, path), "raw bytes");
    cr_expect(!has_leftovers());
}

Test(original, is_written_once_however_often_it_is_kept)
{
    struct stat before, after;
    cr_assert(keep("x.csv", "raw bytes") && keep("x.csv", "raw bytes") && original_settle(keeper, &error), "%s", error.text);
    cr_assert_eq(stat(full(), &before), 0);
    cr_assert(keep("x.csv", "raw bytes") && original_settle(keeper, &error), "%s", error.text);
    cr_assert_eq(stat(full(), &after), 0);
    cr_expect_eq(before.st_ino, after.st_ino);
}

Test(original, more_than_wait_together_all_settle)
{
    char name[32];
    for (int i = 0; i < 3 * SYNC_MOST + 1; i++) {
        snprintf(name, sizeof name, "%d.csv", i);
        cr_assert(keep(name, name), "%s", error.text);
    }
    cr_assert(original_settle(keeper, &error), "%s", error.text);
    for (int i = 0; i < 3 * SYNC_MOST + 1; i++) {
        char sha[SHA256_HEX_SIZE];
        snprintf(name, sizeof name, "%d.csv", i);
        sha256_hex(name, strlen(name), sha);
        cr_expect_str_eq(
            fixture_read(arena, root, archive_original_path(ARCHIVE_STATION, "a", sha, name, path)), name);
    }
    cr_expect(!has_leftovers());
}

Test(original, is_never_replaced_by_other_bytes)
{
    cr_assert(keep("x.csv", "true") && original_settle(keeper, &error), "%s", error.text);
    fixture_write(root, path, "damaged");
    cr_assert_not(keep("x.csv", "true"));
    cr_expect_eq(error.kind, ERROR_SYSTEM);
    cr_expect_not_null(strstr(error.text, path));
    cr_expect_str_eq(fixture_read(arena, root, path), "damaged");
}

Test(original, that_has_not_settled_leaves_nothing_behind)
{
    cr_assert(keep("x.csv", "raw bytes"), "%s", error.text);
    original_keeper_free(keeper);
    keeper = NULL;
    cr_expect(!file_exists(full()));
    cr_expect(!has_leftovers());
}

/* A folder that vanishes in between: none counts as kept, and keeping them again is all that is needed. */
Test(original, that_could_not_settle_is_kept_again)
{
    cr_assert(keep("x.csv", "raw bytes"), "%s", error.text);
    cr_assert_eq(fixture_run("rm -r '%s/stations'", root), 0);
    cr_assert_not(original_settle(keeper, &error));
    cr_expect_eq(error.kind, ERROR_SYSTEM);
    cr_assert(keep("x.csv", "raw bytes") && original_settle(keeper, &error), "%s", error.text);
    cr_expect_str_eq(fixture_read(arena, root, path), "raw bytes");
}
