/* SPDX-License-Identifier: MIT */
#include "intake/header.h"

#include <string.h>

static const struct unit *split_unit(struct cell *cell, struct cell *ret_text);
static bool cut_end(struct cell *cell, struct cell *ret_end);
static bool cut_brackets(struct cell *cell, struct cell *ret_end);
static bool cut_behind_comma(struct cell *cell, struct cell *ret_end);

enum header_fit header_fit(struct cell cell, const char *pattern)
{
    if (cell.length == 0)
        return HEADER_NONE;
    if (cell_is(cell, pattern))
        return HEADER_EXACT;
    if (cell_matches(cell, pattern))
        return HEADER_BY_PATTERN;
    struct cell end;
    while (cut_end(&cell, &end))
        if (cell.length > 0 && cell_matches(cell, pattern))
            return HEADER_WITHOUT_UNIT;
    return HEADER_NONE;
}

const struct unit *header_unit(struct cell cell, struct cell *ret_text)
{
    return split_unit(&cell, ret_text);
}

struct cell header_name(struct cell cell)
{
    struct cell name = cell, ignored;
    return split_unit(&name, &ignored) ? name : cell;
}

enum unit_dimension header_dimension(enum quantity quantity)
{
    const char *written = quantity_info(quantity)->unit;
    return unit_find(written, strlen(written))->dimension;
}

/* *cell becomes what stands before the unit. */
static const struct unit *split_unit(struct cell *cell, struct cell *ret_text)
{
    while (cut_end(cell, ret_text)) {
        /* The unit of salinity is "1", but "Temp (1)" numbers a sensor. */
        bool is_digit = ret_text->length == 1 && *ret_text->text == '1';
        const struct unit *unit = is_digit ? NULL : unit_find(ret_text->text, ret_text->length);
        if (unit)
            return unit;
    }
    return NULL;
}

static bool cut_end(struct cell *cell, struct cell *ret_end)
{
    return cut_brackets(cell, ret_end) || cut_behind_comma(cell, ret_end);
}

static bool cut_brackets(struct cell *cell, struct cell *ret_end)
{
    size_t length = cell->length;
    if (length < 2 || (cell->text[length - 1] != ')' && cell->text[length - 1] != ']'))
        return false;
    char closing = cell->text[length - 1], opening = closing == ')' ? '(' : '[';
    int depth = 0;
    for (size_t i = length; i-- > 0;) {
        depth += (cell->text[i] == closing) - (cell->text[i] == opening);
        if (depth == 0) {
            *ret_end = cell_trim(cell->text + i + 1, length - i - 2);
            *cell = cell_trim(cell->text, i);
            return true;
        }
    }
    return false;
}

static bool cut_behind_comma(struct cell *cell, struct cell *ret_end)
{
    const char *comma = cell->length > 0 ? memrchr(cell->text, ',', cell->length) : NULL;
    if (!comma)
        return false;
    size_t before = (size_t)(comma - cell->text);
    *ret_end = cell_trim(comma + 1, cell->length - before - 1);
    *cell = cell_trim(cell->text, before);
    return true;
}
