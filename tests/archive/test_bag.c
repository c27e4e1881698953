/* SPDX-License-Identifier: MIT */
#include "archive/bag.h"

#include "base/file.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static char *root;
static struct error error;
static struct bag_file files[2];

static void start(void)
{
    static const char *const paths[] = {"stations/a/2026/a_2026-03.csv", "stations/a/originals/0_x.csv"};
    arena = arena_new();
    root = fixture_make_folder();
    error = (struct error){0};
    fixture_run("mkdir -p '%s/stations/a/2026' '%s/stations/a/originals'", root, root);
    for (size_t k = 0; k < COUNT_OF(paths); k++) {
        char *sha256 = arena_alloc(arena, SHA256_HEX_SIZE);
        fixture_write(root, paths[k], k ? "raw\n" : "finished\n");
        sha256_hex(k ? "raw\n" : "finished\n", k ? 4 : 9, sha256);
        files[k] = (struct bag_file){paths[k], sha256};
    }
}

static void finish(void)
{
    fixture_remove_folder(root);
    arena_free(arena);
}

TestSuite(bag, .init = start, .fini = finish);

static bool write_bag(int64_t *ret_bytes)
{
    const struct bag_label labels[] = {{"External-Description", "two\nlines"}, {"Contact-Email", ""}};
    return bag_write(root, files, COUNT_OF(files), labels, COUNT_OF(labels), arena_printf(arena, "%s/bag", root),
                     ret_bytes, &error);
}

Test(bag, holds_the_files_and_is_checked_by_sha256sum)
{
    int64_t bytes = 0;
    cr_assert(write_bag(&bytes), "%s", error.text);
    cr_expect_eq(bytes, 13);
    cr_expect_str_eq(fixture_read(arena, root, "bag/data/stations/a/2026/a_2026-03.csv"), "finished\n");
    cr_expect_eq(fixture_run("cd '%s/bag' && sha256sum -c --strict --quiet manifest-sha256.txt"
                             " && sha256sum -c --strict --quiet tagmanifest-sha256.txt",
                             root),
                 0);
}

/* RFC 8493, 2.1.1: exactly these two lines; 2.2.2: Payload-Oxum is bytes and files. */
Test(bag, says_what_it_is_and_how_much_it_holds)
{
    int64_t bytes;
    cr_assert(write_bag(&bytes), "%s", error.text);
    cr_expect_str_eq(fixture_read(arena, root, "bag/bagit.txt"),
                     "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n");
    cr_expect_str_eq(fixture_read(arena, root, "bag/bag-info.txt"),
                     "External-Description: two lines\nPayload-Oxum: 13.2\n",
                     "an empty label is left out, a line end in a value is a space");
}

Test(bag, is_refused_where_something_stands_already)
{
    int64_t bytes;
    fixture_run("mkdir '%s/bag'", root);
    cr_expect_not(write_bag(&bytes));
    cr_expect_eq(error.kind, ERROR_INPUT);
}

Test(bag, of_changed_bytes_is_refused_and_does_not_stand_under_its_name)
{
    int64_t bytes;
    fixture_write(root, files[1].path, "RAW\n");
    cr_expect_not(write_bag(&bytes));
    cr_expect_eq(error.kind, ERROR_INPUT);
    cr_expect(strstr(error.text, files[1].path) && strstr(error.text, "bag" BAG_UNFINISHED "'"), "%s", error.text);
    cr_expect_neq(fixture_run("test -e '%s/bag'", root), 0);

    fixture_write(root, files[1].path, "raw\n");
    cr_expect_not(write_bag(&bytes), "what an earlier one left is not taken over");
    cr_expect(strstr(error.text, "an earlier bag was not finished: remove '"), "%s", error.text);
    fixture_run("rm -r '%s/bag" BAG_UNFINISHED "'", root);
    cr_expect(write_bag(&bytes), "%s", error.text);
}

Test(bag, may_be_named_with_a_slash_behind)
{
    int64_t bytes;
    cr_assert(bag_write(root, files, COUNT_OF(files), NULL, 0, arena_printf(arena, "%s/other//", root), &bytes, &error),
              "%s", error.text);
    cr_expect_not_null(fixture_read(arena, root, "other/bagit.txt"));
    cr_expect_neq(fixture_run("ls -A '%s' | grep -q unfinished", root), 0);
}

Test(bag, of_a_missing_file_is_refused)
{
    int64_t bytes;
    fixture_run("rm '%s/%s'", root, files[0].path);
    cr_expect_not(write_bag(&bytes));
    cr_expect(strstr(error.text, files[0].path));
}
