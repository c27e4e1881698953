/* SPDX-License-Identifier: MIT */
#include "base/text.h"

#include "base/memory.h"
#include "base/random.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void expect_escaped(void (*escape)(struct text *, const char *), const char *string, const char *expected)
{
    struct text text;
    text_init(&text, 1 << 20);
    escape(&text, string);
    cr_expect_str_eq(text.bytes ? text.bytes : "", expected, "'%s' gave '%s'", string, text.bytes);
    text_done(&text);
}

/* ---- growing ---- */

Test(text, grows_and_is_always_ended)
{
    struct text text;
    text_init(&text, 100000);
    cr_expect_null(text.bytes);
    for (int i = 0; i < 10000; i++) {
        text_putc(&text, (char)('a' + i % 26));
        cr_assert_eq(text.length, (size_t)i + 1);
        cr_assert_eq(text.bytes[text.length], '\0');
    }
    text_clear(&text);
    text_puts(&text, "ab");
    text_add(&text, "cde", 2);
    text_printf(&text, "%d%s", 7, "!");
    text_integer(&text, -42);
    cr_expect_str_eq(text.bytes, "abcd7!-42");
    text_done(&text);
    cr_expect(!text.bytes && text.length == 0 && text.limit == 100000);
}

Test(text, past_the_limit_nothing_more_is_added)
{
    struct text text;
    text_init(&text, 5);
    text_puts(&text, "abcd");
    text_puts(&text, "e");
    cr_expect(!text.is_full);
    text_puts(&text, "fg");
    cr_expect(text.is_full);
    text_putc(&text, 'x');
    text_printf(&text, "%d", 1);
    cr_expect_str_eq(text.bytes, "abcde");
    text_clear(&text);
    cr_expect(!text.is_full);
    text_printf(&text, "%d", 123456);
    cr_expect(text.is_full && text.length == 0);
    text_done(&text);
}

/* ---- printing numbers ---- */

static void print_number(char *ret, double value, int decimals)
{
    struct text text;
    text_init(&text, 1000);
    text_number(&text, value, decimals);
    snprintf(ret, 500, "%s", text.bytes ? text.bytes : "");
    text_done(&text);
}

/* The C library's digits; a zero has no sign. */
static void print_by_library(char *ret, double value, int decimals)
{
    int used = snprintf(ret, 500, "%.*f", decimals, value);
    if (*ret == '-' && strspn(ret, "-0.") == (size_t)used)
        memmove(ret, ret + 1, (size_t)used);
}

/* Printed exactly, what follows the last decimal is a 5 and nothing else. */
static bool is_tie(double value, int decimals)
{
    char exact[500];
    snprintf(exact, sizeof exact, "%.90f", value);
    const char *rest = strchr(exact, '.') + 1 + decimals;
    return *rest == '5' && strspn(rest + 1, "0") == strlen(rest + 1);
}

static void expect_printed_as_by_library(double value)
{
    for (int decimals = 0; decimals <= 9; decimals++) {
        char got[500], expected[500];
        print_number(got, value, decimals);
        print_by_library(expected, value, decimals);
        if (!is_tie(value, decimals))
            cr_assert_str_eq(got, expected, "%a with %d decimals: got %s, expected %s", value, decimals, got, expected);
    }
}

Test(text, random_numbers_are_printed_as_the_library_prints_them)
{
    uint64_t state = 1;
    for (int i = 0; i < 20000; i++) {
        expect_printed_as_by_library((double)random_between(&state, -1000000000000, 1000000000000) / 1048583.0);
        expect_printed_as_by_library((double)random_between(&state, -2000000, 2000000) / 1048583.0);
    }
    for (int i = 0; i < 5000; i++) {
        union {
            uint64_t bits;
            double value;
        } any = {random_bits(&state)};
        if (isfinite(any.value) && fabs(any.value) < 1e200)
            expect_printed_as_by_library(any.value);
    }
}

/* 1.115 is a little less than what it says, and multiplied by 100 a little more than 111.5. */
Test(text, numbers_beside_a_tie_are_rounded_to_their_own_side)
{
    uint64_t state = 2;
    expect_printed_as_by_library(1.115);
    expect_printed_as_by_library(1.005);
    expect_printed_as_by_library(nextafter(0.5, 0));
    for (int i = 0; i < 2000; i++) {
        double tenths = (double)(random_between(&state, -5000000, 5000000) * 10 + 5);
        for (double divisor = 10; divisor <= 1e10; divisor *= 10)
            expect_printed_as_by_library(tenths / divisor);
    }
}

/* Up to eight digits are printed at once, more piece by piece. */
Test(text, numbers_around_every_power_of_ten_are_printed_as_the_library_prints_them)
{
    for (double power = 1e-9; power < 1e13; power *= 10)
        for (int step = -3; step <= 3; step++)
            for (double part = 1; part >= 1e-9; part /= 10)
                expect_printed_as_by_library(power + step * part);
}

/* From 2^52 on a half is no number any more. */
Test(text, whole_numbers_keep_their_last_digit)
{
    const double edges[] = {4503599627370495, 4503599627370497, 9007199254740991, 1e15, 9e15, 1e17};
    for (size_t i = 0; i < COUNT_OF(edges); i++)
        for (int step = -20; step <= 20; step++) {
            expect_printed_as_by_library(edges[i] + step);
            expect_printed_as_by_library(-(edges[i] + step) / 1e3);
        }
}

Test(text, exact_ties_go_away_from_zero)
{
    const struct {
        double value;
        int decimals;
        const char *expected;
    } rows[] = {{0.5, 0, "1"},      {1.5, 0, "2"},        {2.5, 0, "3"},    {-2.5, 0, "-3"},
                {0.125, 2, "0.13"}, {-0.375, 2, "-0.38"}, {0.25, 1, "0.3"}, {1e9 + 0.5, 0, "1000000001"}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        char got[500];
        print_number(got, rows[i].value, rows[i].decimals);
        cr_expect_str_eq(got, rows[i].expected, "%g: %s", rows[i].value, got);
    }
}

Test(text, a_printed_zero_has_no_sign_and_what_is_missing_is_empty)
{
    char got[500];
    const double zeros[] = {0.0, -0.0, -0.004, -1e-300, 0.004};
    for (size_t i = 0; i < COUNT_OF(zeros); i++) {
        print_number(got, zeros[i], 2);
        cr_expect_str_eq(got, "0.00", "%g: %s", zeros[i], got);
    }
    print_number(got, -0.0, 0);
    cr_expect_str_eq(got, "0");
    const double missing[] = {NAN, -NAN, INFINITY, -INFINITY};
    for (size_t i = 0; i < COUNT_OF(missing); i++) {
        print_number(got, missing[i], 3);
        cr_expect_str_eq(got, "");
    }
}

Test(text, integers_are_printed_to_the_ends_of_their_range)
{
    uint64_t state = 3;
    const int64_t ends[] = {0, 1, -1, 9, 10, -10, INT64_MAX, INT64_MIN, INT64_MIN + 1};
    for (size_t i = 0; i < 1000; i++) {
        int64_t value = i < COUNT_OF(ends) ? ends[i] : (int64_t)random_bits(&state) >> random_index(&state, 60);
        char expected[32];
        snprintf(expected, sizeof expected, "%lld", (long long)value);
        struct text text;
        text_init(&text, 100);
        text_integer(&text, value);
        cr_assert_str_eq(text.bytes, expected);
        text_done(&text);
    }
}

/* ---- reading numbers ---- */

static void expect_parsed_as_by_library(const char *string)
{
    double got = 0, expected = strtod(string, NULL);
    bool ok = text_parse_number(string, strlen(string), '.', &got);
    cr_assert_eq(ok, isfinite(expected) != 0, "'%s'", string);
    if (ok)
        cr_assert(memcmp(&got, &expected, sizeof got) == 0, "'%s': %a, expected %a", string, got, expected);
    char with_comma[128];
    snprintf(with_comma, sizeof with_comma, "%s", string);
    char *point = strchr(with_comma, '.');
    if (point)
        *point = ',';
    double again = 1;
    cr_assert_eq(text_parse_number(with_comma, strlen(with_comma), ',', &again), ok, "'%s'", with_comma);
    if (ok)
        cr_assert(memcmp(&again, &expected, sizeof again) == 0, "'%s'", with_comma);
}

static void make_number(uint64_t *state, char *ret)
{
    char *at = ret;
    size_t sign = random_index(state, 3), digits = 1 + random_index(state, 25), zeros = random_index(state, 4);
    if (sign < 2)
        *at++ = "+-"[sign];
    size_t point = random_index(state, digits + 6);
    for (size_t i = 0; i < digits; i++) {
        if (i == point)
            *at++ = '.';
        bool is_leading_zero = zeros == 0 && i < digits / 2;
        *at++ = is_leading_zero ? '0' : (char)('0' + random_index(state, 10));
    }
    if (point == digits)
        *at++ = '.';
    *at = '\0';
    switch (random_index(state, 4)) {
    case 0: sprintf(at, "e%d", (int)random_between(state, -30, 30)); break;
    case 1: sprintf(at, "E%+d", (int)random_between(state, -345, 330)); break;
    default: break;
    }
}

Test(text, random_decimal_texts_are_read_bit_for_bit_as_the_library_reads_them)
{
    uint64_t state = 4;
    for (int i = 0; i < 200000; i++) {
        char string[128];
        make_number(&state, string);
        expect_parsed_as_by_library(string);
    }
}

Test(text, hard_numbers_are_read_right)
{
    static const char *const strings[] = {
        "0",
        "-0",
        "+0.0",
        ".5",
        "5.",
        "-.5e1",
        "007",
        "1e22",
        "1e23",
        "1e-22",
        "1e-23",
        "9007199254740991",
        "9007199254740992",
        "9007199254740993",
        "9007199254740993.0000000000001",
        "4503599627370497.5",
        "1.7976931348623157e308",
        "1.7976931348623159e308",
        "2.2250738585072011e-308",
        "4.9e-324",
        "2.4e-324",
        "1e-400",
        "0e999999",
        "0.000000000000000000000000000000000000001e39",
        "123456789012345678901234567890",
        "0.1000000000000000055511151231257827",
        "1e0000000000000000000005",
        "9999999999999999999",
        "18446744073709551616",
    };
    for (size_t i = 0; i < COUNT_OF(strings); i++)
        expect_parsed_as_by_library(strings[i]);
}

static bool parses(const char *string, char decimal, double *ret)
{
    return text_parse_number(string, strlen(string), decimal, ret);
}

Test(text, spaces_around_a_number_and_a_typographic_minus_are_fine)
{
    double got = 0;
    cr_expect(parses("  12.5\t ", '.', &got) && got == 12.5);
    cr_expect(parses("\xE2\x88\x92"
                     "3.25",
                     '.', &got) &&
              got == -3.25);
    cr_expect(parses("\xE2\x88\x92"
                     "3,25e2",
                     ',', &got) &&
              got == -325);
    cr_expect(parses("4", ',', &got) && got == 4);
    cr_expect(text_parse_number("12345", 3, '.', &got) && got == 123, "only what it was given");
}

Test(text, what_is_no_plain_number_is_refused_and_leaves_the_result)
{
    static const char *const refused[] = {
        "",
        " ",
        "\t",
        "-",
        "+",
        ".",
        "-.",
        "e5",
        ".e5",
        "1e",
        "1e+",
        "1e-",
        "1e5x",
        "1e1.5",
        "1e 5",
        "0x10",
        "0x1p3",
        "1p3",
        "inf",
        "-inf",
        "Infinity",
        "nan",
        "NaN",
        "-nan",
        "1,234.5",
        "1 234",
        "1'234",
        "1_234",
        "1.2.3",
        "1..2",
        "--5",
        "+-5",
        "- 5",
        "5-",
        "12 m",
        "12m",
        "1e309",
        "-1e400",
        "1e99999999999999999999",
        "1d5",
        "\xC2\xA0"
        "5",
        "+\xE2\x88\x92"
        "5",
        "\xE2\x88\x92",
        "\xE2\x88\x92\xE2\x88\x92"
        "5",
        "\xE2\x80\x93"
        "5",
        "\xD9\xA5",
        "5\n",
        "1,5",
        "#5",
    };
    for (size_t i = 0; i < COUNT_OF(refused); i++) {
        double got = 77;
        cr_expect(!parses(refused[i], '.', &got), "'%s'", refused[i]);
        cr_expect_eq(got, 77, "'%s'", refused[i]);
    }
    double got = 77;
    cr_expect(!parses("1.5", ',', &got), "a point where commas are");
    cr_expect(!parses("1.234,5", ',', &got), "thousands with a point");
    cr_expect(!text_parse_number("1\0002", 3, '.', &got), "a NUL inside");
    char digits[600];
    memset(digits, '1', sizeof digits);
    cr_expect(!text_parse_number(digits, sizeof digits, '.', &got), "600 digits are beyond every range");
    cr_expect_eq(got, 77);
}

Test(text, integers_are_read_strictly)
{
    int64_t got = 77;
    cr_expect(text_parse_integer("-12", 3, &got) && got == -12);
    cr_expect(text_parse_integer("+007", 4, &got) && got == 7);
    cr_expect(text_parse_integer("999999999999999999", 18, &got) && got == 999999999999999999);
    static const char *const refused[] = {"", "-", "+", "1.0", " 1", "1 ", "1e3", "0x1", "--1", "9999999999999999999",
                                          "a"};
    for (size_t i = 0; i < COUNT_OF(refused); i++) {
        got = 77;
        cr_expect(!text_parse_integer(refused[i], strlen(refused[i]), &got) && got == 77, "'%s'", refused[i]);
    }
}

/* ---- escapes ---- */

Test(text, json_strings_are_quoted_by_the_standard)
{
    expect_escaped(text_json, "", "\"\"");
    expect_escaped(text_json, "Sallow \xC2\xB5S", "\"Sallow \xC2\xB5S\"");
    expect_escaped(text_json, "a\"b\\c/d", "\"a\\\"b\\\\c/d\"");
    expect_escaped(text_json, "\b\n\r\t\x1f\x7f", "\"\\u0008\\u000a\\u000d\\u0009\\u001f\\u007f\"");
    expect_escaped(text_json, "</script>", "\"\\u003c/script>\"");
    expect_escaped(text_json, "a\xFFz", "\"a\xEF\xBF\xBDz\"");
    expect_escaped(text_json, "\xC3", "\"\xEF\xBF\xBD\"");
    expect_escaped(text_json, "\xED\xA0\x80", "\"\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD\"");
    expect_escaped(text_json, NULL, "null");
    struct text text;
    text_init(&text, 100);
    text_json_bytes(&text, "a\0b", 3);
    cr_expect_str_eq(text.bytes, "\"a\\u0000b\"");
    text_done(&text);
}

Test(text, markup_cannot_be_left_by_what_stands_in_it)
{
    expect_escaped(text_markup, "Creek & <b> \"x\" 'y'", "Creek &amp; &lt;b&gt; &quot;x&quot; &#39;y&#39;");
    expect_escaped(text_markup, "a\x01\x1b\r\n\tb", "a   \n\tb");
    expect_escaped(text_markup, "\xC2\xB0", "\xC2\xB0");
}

/* One broken byte in a file name would make a whole XML document unreadable. */
Test(text, markup_replaces_bytes_that_are_not_utf_8)
{
    expect_escaped(text_markup, "a\xFF<", "a\xEF\xBF\xBD&lt;");
    expect_escaped(text_markup, "\xC3&", "\xEF\xBF\xBD&amp;");
}

Test(text, csv_cells_are_quoted_only_where_needed)
{
    expect_escaped(text_csv_cell, "", "");
    expect_escaped(text_csv_cell, "plain text", "plain text");
    expect_escaped(text_csv_cell, "a,b", "\"a,b\"");
    expect_escaped(text_csv_cell, "say \"no\"", "\"say \"\"no\"\"\"");
    expect_escaped(text_csv_cell, "two\nlines", "\"two\nlines\"");
    expect_escaped(text_csv_cell, "cr\rcr", "\"cr\rcr\"");
}

Test(text, csv_cells_that_a_spreadsheet_would_run_are_disarmed)
{
    static const char starts[] = "=+-@\t\r";
    for (const char *c = starts; *c; c++) {
        char cell[] = {*c, 'A', '1', '\0'}, expected[] = {'"', '\'', *c, 'A', '1', '"', '\0'};
        expect_escaped(text_csv_cell, cell, expected);
    }
    expect_escaped(text_csv_cell, "=\"x\"", "\"'=\"\"x\"\"\"");
    expect_escaped(text_csv_cell, "a=1", "a=1");
}

static void expect_visible(const char *string, const char *expected)
{
    char got[200];
    size_t length = text_make_visible(string, got, sizeof got);
    cr_expect_str_eq(got, expected);
    cr_expect_eq(length, strlen(expected));
}

Test(text, control_bytes_and_broken_utf_8_become_visible)
{
    expect_visible("", "");
    expect_visible("level \xC2\xB5", "level \xC2\xB5");
    expect_visible("a\nb\tc\x1b[31m\x7f", "a\\x0Ab\\x09c\\x1B[31m\\x7F");
    expect_visible("\xC2\x85 \xC2\x9B", "\\xC2\\x85 \\xC2\\x9B");
    expect_visible("\xFFx\xE2\x82", "\\xFFx\\xE2\\x82");
    expect_visible("\xC0\xAF", "\\xC0\\xAF");
    expect_visible("\xF0\x9F\x8C\x8A", "\xF0\x9F\x8C\x8A");
}

/* Unicode's property Bidi_Control, and the two line separators. */
Test(text, controls_of_direction_become_visible)
{
    static const unsigned hidden[] = {0x061C, 0x200E, 0x200F, 0x2028, 0x2029, 0x202A, 0x202B,
                                      0x202C, 0x202D, 0x202E, 0x2066, 0x2067, 0x2068, 0x2069};
    for (size_t i = 0; i < COUNT_OF(hidden); i++) {
        unsigned code = hidden[i];
        char bytes[8] = {0}, expected[24];
        if (code < 0x800)
            snprintf(bytes, sizeof bytes, "%c%c", 0xC0 | code >> 6, 0x80 | (code & 0x3F));
        else
            snprintf(bytes, sizeof bytes, "%c%c%c", 0xE0 | code >> 12, 0x80 | (code >> 6 & 0x3F), 0x80 | (code & 0x3F));
        snprintf(expected, sizeof expected, "\\u{%X}", code);
        expect_visible(bytes, expected);
    }
    expect_visible("\xE2\x80\x93 \xE2\x81\xA5", "\xE2\x80\x93 \xE2\x81\xA5");
}

Test(text, a_visible_copy_is_cut_between_pieces_and_always_ended)
{
    for (size_t size = 1; size < 12; size++) {
        char got[12];
        memset(got, '#', sizeof got);
        size_t length = text_make_visible("a\n\xC2\xB5z", got, size);
        cr_expect(length < size && got[length] == '\0');
        cr_expect(strncmp("a\\x0A\xC2\xB5z", got, length) == 0);
        cr_expect(length == 0 || length == 1 || length == 5 || length == 7 || length == 8, "%zu: %zu", size, length);
        cr_expect(size == sizeof got || got[size] == '#', "nothing behind its end");
    }
    cr_expect_eq(text_make_visible("a", NULL, 0), 0);
}

/* ---- UTF-8 ---- */

static size_t encode(unsigned code, char *ret)
{
    if (code < 0x80)
        return ret[0] = (char)code, 1;
    if (code < 0x800)
        return ret[0] = (char)(0xC0 | code >> 6), ret[1] = (char)(0x80 | (code & 0x3F)), 2;
    ret[0] = (char)(code < 0x10000 ? 0xE0 | code >> 12 : 0xF0 | code >> 18);
    size_t length = 1;
    if (code >= 0x10000)
        ret[length++] = (char)(0x80 | (code >> 12 & 0x3F));
    ret[length++] = (char)(0x80 | (code >> 6 & 0x3F));
    ret[length++] = (char)(0x80 | (code & 0x3F));
    return length;
}

Test(text, every_code_point_is_utf_8_and_its_cut_forms_are_not)
{
    for (unsigned code = 0; code <= 0x10FFFF; code++) {
        char bytes[4];
        size_t length = encode(code, bytes);
        bool is_surrogate = code >= 0xD800 && code < 0xE000;
        cr_assert_eq(text_utf8_length(bytes, length), is_surrogate ? 0 : length, "U+%04X", code);
        if (code >= 0x80)
            cr_assert_eq(text_utf8_length(bytes, length - 1), 0, "U+%04X", code);
    }
    cr_expect_eq(text_utf8_length("", 0), 0);
}

/* Of all two first bytes, followed by 0x80s, as many are accepted as there are code points with such ends: overlong
 * forms, surrogates and what lies beyond U+10FFFF are among the rest. */
Test(text, nothing_else_is_utf_8)
{
    size_t accepted[5] = {0};
    for (unsigned pair = 0; pair < 0x10000; pair++) {
        char bytes[4] = {(char)(pair >> 8), (char)pair, '\x80', '\x80'};
        accepted[text_utf8_length(bytes, 4)]++;
        bytes[2] = 'x';
        cr_assert_leq(text_utf8_length(bytes, 4), 2);
    }
    cr_expect_eq(accepted[1], 128 * 256);
    cr_expect_eq(accepted[2], 30 * 64);
    cr_expect_eq(accepted[3], (0x10000 - 0x800 - 0x800) / 64);
    cr_expect_eq(accepted[4], 0x100000 / 64 / 64);
}

/* ---- words ---- */

Test(text, words_are_compared_without_case_where_told)
{
    cr_expect(text_equal_ignoring_case("Level", "lEVEL"));
    cr_expect(!text_equal_ignoring_case("Level", "Levels"));
    cr_expect(!text_equal_ignoring_case("Levels", "Level"));
    cr_expect(text_equal_ignoring_case("", ""));
    cr_expect(!text_equal_ignoring_case("\xC3\x84", "\xC3\xA4"), "ASCII only");
    cr_expect(text_starts_with("abc", "ab") && text_starts_with("abc", "") && !text_starts_with("ab", "abc"));
    cr_expect(text_ends_with("a.csv", ".csv") && text_ends_with("a", "") && !text_ends_with("csv", ".csv"));
}

Test(text, patterns_match_whole_strings)
{
    const struct {
        const char *pattern, *string;
        bool expected;
    } rows[] = {
        {"", "", true},
        {"", "a", false},
        {"a", "", false},
        {"a", "a", true},
        {"a", "ab", false},
        {"*", "", true},
        {"*", "abc", true},
        {"*", "a/b", false},
        {"**", "a/b", true},
        {"**", "", true},
        {"***", "a/b/", true},
        {"?", "a", true},
        {"?", "", false},
        {"?", "/", false},
        {"a?c", "abc", true},
        {"a?c", "a/c", false},
        {"*.csv", "a.csv", true},
        {"*.csv", "b/a.csv", false},
        {"**.csv", "b/a.csv", true},
        {"*/a", "b/a", true},
        {"*/a", "b/c/a", false},
        {"**/a", "b/c/a", true},
        {"**/a", "a", false},
        {"a/*/c", "a/b/c", true},
        {"a/*/c", "a//c", true},
        {"a/*", "a/", true},
        {"a/**", "a/b/c", true},
        {"a/**", "a", false},
        {"a*b*c", "aXbYc", true},
        {"a*b*c", "abc", true},
        {"a*b*c", "acb", false},
        {"*a*", "bab", true},
        {"**a*b", "x/a/ab", true},
        {"*ab", "aab", true},
        {"**a/*b*c", "aa/xbxc", true},
        {"[a]", "a", false},
        {"[a]", "[a]", true},
        {"A", "a", false},
        {"s-*", "s-01", true},
        {"a**b", "a/x/b", true},
    };
    for (size_t i = 0; i < COUNT_OF(rows); i++)
        cr_expect_eq(text_matches(rows[i].pattern, rows[i].string, false), rows[i].expected, "'%s' on '%s'",
                     rows[i].pattern, rows[i].string);
    cr_expect(text_matches("*.CSV", "a.csv", true) && text_matches("*.csv", "A.CSV", true));
}

/* The meaning of a pattern, written as the header says it. */
static bool matches_by_definition(const char *p, const char *s)
{
    if (!*p)
        return !*s;
    bool is_wide = p[0] == '*' && p[1] == '*';
    if (*p == '*') {
        for (;; s++) {
            if (matches_by_definition(p + 1 + is_wide, s))
                return true;
            if (!*s || (*s == '/' && !is_wide))
                return false;
        }
    }
    return *s && (*p == *s || (*p == '?' && *s != '/')) && matches_by_definition(p + 1, s + 1);
}

Test(text, random_patterns_match_what_their_definition_matches)
{
    uint64_t state = 5;
    size_t matched = 0;
    for (int i = 0; i < 300000; i++) {
        char pattern[10] = {0}, string[10] = {0};
        size_t p = random_index(&state, 9), s = random_index(&state, 9);
        for (size_t k = 0; k < p; k++)
            pattern[k] = "ab/**?"[random_index(&state, 6)];
        for (size_t k = 0; k < s; k++)
            string[k] = "aab/"[random_index(&state, 4)];
        bool expected = matches_by_definition(pattern, string);
        matched += expected;
        cr_assert_eq(text_matches(pattern, string, false), expected, "'%s' on '%s'", pattern, string);
    }
    cr_expect(matched > 10000, "the patterns are no good: %zu matched", matched);
}

/* Tried by every choice of every star this would outlive the machine; the limit only ends a hanging run. */
Test(text, a_hostile_pattern_ends, .timeout = 60)
{
    static const char *const units[] = {"*a", "**a", "**a*a", "*?a", "**/a*"};
    char string[2001];
    memset(string, 'a', sizeof string - 1);
    string[sizeof string - 1] = '\0';
    for (size_t i = 0; i < COUNT_OF(units); i++) {
        struct text pattern;
        text_init(&pattern, 4000);
        while (pattern.length < 500)
            text_puts(&pattern, units[i]);
        text_putc(&pattern, 'b');
        cr_expect(!text_matches(pattern.bytes, string, false));
        text_done(&pattern);
    }
}

static unsigned distance_by_definition(const char *a, const char *b)
{
    if (!*a || !*b)
        return (unsigned)(strlen(a) + strlen(b));
    if (*a == *b)
        return distance_by_definition(a + 1, b + 1);
    unsigned changed = distance_by_definition(a + 1, b + 1), removed = distance_by_definition(a + 1, b),
             added = distance_by_definition(a, b + 1), best = changed < removed ? changed : removed;
    return 1 + (best < added ? best : added);
}

Test(text, the_distance_of_words_is_the_number_of_edits_up_to_four)
{
    cr_expect_eq(text_distance("stations", "stations"), 0);
    cr_expect_eq(text_distance("station", "stations"), 1);
    cr_expect_eq(text_distance("level", "lvel"), 1);
    cr_expect_eq(text_distance("level", "leevl"), 2);
    cr_expect_eq(text_distance("", "abc"), 3);
    cr_expect_eq(text_distance("completely", "other"), 4);
    char longer[100];
    memset(longer, 'a', 99);
    longer[99] = '\0';
    cr_expect_eq(text_distance(longer, longer), 4, "nobody means a word of 99 letters");
    uint64_t state = 6;
    for (int i = 0; i < 5000; i++) {
        char a[7] = {0}, b[7] = {0};
        for (size_t k = random_index(&state, 7); k-- > 0;)
            a[k] = "abc"[random_index(&state, 3)];
        for (size_t k = random_index(&state, 7); k-- > 0;)
            b[k] = "abc"[random_index(&state, 3)];
        unsigned expected = distance_by_definition(a, b);
        cr_assert_eq(text_distance(a, b), expected < 4 ? expected : 4, "'%s' '%s'", a, b);
    }
}
