/* SPDX-License-Identifier: MIT */
#include "service/batch.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

#define OLD "1111111111111111111111111111111111111111111111111111111111111111"

static struct batch_of_files batch, more;
static struct text text;

static void start(void)
{
    text_init(&text, 1 << 16);
}

static void finish(void)
{
    batch_done(&batch);
    batch_done(&more);
    text_done(&text);
}

TestSuite(batch, .init = start, .fini = finish);

static void put(struct batch_of_files *to, const char *path, const char *content)
{
    text_puts(&batch_add(to, path, 7)->content, content);
}

static void expect_lines(const char *const *lines, size_t n)
{
    char expected[4096] = "";
    for (size_t k = 0; k < n; k++)
        strcat(strcat(expected, lines[k]), "\n");
    cr_expect_str_eq(text.bytes ? text.bytes : "", expected);
}

Test(batch, lists_what_stood_there_and_what_it_writes_by_path)
{
    const struct file_fact files[] = {{"stations/a/2026/a_2026-01.csv", OLD, 7, 1},
                                      {"stations/a/index.html", OLD, 7, 1},
                                      {"stations/a/originals/x", OLD, 7, 1}};
    put(&batch, "stations/a/index.html", "new");
    put(&batch, "stations/a/history.csv", "abc");
    batch_list(&batch, files, 3, "stations/a/manifest-sha256.txt", &text);
    expect_lines((const char *const[]){OLD "  2026/a_2026-01.csv",
                                       "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  history.csv",
                                       "11507a0e2f5e69d5dfa40a62a1bd7b6ee57e6bcd85c67c9b8431b36fff21c437  index.html",
                                       OLD "  originals/x"},
                 4);
}

Test(batch, does_not_list_the_list_itself)
{
    const struct file_fact files[] = {{"index.html", OLD, 0, 1}, {"manifest-sha256.txt", OLD, 0, 1}};
    put(&batch, "manifest-sha256.txt", "");
    batch_list(&batch, files, 2, "manifest-sha256.txt", &text);
    expect_lines((const char *const[]){OLD "  index.html"}, 1);
}

Test(batch, of_no_files_lists_nothing)
{
    batch_list(&batch, NULL, 0, "stations/a/manifest-sha256.txt", &text);
    cr_expect_eq(text.length, 0);
}

Test(batch, takes_the_files_of_another_behind_its_own)
{
    put(&batch, "a", "1");
    for (int k = 0; k < 100; k++) {
        char path[16];
        snprintf(path, sizeof path, "b%d", k);
        put(&more, path, "2");
    }
    batch_join(&batch, &more);
    cr_assert(batch.count == 101 && more.count == 0 && !more.files);
    cr_expect_str_eq(batch.files[100].path, "b99");
    cr_expect_str_eq(batch.files[100].content.bytes, "2");
    cr_expect(batch.places[100] == 7 && batch_find(&batch, "a") == &batch.files[0]);
    batch_join(&batch, &more);
    cr_expect_eq(batch.count, 101);
}
