/* SPDX-License-Identifier: MIT */
#include "intake/read_csv.h"

#include <string.h>

enum { LINES_LOOKED_AT = 200, BYTES_LOOKED_AT = 256 * 1024, CANDIDATES = 4, MOST_COUNTED = 64 };

struct csv {
    struct arena *arena;
    const char *start, *at, *end;
    const char *comment;
    size_t comment_length;
    char delimiter;
    uint32_t line;
    bool ends_cell[256]; /* delimiter and line ends */
    struct cell cells[TABLE_MOST_CELLS];
};

static const char delimiters[CANDIDATES] = {';', '\t', '|',
                                            ','}; /* of equals the first: a comma also stands in texts */

static enum table_step next_row(struct table *table, struct row *ret, struct error *error);
static void rewind_rows(struct table *table);
static enum table_step read_comment(struct csv *csv, struct row *ret, struct error *error);
static bool read_quoted(struct csv *csv, const char **at, const char *limit, struct row *row, struct cell *ret);
static struct cell unquote(struct csv *csv, const char *from, size_t length, size_t pairs);
static const char *skip_blanks(const struct csv *csv, const char *at, const char *limit);
static bool take_line_end(struct csv *csv, const char *at);
static bool begins_comment(const struct csv *csv);
static bool quotes_stay_open(struct table *table);
static enum table_step fail_step(uint32_t line, const char *what, struct error *error);
static void count_line(const char **at, const char *end, unsigned counts[CANDIDATES]);

void csv_open(struct arena *arena, const struct decoded *text, const struct csv_dialect *dialect, struct table *ret)
{
    struct csv *csv = arena_alloc(arena, sizeof *csv);
    csv->arena = arena;
    csv->start = text->bytes;
    csv->end = text->bytes + text->length;
    csv->comment = dialect->comment;
    csv->comment_length = strlen(dialect->comment);
    csv->delimiter = dialect->delimiter;
    csv->ends_cell[(unsigned char)dialect->delimiter] = csv->ends_cell['\n'] = csv->ends_cell['\r'] = true;
    *ret = (struct table){.next = next_row, .rewind = rewind_rows, .reader = csv, .most_rows = text->lines};
    rewind_rows(ret);
    char last = text->length > 0 ? csv->end[-1] : '\n';
    ret->ends_open = text->is_cut || (last != '\n' && last != '\r') || quotes_stay_open(ret);
}

char csv_find_delimiter(const struct decoded *text, char decimal, const char *comment)
{
    /* lines[d][n]: how many lines hold delimiter d n times */
    unsigned lines[CANDIDATES][MOST_COUNTED] = {{0}};
    const char *at = text->bytes, *end = at + (text->length < BYTES_LOOKED_AT ? text->length : BYTES_LOOKED_AT);
    size_t comment_length = strlen(comment);
    for (int i = 0; i < LINES_LOOKED_AT && at < end; i++) {
        bool is_comment =
            comment_length > 0 && (size_t)(end - at) >= comment_length && memcmp(at, comment, comment_length) == 0;
        unsigned counts[CANDIDATES] = {0};
        count_line(&at, end, counts);
        for (size_t d = 0; d < CANDIDATES && !is_comment; d++)
            lines[d][counts[d] < MOST_COUNTED ? counts[d] : MOST_COUNTED - 1]++;
    }
    char best = ',';
    unsigned most = 0;
    for (size_t d = 0; d < CANDIDATES; d++) {
        for (size_t n = 1; n < MOST_COUNTED && delimiters[d] != decimal; n++) {
            if (lines[d][n] > most) {
                most = lines[d][n];
                best = delimiters[d];
            }
        }
    }
    return best;
}

const char *csv_delimiter_word(char delimiter)
{
    return delimiter == ';' ? "semicolon" : delimiter == '\t' ? "tab" : delimiter == '|' ? "bar" : "comma";
}

static enum table_step next_row(struct table *table, struct row *ret, struct error *error)
{
    struct csv *csv = table->reader;
    if (csv->at == csv->end)
        return TABLE_END;
    *ret = (struct row){.line = csv->line, .cells = csv->cells};
    if (csv->comment_length > 0 && begins_comment(csv))
        return read_comment(csv, ret, error);
    const char *at = csv->at;
    const char *limit = csv->end - at > TABLE_LONGEST_ROW ? at + TABLE_LONGEST_ROW : csv->end;
    for (uint32_t count = 0;; at++) {
        if (count == TABLE_MOST_CELLS)
            return fail_step(ret->line, "has more than 512 cells: no table that can be read", error);
        const char *start = at;
        if (at < limit && (*at == '"' || *at == ' '))
            at = skip_blanks(csv, at, limit);
        if (at < limit && *at == '"') {
            if (!read_quoted(csv, &at, limit, ret, &csv->cells[count]) && limit < csv->end)
                return fail_step(ret->line, "has a quoted cell that is not closed within 64 KiB", error);
        } else {
            while (at < limit && !csv->ends_cell[(unsigned char)*at])
                at++;
            csv->cells[count] = cell_trim(start, (size_t)(at - start));
        }
        ret->count = ++count;
        if (at == limit && limit < csv->end)
            return fail_step(ret->line, "is longer than 64 KiB: no table that can be read", error);
        if (at == limit || *at != csv->delimiter)
            break;
    }
    ret->is_open |= !take_line_end(csv, at);
    return TABLE_ROW;
}

static void rewind_rows(struct table *table)
{
    struct csv *csv = table->reader;
    csv->at = csv->start;
    csv->line = 1;
}

static enum table_step read_comment(struct csv *csv, struct row *ret, struct error *error)
{
    const char *from = csv->at + csv->comment_length, *at = from;
    while (at < csv->end && *at != '\n' && *at != '\r')
        at++;
    if (at - csv->at > TABLE_LONGEST_ROW)
        return fail_step(ret->line, "is longer than 64 KiB: no table that can be read", error);
    csv->cells[0] = cell_trim(from, (size_t)(at - from));
    ret->count = 1;
    ret->is_comment = true;
    ret->is_open = !take_line_end(csv, at);
    return TABLE_ROW;
}

/* *at stands on the opening quote; it is left on what ends the cell. False where `limit` comes before the closing
 * quote. */
static bool read_quoted(struct csv *csv, const char **at, const char *limit, struct row *row, struct cell *ret)
{
    const char *from = *at + 1, *c = from;
    size_t pairs = 0;
    for (;; c++) {
        if (c == limit) {
            *at = limit;
            *ret = cell_trim(from, (size_t)(c - from));
            row->is_open = row->is_malformed = true;
            return false;
        }
        if (*c == '\n' || (*c == '\r' && (c + 1 == limit || c[1] != '\n')))
            csv->line++;
        if (*c != '"')
            continue;
        if (c + 1 == limit || c[1] != '"')
            break;
        pairs++;
        c++;
    }
    *ret = pairs ? unquote(csv, from, (size_t)(c - from), pairs) : cell_trim(from, (size_t)(c - from));
    c = skip_blanks(csv, c + 1, limit);
    if (c < limit && !csv->ends_cell[(unsigned char)*c])
        row->is_malformed = true;
    while (c < limit && !csv->ends_cell[(unsigned char)*c])
        c++;
    *at = c;
    return true;
}

static struct cell unquote(struct csv *csv, const char *from, size_t length, size_t pairs)
{
    char *copy = arena_alloc(csv->arena, length - pairs + 1);
    size_t written = 0;
    for (size_t i = 0; i < length; i++) {
        copy[written++] = from[i];
        i += from[i] == '"';
    }
    return cell_trim(copy, written);
}

static const char *skip_blanks(const struct csv *csv, const char *at, const char *limit)
{
    while (at < limit && (*at == ' ' || *at == '\t') && *at != csv->delimiter)
        at++;
    return at;
}

/* False at the end of the text. */
static bool take_line_end(struct csv *csv, const char *at)
{
    csv->at = at;
    if (at == csv->end)
        return false;
    csv->line++;
    csv->at += at + 1 < csv->end && at[0] == '\r' && at[1] == '\n' ? 2 : 1;
    return true;
}

static bool begins_comment(const struct csv *csv)
{
    return (size_t)(csv->end - csv->at) >= csv->comment_length &&
           memcmp(csv->at, csv->comment, csv->comment_length) == 0;
}

/* A cut inside a quoted cell can fall right behind a line end, so only a walk over all rows tells. */
static bool quotes_stay_open(struct table *table)
{
    struct csv *csv = table->reader;
    if (!memchr(csv->start, '"', (size_t)(csv->end - csv->start)))
        return false;
    struct row row = {0};
    while (next_row(table, &row, NULL) == TABLE_ROW)
        continue;
    bool is_open = csv->at == csv->end && row.is_open;
    rewind_rows(table);
    return is_open;
}

static enum table_step fail_step(uint32_t line, const char *what, struct error *error)
{
    fail(error, ERROR_INPUT, "line %u %s", line, what);
    return TABLE_FAILED;
}

static void count_line(const char **at, const char *end, unsigned counts[CANDIDATES])
{
    bool is_quoted = false, begins_cell = true;
    const char *c = *at;
    for (; c < end && (is_quoted || (*c != '\n' && *c != '\r')); c++) {
        if (*c == '"' && (is_quoted || begins_cell)) {
            is_quoted = !is_quoted;
            continue;
        }
        begins_cell = begins_cell && *c == ' ';
        for (size_t d = 0; d < CANDIDATES && !is_quoted; d++) {
            if (*c == delimiters[d]) {
                counts[d]++;
                begins_cell = true;
            }
        }
    }
    *at = c < end ? c + 1 : c;
}
