/* SPDX-License-Identifier: MIT */
#include "archive/manifest.h"

#include <criterion/criterion.h>
#include <string.h>

#define A64 "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"
#define B64 "bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb"

static struct arena *arena;
static struct text text;
static struct error error;
static struct manifest_line *lines;
static size_t n;

static void start(void)
{
    arena = arena_new();
    text_init(&text, 65536);
    error = (struct error){0};
}

static void finish(void)
{
    text_done(&text);
    arena_free(arena);
}

TestSuite(manifest, .init = start, .fini = finish);

static bool reads(const char *bytes)
{
    return manifest_read(bytes, strlen(bytes), arena, &lines, &n, &error);
}

Test(manifest, sorts_lines_by_the_bytes_of_their_paths)
{
    const struct manifest_line unsorted[] = {
        {"b.csv", A64}, {"a/z.csv", B64}, {"B.csv", A64}, {"a-1.csv", A64}, {"a.csv", A64}};
    manifest_render(unsorted, COUNT_OF(unsorted), &text);
    cr_assert_str_eq(text.bytes,
                     A64 "  B.csv\n" A64 "  a-1.csv\n" A64 "  a.csv\n" B64 "  a/z.csv\n" A64 "  b.csv\n");
}

Test(manifest, reads_back_what_it_wrote)
{
    const struct manifest_line written[] = {{"x/2.csv", A64}, {"x/1.csv", B64}};
    manifest_render(written, COUNT_OF(written), &text);
    cr_assert(manifest_read(text.bytes, text.length, arena, &lines, &n, &error));
    cr_assert_eq(n, 2);
    cr_expect_str_eq(lines[0].path, "x/1.csv");
    cr_expect_str_eq(lines[0].sha256, B64);
    cr_expect_str_eq(manifest_find(lines, n, "x/2.csv")->sha256, A64);
    cr_expect_null(manifest_find(lines, n, "x/3.csv"));
    cr_expect_null(manifest_find(lines, n, "x"));
}

Test(manifest, reads_nothing_as_no_files)
{
    cr_assert(reads(""));
    cr_assert_eq(n, 0);
    cr_assert_null(manifest_find(lines, n, "a"));
}

Test(manifest, refuses_what_it_would_not_write)
{
    static const char *const broken[] = {
        "\n",
        "x\n",
        A64 "\n",
        A64 "  \n",
        A64 " a.csv\n",
        A64 " *a.csv\n",
        A64 "   a.csv\n",
        A64 "  a.csv",
        A64 "  a.csv\r\n",
        A64 "a  a.csv\n",
        "A" A64 "  a.csv\n",
        "\\" A64 "  a.csv\n",
        A64 "  /a.csv\n",
        A64 "  ../a.csv\n",
        A64 "  a/../b.csv\n",
        A64 "  a/./b.csv\n",
        A64 "  a//b.csv\n",
        A64 "  a/\n",
        A64 "  a b.csv\n",
        A64 "  \xC3\xA9.csv\n",
        A64 "  b.csv\n" A64 "  a.csv\n",
        A64 "  a.csv\n" B64 "  a.csv\n",
    };
    for (size_t i = 0; i < COUNT_OF(broken); i++) {
        cr_expect_not(reads(broken[i]), "%s", broken[i]);
        cr_expect_eq(error.kind, ERROR_INPUT);
    }
}

Test(manifest, names_the_line_that_is_wrong)
{
    cr_assert_not(reads(A64 "  a.csv\n" A64 "  b c.csv\n"));
    cr_assert_not_null(strstr(error.text, "line 2: "));
}

Test(manifest, refuses_a_nul_inside_a_path)
{
    static const char bytes[] = A64 "  a\0b\n";
    cr_assert_not(manifest_read(bytes, sizeof bytes - 1, arena, &lines, &n, &error));
}

Test(manifest, knows_plain_paths)
{
    cr_expect(manifest_path_is_plain("stations/heron-creek/2026/heron-creek_2026-03.csv"));
    cr_expect(manifest_path_is_plain("..a/b..c/..."));
    cr_expect_not(manifest_path_is_plain(""));
    cr_expect_not(manifest_path_is_plain("."));
    cr_expect_not(manifest_path_is_plain("a/.."));
    cr_expect_not(manifest_path_is_plain("a%20b"));
    cr_expect_not(manifest_path_is_plain("a\\b"));
    cr_expect_not(manifest_path_is_plain("a\nb"));
}
