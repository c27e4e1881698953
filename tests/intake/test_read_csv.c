/* SPDX-License-Identifier: MIT */
#include "intake/read_csv.h"

#include "base/text.h"

#include <criterion/criterion.h>
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

TestSuite(read_csv, .init = start, .fini = finish);

static struct table open_text(const char *text, char delimiter, const char *comment)
{
    struct decoded decoded;
    struct error error = {0};
    cr_assert(encoding_decode(arena, text, strlen(text), &decoded, &error), "%s", error.text);
    struct table table;
    csv_open(arena, &decoded, &(struct csv_dialect){delimiter, comment}, &table);
    return table;
}

/* Rows as "1:a|b 2:c", comments with '#', malformed rows with '!', an open row with '~' in front. */
static const char *print(const char *text, char delimiter, const char *comment)
{
    struct table table = open_text(text, delimiter, comment);
    struct row row;
    struct error error = {0};
    const char *printed = "";
    enum table_step step;
    while ((step = table_next(&table, &row, &error)) == TABLE_ROW) {
        printed = arena_printf(arena, "%s%s%u:%s%s%s", printed, *printed ? " " : "", row.line,
                               row.is_comment ? "#" : "", row.is_malformed ? "!" : "", row.is_open ? "~" : "");
        for (size_t i = 0; i < row.count; i++)
            printed =
                arena_printf(arena, "%s%s%.*s", printed, i ? "|" : "", (int)row.cells[i].length, row.cells[i].text);
    }
    return step == TABLE_FAILED ? arena_strdup(arena, error.text) : printed;
}

Test(read_csv, splits_at_every_delimiter)
{
    cr_expect_str_eq(print("a,b\nc,d\n", ',', ""), "1:a|b 2:c|d");
    cr_expect_str_eq(print("a;b\nc;d\n", ';', ""), "1:a|b 2:c|d");
    cr_expect_str_eq(print("a\tb\nc\td\n", '\t', ""), "1:a|b 2:c|d");
    cr_expect_str_eq(print("a|b\nc|d\n", '|', ""), "1:a|b 2:c|d");
}

Test(read_csv, ends_lines_at_every_line_end_and_counts_them)
{
    cr_expect_str_eq(print("a\r\nb\nc\rd\r\n", ',', ""), "1:a 2:b 3:c 4:d");
    cr_expect_str_eq(print("a\n\nb\n", ',', ""), "1:a 2: 3:b");
}

Test(read_csv, undoes_quotes)
{
    cr_expect_str_eq(print("\"a,b\",\"c\"\"d\",\"\"\n", ',', ""), "1:a,b|c\"d|");
    cr_expect_str_eq(print("\"a\nb\",c\nd\n", ',', ""), "1:a\nb|c 3:d");
    cr_expect_str_eq(print(" \"a\" , b\n", ',', ""), "1:a|b");
    cr_expect_str_eq(print("3' 4\",5\" x\n", ',', ""), "1:3' 4\"|5\" x");
    cr_expect_str_eq(print("\"a\"b,c\n", ',', ""), "1:!a|c");
    cr_expect_str_eq(print("\t\"a\tb\"\n", '\t', ""), "1:|a\tb");
}

Test(read_csv, trims_blanks_and_keeps_empty_cells)
{
    cr_expect_str_eq(print(" a ,\xC2\xA0 b\xC2\xA0,,\n", ',', ""), "1:a|b||");
}

Test(read_csv, passes_comments_as_one_cell)
{
    cr_expect_str_eq(print("# a, \"b\nc,d\n", ',', "#"), "1:#a, \"b 2:c|d");
    cr_expect_str_eq(print("//a\nc\n", ',', "//"), "1:#a 2:c");
}

Test(read_csv, tells_an_open_end)
{
    cr_expect(open_text("a,b", ',', "").ends_open);
    cr_expect(open_text("a\n\"b\n", ',', "").ends_open);
    cr_expect(open_text("a\n\"b\"\"", ',', "").ends_open);
    cr_expect_not(open_text("a\n\"b\"\n", ',', "").ends_open);
    cr_expect_not(open_text("a\r", ',', "").ends_open);
    cr_expect_not(open_text("a\"\n", ',', "").ends_open);
    cr_expect_str_eq(print("a\nb,", ',', ""), "1:a 2:~b|");
    cr_expect_str_eq(print("a\n\"b\nc", ',', ""), "1:a 2:!~b\nc");
}

Test(read_csv, refuses_what_passes_a_limit)
{
    struct text text;
    text_init(&text, 1 << 20);
    text_puts(&text, "a\n");
    for (int i = 0; i < TABLE_LONGEST_ROW + 2; i++)
        text_putc(&text, 'x');
    text_puts(&text, "\nb\n");
    cr_expect_str_eq(print(text.bytes, ',', ""), "line 2 is longer than 64 KiB: no table that can be read");
    text.bytes[2] = '"';
    cr_expect_str_eq(print(text.bytes, ',', ""), "line 2 has a quoted cell that is not closed within 64 KiB");
    text.bytes[2] = '#';
    cr_expect_str_eq(print(text.bytes, ',', "#"), "line 2 is longer than 64 KiB: no table that can be read");
    text_clear(&text);
    for (int i = 0; i < TABLE_MOST_CELLS; i++)
        text_putc(&text, ',');
    cr_expect_str_eq(print(text.bytes, ',', ""), "line 1 has more than 512 cells: no table that can be read");
    text_done(&text);
}

Test(read_csv, can_be_read_twice)
{
    struct table table = open_text("a\nb\n", ',', "");
    struct row row;
    cr_assert_eq(table_next(&table, &row, NULL), TABLE_ROW);
    cr_assert_eq(table_next(&table, &row, NULL), TABLE_ROW);
    cr_assert_eq(table_next(&table, &row, NULL), TABLE_END);
    table_rewind(&table);
    cr_assert_eq(table_next(&table, &row, NULL), TABLE_ROW);
    cr_expect_eq(row.line, 1);
}

static char find(const char *text, char decimal)
{
    struct decoded decoded = {.bytes = text, .length = strlen(text)};
    return csv_find_delimiter(&decoded, decimal, "#");
}

Test(read_csv, finds_the_delimiter)
{
    cr_expect_eq(find("a,b,c\n1,2,3\n", '.'), ',');
    cr_expect_eq(find("a;b;c\n1,5;2,5;3,5\n", ','), ';');
    cr_expect_eq(find("a;b;c\n1,5;2,5;3,5\n", '.'), ';');
    cr_expect_eq(find("a\tb, c\n1\t2\n", '.'), '\t');
    cr_expect_eq(find("a|b\n1|2\n", '.'), '|');
    cr_expect_eq(find("# x;y;z\n# x;y;z\n# x;y;z\na,b\n1,2\n", '.'), ',');
    cr_expect_eq(find("\"a;b\",c\n\"d;e\",f\n", '.'), ',');
    cr_expect_eq(find("5\" pipe,a\n1,2\n3,4\n", '.'), ',');
    cr_expect_eq(find("alone\n", '.'), ',');
}
