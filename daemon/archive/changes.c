/* SPDX-License-Identifier: MIT */
#include "archive/changes.h"

#include "model/quantity.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { CELLS_MAX = 5 * QUANTITY_COUNT + 5, NO_CELL = CELLS_MAX };

struct piece {
    const char *bytes;
    size_t length;
};

/* One of the two files, a row at a time. */
struct table {
    const char *at, *end;
    struct piece row, cells[CELLS_MAX];
    size_t value[QUANTITY_COUNT], flag[QUANTITY_COUNT]; /* columns; NO_CELL: it has none */
};

struct tally {
    size_t came, went, changed, flags;
    double largest, sum;
};

static struct piece next_line(const char **at, const char *end);
static bool has_line(const char *list, struct piece line);
static bool begins(struct piece line, const char *word);
static void tell_fact(const char *what, struct piece line, size_t *told, struct text *text);
static void open_table(struct table *table, const char *bytes, size_t length);
static bool next_row(struct table *table);
static void split_row(struct table *table);
static int compare_times(const struct table *a, const struct table *b);
static struct piece cell_of(const struct table *table, size_t column);
static bool are_equal(struct piece a, struct piece b);
static void compare_rows(struct table *before, struct table *after, struct tally tallies[QUANTITY_COUNT]);
static void compare_values(struct piece before, struct piece after, struct tally *tally);
static void count_lone_row(struct table *table, bool is_new, struct tally tallies[QUANTITY_COUNT]);
static void tell_rows(size_t count, const char *what, struct text *text);
static void tell_quantity(enum quantity quantity, const struct tally *tally, struct text *text);
static void tell_signed(double value, int decimals, struct text *text);

/* ---- facts ---- */

void changes_of_facts(const char *before, const char *after, struct text *ret)
{
    size_t told = 0;
    const char *at = after, *end = after + strlen(after);
    while (*before && at < end) {
        struct piece line = next_line(&at, end);
        if (has_line(before, line))
            continue;
        if (begins(line, "settings "))
            text_puts(ret, "The station\u2019s settings changed\n");
        else
            tell_fact(begins(line, "program ") ? "Now" : "New", line, &told, ret);
    }
    at = before;
    end = before + strlen(before);
    while (at < end) {
        struct piece line = next_line(&at, end);
        if (!has_line(after, line) && !begins(line, "settings ") && !begins(line, "program "))
            tell_fact("No longer", line, &told, ret);
    }
    if (told > CHANGES_LINES_MAX)
        text_printf(ret, "And %zu facts more\n", told - CHANGES_LINES_MAX);
}

static void tell_fact(const char *what, struct piece line, size_t *told, struct text *text)
{
    if ((*told)++ >= CHANGES_LINES_MAX)
        return;
    text_printf(text, "%s: ", what);
    text_add(text, line.bytes, line.length);
    text_putc(text, '\n');
}

static struct piece next_line(const char **at, const char *end)
{
    const char *start = *at, *stop = memchr(start, '\n', (size_t)(end - start));
    if (!stop)
        stop = end;
    *at = stop < end ? stop + 1 : end;
    return (struct piece){start, (size_t)(stop - start)};
}

static bool has_line(const char *list, struct piece line)
{
    const char *at = list, *end = list + strlen(list);
    while (at < end)
        if (are_equal(next_line(&at, end), line))
            return true;
    return false;
}

static bool begins(struct piece line, const char *word)
{
    return line.length >= strlen(word) && memcmp(line.bytes, word, strlen(word)) == 0;
}

/* ---- rows ---- */

/* Both ascend by time; most rows are the same to the byte, and are passed by. */
void changes_of_rows(const char *before, size_t before_length, const char *after, size_t after_length, struct text *ret)
{
    struct table old, new;
    struct tally tallies[QUANTITY_COUNT] = {0};
    size_t came = 0, went = 0;
    open_table(&old, before, before_length);
    open_table(&new, after, after_length);
    bool has_old = next_row(&old), has_new = next_row(&new);
    while (has_old || has_new) {
        int order = !has_old ? 1 : !has_new ? -1 : compare_times(&old, &new);
        if (order == 0)
            compare_rows(&old, &new, tallies);
        else
            count_lone_row(order < 0 ? &old : &new, order > 0, tallies);
        came += order > 0;
        went += order < 0;
        has_old = order <= 0 ? next_row(&old) : has_old;
        has_new = order >= 0 ? next_row(&new) : has_new;
    }
    tell_rows(came, "came", ret);
    tell_rows(went, "went", ret);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        tell_quantity(q, &tallies[q], ret);
}

static void open_table(struct table *table, const char *bytes, size_t length)
{
    *table = (struct table){.at = bytes, .end = bytes + length};
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        table->value[q] = table->flag[q] = NO_CELL;
    if (!next_row(table))
        return;
    split_row(table);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        const struct quantity_info *info = quantity_info(q);
        char flag[64];
        snprintf(flag, sizeof flag, "%s_flag", info->key);
        for (size_t c = 0; c < CELLS_MAX; c++) {
            if (are_equal(table->cells[c], (struct piece){info->column, strlen(info->column)}))
                table->value[q] = c;
            if (are_equal(table->cells[c], (struct piece){flag, strlen(flag)}))
                table->flag[q] = c;
        }
    }
}

static bool next_row(struct table *table)
{
    if (table->at == table->end)
        return false;
    table->row = next_line(&table->at, table->end);
    return true;
}

/* No cell of the columns that count is ever quoted. */
static void split_row(struct table *table)
{
    const char *at = table->row.bytes, *end = at + table->row.length;
    if (end > at && end[-1] == '\r')
        end--;
    for (size_t c = 0; c < CELLS_MAX; c++) {
        const char *comma = at < end ? memchr(at, ',', (size_t)(end - at)) : NULL;
        const char *stop = comma ? comma : end;
        table->cells[c] = (struct piece){at, (size_t)(stop - at)};
        at = comma ? comma + 1 : end;
    }
}

/* Of ISO 8601 times up to their Z, so that 00:00:00.5Z is after 00:00:00Z. */
static int compare_times(const struct table *a, const struct table *b)
{
    const char *a_end = memchr(a->row.bytes, 'Z', a->row.length), *b_end = memchr(b->row.bytes, 'Z', b->row.length);
    size_t a_length = a_end ? (size_t)(a_end - a->row.bytes) : a->row.length;
    size_t b_length = b_end ? (size_t)(b_end - b->row.bytes) : b->row.length;
    int order = memcmp(a->row.bytes, b->row.bytes, a_length < b_length ? a_length : b_length);
    return order != 0 ? order : (a_length > b_length) - (a_length < b_length);
}

static struct piece cell_of(const struct table *table, size_t column)
{
    return column < CELLS_MAX ? table->cells[column] : (struct piece){"", 0};
}

static bool are_equal(struct piece a, struct piece b)
{
    return a.length == b.length && memcmp(a.bytes, b.bytes, a.length) == 0;
}

static void compare_rows(struct table *before, struct table *after, struct tally tallies[QUANTITY_COUNT])
{
    if (are_equal(before->row, after->row) && memcmp(before->value, after->value, sizeof after->value) == 0)
        return;
    split_row(before);
    split_row(after);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        if (before->value[q] == NO_CELL && after->value[q] == NO_CELL)
            continue;
        compare_values(cell_of(before, before->value[q]), cell_of(after, after->value[q]), &tallies[q]);
        tallies[q].flags += !are_equal(cell_of(before, before->flag[q]), cell_of(after, after->flag[q]));
    }
}

static void compare_values(struct piece before, struct piece after, struct tally *tally)
{
    double old, new;
    if (are_equal(before, after))
        return;
    tally->came += before.length == 0;
    tally->went += after.length == 0;
    if (!text_parse_number(before.bytes, before.length, '.', &old) ||
        !text_parse_number(after.bytes, after.length, '.', &new))
        return;
    double difference = new - old;
    tally->changed++;
    tally->sum += difference;
    if (fabs(difference) > fabs(tally->largest))
        tally->largest = difference;
}

static void count_lone_row(struct table *table, bool is_new, struct tally tallies[QUANTITY_COUNT])
{
    split_row(table);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        bool has_value = cell_of(table, table->value[q]).length > 0;
        tallies[q].came += has_value && is_new;
        tallies[q].went += has_value && !is_new;
    }
}

/* ---- in words ---- */

static void tell_rows(size_t count, const char *what, struct text *text)
{
    if (count > 0)
        text_printf(text, "%zu %s %s\n", count, count == 1 ? "row" : "rows", what);
}

static void tell_quantity(enum quantity quantity, const struct tally *tally, struct text *text)
{
    const struct quantity_info *info = quantity_info(quantity);
    const char *separator = ":";
    if (tally->came + tally->went + tally->changed + tally->flags == 0)
        return;
    text_puts(text, info->title);
    const size_t counts[] = {tally->came, tally->went};
    const char *const words[] = {"came", "went"};
    for (size_t k = 0; k < 2; k++) {
        if (counts[k] == 0)
            continue;
        text_printf(text, "%s %zu %s %s", separator, counts[k], counts[k] == 1 ? "value" : "values", words[k]);
        separator = ",";
    }
    if (tally->changed > 0) {
        text_printf(text, "%s %zu %s changed by up to ", separator, tally->changed,
                    tally->changed == 1 ? "value" : "values");
        tell_signed(tally->largest, info->decimals, text);
        text_puts(text, ", in the mean ");
        tell_signed(tally->sum / (double)tally->changed, info->decimals, text);
        if (strcmp(info->unit, "1") != 0)
            text_printf(text, " %s", info->unit);
        separator = ",";
    }
    if (tally->flags > 0)
        text_printf(text, "%s %zu %s", separator, tally->flags, tally->flags == 1 ? "flag changed" : "flags changed");
    text_putc(text, '\n');
}

static void tell_signed(double value, int decimals, struct text *text)
{
    if (value > 0)
        text_putc(text, '+');
    text_number(text, value, decimals);
}
