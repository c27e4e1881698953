/* SPDX-License-Identifier: MIT */
#include "intake/table.h"

#include "base/text.h"

#include <string.h>

enum { QUOTED_BYTES = 40 };

static size_t blank_at(const char *text, size_t length);
static size_t blank_before(const char *text, size_t length);
static char lower(char c);

enum table_step table_next(struct table *table, struct row *ret, struct error *error)
{
    return table->next(table, ret, error);
}

void table_rewind(struct table *table)
{
    table->rewind(table);
}

struct cell cell_trim(const char *text, size_t length)
{
    for (size_t blank; (blank = blank_at(text, length)) > 0; length -= blank)
        text += blank;
    for (size_t blank; (blank = blank_before(text, length)) > 0;)
        length -= blank;
    return (struct cell){.text = text, .length = (uint32_t)length};
}

struct cell cell_from(const char *string)
{
    return (struct cell){.text = string, .length = (uint32_t)strlen(string)};
}

bool cell_is(struct cell cell, const char *word)
{
    for (size_t i = 0; i < cell.length; i++)
        if (!word[i] || lower(cell.text[i]) != lower(word[i]))
            return false;
    return word[cell.length] == '\0';
}

bool cell_equals(struct cell a, struct cell b)
{
    return a.length == b.length && memcmp(a.text, b.text, a.length) == 0;
}

bool cell_begins(struct cell cell, const char *word)
{
    for (size_t i = 0; word[i]; i++)
        if (i == cell.length || lower(cell.text[i]) != lower(word[i]))
            return false;
    return true;
}

bool cell_matches(struct cell cell, const char *pattern)
{
    const char *at = cell.text, *end = at + cell.length;
    const char *star = NULL, *star_at = NULL;
    while (at < end) {
        if (*pattern == '*') {
            star = ++pattern;
            star_at = at;
        } else if (*pattern && (*pattern == '?' || lower(*pattern) == lower(*at))) {
            pattern++;
            at++;
        } else if (star) {
            pattern = star;
            at = ++star_at;
        } else {
            return false;
        }
    }
    while (*pattern == '*')
        pattern++;
    return *pattern == '\0';
}

char *cell_copy(struct cell cell, struct arena *arena)
{
    return arena_strndup(arena, cell.text, cell.length);
}

bool cell_number(struct cell cell, char decimal, double *ret)
{
    return text_parse_number(cell.text, cell.length, cell.kind == CELL_TEXT ? decimal : '.', ret);
}

struct cell_quote cell_quote(struct cell cell)
{
    char raw[QUOTED_BYTES + 4];
    size_t length = 0;
    while (length < cell.length) {
        size_t step = text_utf8_length(cell.text + length, cell.length - length);
        step = step ? step : 1;
        if (length + step > QUOTED_BYTES)
            break;
        length += step;
    }
    if (length > 0)
        memcpy(raw, cell.text, length);
    memcpy(raw + length, "...", 4);
    if (length == cell.length)
        raw[length] = '\0';
    struct cell_quote quote;
    text_make_visible(raw, quote.text, sizeof quote.text);
    return quote;
}

bool row_is_blank(const struct row *row)
{
    for (size_t i = 0; i < row->count; i++)
        if (row->cells[i].length > 0)
            return false;
    return true;
}

struct cell row_cell(const struct row *row, size_t index)
{
    return index < row->count ? row->cells[index] : cell_from("");
}

static size_t blank_at(const char *text, size_t length)
{
    if (length == 0)
        return 0;
    if (*text == ' ' || *text == '\t' || *text == '\r' || *text == '\n')
        return 1;
    return length >= 2 && text[0] == '\xC2' && text[1] == '\xA0' ? 2 : 0;
}

static size_t blank_before(const char *text, size_t length)
{
    if (length == 0)
        return 0;
    char last = text[length - 1];
    if (last == ' ' || last == '\t' || last == '\r' || last == '\n')
        return 1;
    return length >= 2 && text[length - 2] == '\xC2' && last == '\xA0' ? 2 : 0;
}

static char lower(char c)
{
    return c >= 'A' && c <= 'Z' ? (char)(c + ('a' - 'A')) : c;
}
