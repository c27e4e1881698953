/* SPDX-License-Identifier: MIT */
#include "intake/encoding.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static struct decoded decoded;
static struct error error;

static void start(void)
{
    arena = arena_new();
    error = (struct error){0};
}

static void finish(void)
{
    arena_free(arena);
}

TestSuite(encoding, .init = start, .fini = finish);

static void expect(const char *bytes, size_t length, const char *encoding, const char *expected)
{
    cr_assert(encoding_decode(arena, bytes, length, &decoded, &error), "%s", error.text);
    cr_expect_str_eq(decoded.encoding, encoding);
    cr_assert_eq(decoded.length, strlen(expected), "%zu", decoded.length);
    cr_expect_arr_eq(decoded.bytes, expected, decoded.length);
}

#define EXPECT(bytes, encoding, expected) expect(bytes, sizeof bytes - 1, encoding, expected)

Test(encoding, takes_utf8_with_and_without_mark)
{
    EXPECT("5 \xC2\xB0"
           "C\n",
           "UTF-8",
           "5 \xC2\xB0"
           "C\n");
    EXPECT("\xEF\xBB\xBF"
           "5 \xC2\xB0"
           "C\n",
           "UTF-8",
           "5 \xC2\xB0"
           "C\n");
}

Test(encoding, does_not_copy_plain_text)
{
    const char *text = "a,b\n1,2\n";
    cr_assert(encoding_decode(arena, text, strlen(text), &decoded, &error));
    cr_expect_eq(decoded.bytes, text);
    cr_expect_eq(decoded.lines, 3);
}

Test(encoding, takes_utf16_of_both_orders)
{
    EXPECT("\xFF\xFE"
           "a\0\xB0\0\n\0",
           "UTF-16LE", "a\xC2\xB0\n");
    EXPECT("\xFE\xFF"
           "\0a\0\xB0\0\n",
           "UTF-16BE", "a\xC2\xB0\n");
    EXPECT("a\0,\0b\0\n\0", "UTF-16LE", "a,b\n");
    EXPECT("\0a\0,\0b\0\n", "UTF-16BE", "a,b\n");
    EXPECT("\xFF\xFE\x3D\xD8\x00\xDE", "UTF-16LE", "\xF0\x9F\x98\x80");
    EXPECT("\xFF\xFE\x00\xDE"
           "a\0",
           "UTF-16LE",
           "\xEF\xBF\xBD"
           "a");
}

Test(encoding, falls_back_to_windows_1252)
{
    EXPECT("5 \xB0"
           "C \x80 \xE9\n",
           "Windows-1252",
           "5 \xC2\xB0"
           "C \xE2\x82\xAC \xC3\xA9\n");
    EXPECT("good \xC3\xA9, bad \xE9\n", "Windows-1252", "good \xC3\xA9, bad \xC3\xA9\n");
}

Test(encoding, tells_a_cut_character)
{
    EXPECT("5 \xC2", "UTF-8", "5 ");
    cr_expect(decoded.is_cut);
    EXPECT("5 \xE2\x82", "UTF-8", "5 ");
    cr_expect(decoded.is_cut);
    EXPECT("a\0b\0c", "UTF-16LE", "ab");
    cr_expect(decoded.is_cut);
    EXPECT("\xFF\xFE"
           "a\0\x3D\xD8",
           "UTF-16LE", "a");
    cr_expect(decoded.is_cut);
    EXPECT("5 \xC2\xB0", "UTF-8", "5 \xC2\xB0");
    cr_expect_not(decoded.is_cut);
}

Test(encoding, cuts_the_end_mark_of_dos)
{
    EXPECT("a\r\n\x1A", "UTF-8", "a\r\n");
}

Test(encoding, counts_lines_by_any_line_end)
{
    EXPECT("a\r\nb\rc\nd\r", "UTF-8", "a\r\nb\rc\nd\r");
    cr_expect_eq(decoded.lines, 5);
}

Test(encoding, refuses_zero_bytes)
{
    cr_expect_not(encoding_decode(arena, "abcdefgh\0i", 10, &decoded, &error));
    cr_expect_str_eq(error.text, "zero byte at byte 8 (line 1): the file is damaged or not text; copy it again");
    cr_expect_not(encoding_decode(arena,
                                  "\xFF\xFE"
                                  "a\0\0\0",
                                  6, &decoded, &error));
    cr_expect_str_eq(error.text, "zero character at byte 2: the file is damaged or not text; copy it again");
    cr_expect_not(encoding_decode(arena, "\0\0\0\0", 4, &decoded, &error));
    cr_expect_str_eq(error.text,
                     "the file ends in 4 zero bytes from byte 0 on: it was not copied completely; copy it again");
}
