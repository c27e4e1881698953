/* SPDX-License-Identifier: MIT */
#include "base/file.h"

#include "base/memory.h"
#include "support/child.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[256];

static void make_folder(void)
{
    child_make_folder(folder, sizeof folder);
}

static void remove_folder(void)
{
    child_remove_folder(folder);
}

TestSuite(file, .init = make_folder, .fini = remove_folder);

/* Path below the test's folder; the last few stay valid. */
static const char *at(const char *name)
{
    static char paths[8][PATH_MAX];
    static size_t turn;
    char *path = paths[turn++ % COUNT_OF(paths)];
    snprintf(path, PATH_MAX, "%s/%s", folder, name);
    return path;
}

static void expect_content(const char *path, const char *content)
{
    struct error error = {0};
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length = 0;
    cr_assert(file_read(path, 1 << 20, &bytes, &length, &error), "%s", error.text);
    cr_expect_eq(length, strlen(content));
    cr_expect_str_eq(bytes, content);
}

static void write_file(const char *path, const char *content)
{
    struct error error = {0};
    cr_assert(file_write_whole(path, content, strlen(content), &error), "%s", error.text);
}

Test(file, what_is_written_is_read_back_and_ended)
{
    write_file(at("a.csv"), "first\n");
    expect_content(at("a.csv"), "first\n");
    write_file(at("a.csv"), "");
    expect_content(at("a.csv"), "");
    write_file(at("a.csv"), "second, longer than the first\n");
    expect_content(at("a.csv"), "second, longer than the first\n");
    cr_expect_eq(file_remove_leftovers(folder), 0, "no temporary stays");
}

Test(file, mode_is_0644_less_the_umask)
{
    umask(027);
    write_file(at("a"), "x");
    struct stat status;
    cr_assert_eq(stat(at("a"), &status), 0);
    cr_expect_eq(status.st_mode & 0777, 0640, "%o", status.st_mode);
}

Test(file, a_limit_holds_to_the_byte)
{
    write_file(at("ten"), "0123456789");
    struct error error = {0};
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length = 0;
    cr_expect(!file_read(at("ten"), 9, &bytes, &length, &error));
    cr_expect_eq(error.kind, ERROR_INPUT);
    cr_expect_not_null(strstr(error.text, "limit of 9"), "%s", error.text);
    cr_expect_null(bytes, "untouched on failure");
    cr_expect(file_read(at("ten"), 10, &bytes, &length, &error));
    cr_expect_eq(length, 10);
}

/* Files of the kernel say that they have 0 bytes. */
Test(file, a_file_that_does_not_know_its_size_is_read_whole_and_limited)
{
    struct error error = {0};
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length = 0;
    cr_assert(file_read("/proc/self/status", 1 << 20, &bytes, &length, &error), "%s", error.text);
    cr_expect_gt(length, 100);
    cr_expect_eq(strlen(bytes), length);
    char *none = NULL;
    cr_expect(!file_read("/proc/self/status", 64, &none, &length, &error));
    cr_expect_eq(error.kind, ERROR_INPUT);
}

Test(file, what_cannot_be_read_is_an_error_of_the_system)
{
    struct error error = {0};
    char *bytes = NULL;
    size_t length;
    cr_expect(!file_read(at("missing"), 10, &bytes, &length, &error));
    cr_expect(error.kind == ERROR_SYSTEM && strstr(error.text, "No such file"), "%s", error.text);
    cr_expect(!file_read(folder, 10, &bytes, &length, &error));
    cr_expect(error.kind == ERROR_SYSTEM && strstr(error.text, "is a folder"), "%s", error.text);
    cr_assert_eq(mkfifo(at("pipe"), 0600), 0);
    cr_expect(!file_read(at("pipe"), 10, &bytes, &length, &error), "and a pipe without a writer does not block");
    cr_expect_eq(error.kind, ERROR_SYSTEM);
}

Test(file, a_descriptor_is_read_from_the_start_wherever_it_stands)
{
    write_file(at("a"), "abcdef");
    CLEANUP(cleanup_fd) int fd = open(at("a"), O_RDONLY | O_CLOEXEC);
    lseek(fd, 4, SEEK_SET);
    struct error error = {0};
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length;
    cr_assert(file_read_fd(fd, "a", 100, &bytes, &length, &error));
    cr_expect_str_eq(bytes, "abcdef");
}

Test(file, a_missing_target_folder_is_said)
{
    struct error error = {0};
    cr_expect(!file_write_whole(at("none/a"), "x", 1, &error));
    cr_expect_eq(error.kind, ERROR_SYSTEM);
    cr_expect_not_null(strstr(error.text, "none/"), "%s", error.text);
}

Test(file, a_folder_in_the_way_stays_and_leaves_no_temporary)
{
    cr_assert_eq(mkdir(at("a"), 0700), 0);
    struct error error = {0};
    cr_expect(!file_write_whole(at("a"), "x", 1, &error));
    cr_expect(error.kind == ERROR_SYSTEM && strstr(error.text, "in its place"), "%s", error.text);
    struct stat status;
    cr_expect(stat(at("a"), &status) == 0 && S_ISDIR(status.st_mode));
    cr_expect_eq(file_remove_leftovers(folder), 0);
}

Test(file, a_full_disk_leaves_the_old_file_and_no_temporary)
{
    write_file(at("a"), "old");
    signal(SIGXFSZ, SIG_IGN);
    struct rlimit before, tiny;
    getrlimit(RLIMIT_FSIZE, &before);
    tiny = before;
    tiny.rlim_cur = 1000;
    setrlimit(RLIMIT_FSIZE, &tiny);
    struct error error = {0};
    char bytes[5000] = {0};
    bool ok = file_write_whole(at("a"), bytes, sizeof bytes, &error);
    setrlimit(RLIMIT_FSIZE, &before);
    cr_expect(!ok);
    cr_expect(error.kind == ERROR_SYSTEM && strstr(error.text, "cannot write"), "%s", error.text);
    expect_content(at("a"), "old");
    cr_expect_eq(file_remove_leftovers(folder), 0);
}

Test(file, readers_see_the_old_file_until_the_new_one_is_put_in_place)
{
    write_file(at("a"), "old");
    struct error error = {0};
    struct file_fresh fresh = {0};
    cr_assert(file_fresh_write(&fresh, at("a"), "new", 3, &error), "%s", error.text);
    char *temporary = strdup(fresh.temporary);
    cr_assert(file_fresh_sync(&fresh, 1, &error), "%s", error.text);
    expect_content(at("a"), "old");
    expect_content(temporary, "new");
    cr_assert(file_fresh_place(&fresh, at("a"), &error), "%s", error.text);
    expect_content(at("a"), "new");
    cr_expect(!file_exists(temporary));
    free(temporary);
}

Test(file, what_is_dropped_before_it_was_put_in_place_leaves_the_old_file_and_nothing_else)
{
    write_file(at("a"), "old");
    struct error error = {0};
    struct file_fresh fresh[3] = {0}; /* the one in the middle was never begun */
    cr_assert(file_fresh_write(&fresh[0], at("a"), "new", 3, &error), "%s", error.text);
    cr_assert(file_fresh_write(&fresh[2], at("b"), "new", 3, &error), "%s", error.text);
    cr_assert(file_fresh_sync(fresh, 3, &error), "%s", error.text);
    for (size_t i = 0; i < 3; i++)
        file_fresh_drop(&fresh[i]);
    expect_content(at("a"), "old");
    cr_expect(!file_exists(at("b")));
    cr_expect_eq(file_remove_leftovers(folder), 0);
}

/* A name may have 255 bytes, and the temporary's has a prefix. */
Test(file, long_names_that_begin_alike_do_not_share_a_temporary)
{
    char a[256] = {0}, b[256] = {0};
    memset(a, 'n', 255);
    memset(b, 'n', 255);
    b[254] = 'm';
    struct error error = {0};
    struct file_fresh fresh[2] = {0};
    cr_assert(file_fresh_write(&fresh[0], at(a), "of a", 4, &error), "%s", error.text);
    cr_assert(file_fresh_write(&fresh[1], at(b), "of b", 4, &error), "%s", error.text);
    cr_assert(file_fresh_sync(fresh, 2, &error), "%s", error.text);
    cr_assert(file_fresh_place(&fresh[0], at(a), &error), "%s", error.text);
    cr_assert(file_fresh_place(&fresh[1], at(b), &error), "%s", error.text);
    expect_content(at(a), "of a");
    expect_content(at(b), "of b");
}

Test(file, leftovers_are_removed_from_the_whole_tree_and_nothing_else)
{
    struct error error = {0};
    cr_assert(file_make_folders(at("x/y"), &error));
    write_file(at("x/kept"), "k");
    write_file(at("x/y/rillward-kept"), "k");
    struct file_fresh fresh[2] = {0}; /* left as a killed process would */
    cr_assert(file_fresh_write(&fresh[0], at("x/y/lost"), "l", 1, &error));
    cr_assert(file_fresh_write(&fresh[1], at("lost"), "l", 1, &error));
    cr_assert_eq(mkdir(at("x/.rillward-folder"), 0700), 0);
    cr_expect_eq(file_remove_leftovers(folder), 2);
    cr_expect(file_exists(at("x/kept")) && file_exists(at("x/y/rillward-kept")) &&
              file_exists(at("x/.rillward-folder")));
    cr_expect_eq(file_remove_leftovers(folder), 0);
    cr_expect_eq(file_remove_leftovers(at("missing")), 0);
    file_fresh_drop(&fresh[0]);
    file_fresh_drop(&fresh[1]);
}

Test(file, folders_are_made_with_their_parents)
{
    struct error error = {0};
    cr_expect(file_make_folders(at("a/b/c"), &error), "%s", error.text);
    cr_expect(file_make_folders(at("a/b/c"), &error), "again");
    cr_expect(file_make_folders(at("a/b/d/"), &error), "with a slash at the end: %s", error.text);
    struct stat status;
    cr_expect(stat(at("a/b/c"), &status) == 0 && S_ISDIR(status.st_mode));
    cr_expect(stat(at("a/b/d"), &status) == 0 && S_ISDIR(status.st_mode));
    cr_assert_eq(chdir(folder), 0);
    cr_expect(file_make_folders("relative/e", &error), "%s", error.text);
    cr_expect(file_exists(at("relative/e")));
}

Test(file, what_is_no_folder_is_in_the_way)
{
    struct error error = {0};
    write_file(at("a"), "x");
    cr_expect(!file_make_folders(at("a"), &error));
    cr_expect(error.kind == ERROR_SYSTEM && strstr(error.text, "in the way"), "%s", error.text);
    cr_expect(!file_make_folders(at("a/b/c"), &error));
    cr_expect_eq(error.kind, ERROR_SYSTEM);
}

Test(file, a_link_to_nowhere_is_in_the_way_of_a_folder)
{
    struct error error = {0};
    cr_assert_eq(symlink("nowhere", at("link")), 0);
    cr_expect(!file_make_folders(at("link"), &error));
    cr_expect_eq(error.kind, ERROR_SYSTEM);
    cr_expect(!file_make_folders(at("link/below"), &error));
}

Test(file, a_folder_that_is_missing_cannot_be_made_durable)
{
    struct error error = {0};
    cr_expect(file_sync_folder(folder, &error));
    cr_expect(!file_sync_folder(at("missing"), &error));
    cr_expect_eq(error.kind, ERROR_SYSTEM);
}

/* FIPS 180-4, the published examples; the empty text is that of the validation suite (SHAVS). */
Test(file, fingerprints_are_those_of_the_standard)
{
    char *million = x_alloc(1000000);
    memset(million, 'a', 1000000);
    const struct {
        const char *bytes;
        size_t length;
        const char *expected;
    } rows[] = {
        {"", 0, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
        {"abc", 3, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
        {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 56,
         "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
        {million, 1000000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"},
    };
    struct error error = {0};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        char hex[SHA256_HEX_SIZE];
        sha256_hex(rows[i].bytes, rows[i].length, hex);
        cr_expect_str_eq(hex, rows[i].expected);
        cr_assert(file_write_whole(at("x"), rows[i].bytes, rows[i].length, &error));
        cr_assert(file_sha256(at("x"), hex, &error));
        cr_expect_str_eq(hex, rows[i].expected, "streamed");
    }
    free(million);
    char hex[SHA256_HEX_SIZE];
    cr_expect(!file_sha256(at("missing"), hex, &error));
    cr_expect(!file_sha256(folder, hex, &error), "a folder has no fingerprint");
    cr_expect_eq(error.kind, ERROR_SYSTEM);
}
