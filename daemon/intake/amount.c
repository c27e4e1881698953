/* SPDX-License-Identifier: MIT */
#include "intake/amount.h"

#include "base/memory.h"
#include "base/text.h"

#include <math.h>
#include <string.h>

#define FOOT 0.3048 /* m, exact */
#define INCH 0.0254 /* m, exact */

struct cursor {
    const char *at, *end;
};

static const char *const foot_marks[] = {"feet", "foot", "ft.", "ft", "\xE2\x80\xB2", "\xE2\x80\x99", "'"};
static const char *const inch_marks[] = {
    "inches", "inch", "in.", "in", "''", "\"", "\xE2\x80\xB2\xE2\x80\xB2", "\xE2\x80\xB3", "\xE2\x80\x9D"};
static const struct {
    const char *sign;
    double value;
} fractions[] = {
    {"\xC2\xBC", 0.25},      {"\xC2\xBD", 0.5},       {"\xC2\xBE", 0.75},      {"\xE2\x85\x9B", 0.125},
    {"\xE2\x85\x9C", 0.375}, {"\xE2\x85\x9D", 0.625}, {"\xE2\x85\x9E", 0.875},
};

static const struct unit *find_unit(struct cell written);
static bool take_mark(struct cursor *cursor, const char *const *marks, size_t count);
static bool take_amount(struct cursor *cursor, char decimal, double *ret, bool *ret_is_whole);
static bool take_number(struct cursor *cursor, char decimal, double *ret, bool *ret_is_whole);
static bool take_fraction(struct cursor *cursor, double *ret);
static bool take_ratio(struct cursor *cursor, double *ret);
static bool take_text(struct cursor *cursor, const char *text);
static void skip_spaces(struct cursor *cursor);

bool amount_read_feet(struct cell cell, char decimal, double *ret)
{
    struct cursor cursor = {cell.text, cell.text + cell.length};
    bool is_negative = take_text(&cursor, "-") || take_text(&cursor, "\xE2\x88\x92");
    double feet = 0, inches = 0, amount;
    bool is_whole, has_feet = false;
    if (!take_amount(&cursor, decimal, &amount, &is_whole))
        return false;
    if (take_mark(&cursor, inch_marks, COUNT_OF(inch_marks))) {
        inches = amount;
    } else if (take_mark(&cursor, foot_marks, COUNT_OF(foot_marks))) {
        has_feet = true;
        feet = amount;
    } else {
        return false;
    }
    if (has_feet && cursor.at < cursor.end) {
        bool ignored;
        if (!is_whole || !take_amount(&cursor, decimal, &inches, &ignored) || inches >= 12)
            return false;
        take_mark(&cursor, inch_marks, COUNT_OF(inch_marks));
    }
    if (cursor.at < cursor.end)
        return false;
    *ret = (feet * FOOT + inches * INCH) * (is_negative ? -1 : 1);
    return true;
}

enum amount_result amount_read(struct cell cell, char decimal, const struct unit *unit, enum unit_dimension dimension,
                               double *ret)
{
    double value;
    if (cell.kind == CELL_CIVIL || cell.kind == CELL_TIME)
        return AMOUNT_NO_NUMBER;
    if (cell.kind == CELL_PERCENT && dimension != UNIT_PERCENTAGE)
        return AMOUNT_WRONG_UNIT;
    if (cell_number(cell, decimal, &value)) {
        if (!unit && dimension == UNIT_SALINITY)
            unit = unit_base(UNIT_SALINITY);
        if (!unit)
            return AMOUNT_NO_UNIT;
        *ret = unit_to_base(unit, value);
        return isfinite(*ret) ? AMOUNT_READ : AMOUNT_NO_NUMBER;
    }
    if (dimension == UNIT_LENGTH && amount_read_feet(cell, decimal, ret))
        return AMOUNT_READ;
    size_t split = 0;
    while (split < cell.length && strchr("+-0123456789.,", cell.text[split]) && cell.text[split])
        split++;
    if (!text_parse_number(cell.text, split, decimal, &value))
        return AMOUNT_NO_NUMBER;
    struct cell written = cell_trim(cell.text + split, cell.length - split);
    const struct unit *own = find_unit(written);
    if (!own)
        return AMOUNT_NO_NUMBER;
    if (own->dimension != dimension)
        return AMOUNT_WRONG_UNIT;
    *ret = unit_to_base(own, value);
    return isfinite(*ret) ? AMOUNT_READ : AMOUNT_NO_NUMBER;
}

/* In short units case carries meaning; in words such as Meters it does not. */
static const struct unit *find_unit(struct cell written)
{
    enum { SHORTEST_WORD = 4, LONGEST_WORD = 16 };
    const struct unit *unit = unit_find(written.text, written.length);
    if (unit || written.length < SHORTEST_WORD || written.length > LONGEST_WORD)
        return unit;
    char small[LONGEST_WORD];
    for (size_t i = 0; i < written.length; i++) {
        char c = written.text[i];
        bool is_capital = c >= 'A' && c <= 'Z';
        if (!is_capital && !(c >= 'a' && c <= 'z'))
            return NULL;
        small[i] = is_capital ? (char)(c + ('a' - 'A')) : c;
    }
    return unit_find(small, written.length);
}

static bool take_mark(struct cursor *cursor, const char *const *marks, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (take_text(cursor, marks[i])) {
            skip_spaces(cursor);
            return true;
        }
    }
    return false;
}

static bool take_amount(struct cursor *cursor, char decimal, double *ret, bool *ret_is_whole)
{
    double part;
    *ret_is_whole = false;
    if (take_fraction(cursor, ret)) {
        skip_spaces(cursor);
        return true;
    }
    if (!take_number(cursor, decimal, ret, ret_is_whole))
        return false;
    struct cursor before = *cursor;
    skip_spaces(cursor);
    take_text(cursor, "-");
    if (*ret_is_whole && take_fraction(cursor, &part)) {
        *ret += part;
        *ret_is_whole = false;
    } else {
        *cursor = before;
    }
    skip_spaces(cursor);
    return true;
}

static bool take_number(struct cursor *cursor, char decimal, double *ret, bool *ret_is_whole)
{
    const char *from = cursor->at;
    *ret_is_whole = true;
    while (cursor->at < cursor->end && ((*cursor->at >= '0' && *cursor->at <= '9') || *cursor->at == decimal)) {
        if (*cursor->at == decimal)
            *ret_is_whole = false;
        cursor->at++;
    }
    return text_parse_number(from, (size_t)(cursor->at - from), decimal, ret);
}

static bool take_fraction(struct cursor *cursor, double *ret)
{
    for (size_t i = 0; i < COUNT_OF(fractions); i++) {
        if (take_text(cursor, fractions[i].sign)) {
            *ret = fractions[i].value;
            return true;
        }
    }
    return take_ratio(cursor, ret);
}

/* "1/2": two short whole numbers. */
static bool take_ratio(struct cursor *cursor, double *ret)
{
    struct cursor at = *cursor;
    double part[2];
    for (size_t i = 0; i < 2; i++) {
        const char *from = at.at;
        while (at.at < at.end && *at.at >= '0' && *at.at <= '9' && at.at - from < 3)
            at.at++;
        if (!text_parse_number(from, (size_t)(at.at - from), '.', &part[i]) || (i == 0 && !take_text(&at, "/")))
            return false;
    }
    if (!(part[1] > 0 && part[0] < part[1]))
        return false;
    *ret = part[0] / part[1];
    *cursor = at;
    return true;
}

static bool take_text(struct cursor *cursor, const char *text)
{
    size_t length = strlen(text);
    if ((size_t)(cursor->end - cursor->at) < length || strncasecmp(cursor->at, text, length) != 0)
        return false;
    cursor->at += length;
    return true;
}

static void skip_spaces(struct cursor *cursor)
{
    while (cursor->at < cursor->end && *cursor->at == ' ')
        cursor->at++;
}
