/* SPDX-License-Identifier: MIT */
#include "intake/read_answers.h"

#include "base/text.h"
#include "intake/encoding.h"
#include "intake/read_csv.h"
#include "intake/read_xlsx.h"

#include <string.h>

enum answer_column { ALARM, ANSWER, WHO, UNTIL, REASON, COLUMN_COUNT };
static const char *const column_words[] = {"alarm", "answer", "who", "until", "reason"};
_Static_assert(COUNT_OF(column_words) == COLUMN_COUNT, "every column has a word");
enum { COLUMNS_NEEDED = WHO + 1 };

struct answers {
    struct arena *arena;
    size_t places[COLUMN_COUNT]; /* index of each column; SIZE_MAX: the file has none */
    struct answer_line *list;
    size_t count;
};

static bool read_header(struct answers *answers, struct table *table, struct error *error);
static bool find_columns(struct answers *answers, const struct row *row, struct error *error);
static bool read_rows(struct answers *answers, struct table *table, struct error *error);
static const char *cell_at(struct answers *answers, const struct row *row, enum answer_column column);
static const char *make_key(struct answers *answers, const struct answer_line *line);

bool answers_is_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return text_matches("answers*.csv", slash ? slash + 1 : path, true);
}

bool answers_read(struct arena *arena, const char *bytes, size_t length, struct answer_line **ret, size_t *ret_n,
                  bool *ret_ends_open, struct error *error)
{
    struct answers answers = {.arena = arena};
    struct decoded text;
    struct table table;
    if (length > ANSWERS_LARGEST)
        return fail(error, ERROR_INPUT, "it is larger than %d bytes: a file of answers holds a few lines",
                    ANSWERS_LARGEST);
    const char *foreign = length == 0                  ? "an empty file"
                          : xlsx_begins(bytes, length) ? "a workbook (save the sheet as CSV)"
                                                       : encoding_foreign(bytes, length);
    if (foreign)
        return fail(error, ERROR_INPUT, "it is %s, expected a table with the columns alarm, answer, who", foreign);
    if (!encoding_decode(arena, bytes, length, &text, error))
        return false;
    const struct csv_dialect dialect = {csv_find_delimiter(&text, '.', ""), ""};
    csv_open(arena, &text, &dialect, &table);
    answers.list = arena_array(arena, ANSWERS_MOST, sizeof *answers.list);
    *ret_ends_open = table.ends_open;
    if (!read_header(&answers, &table, error) || !read_rows(&answers, &table, error))
        return false;
    *ret = answers.list;
    *ret_n = answers.count;
    return true;
}

static bool read_header(struct answers *answers, struct table *table, struct error *error)
{
    struct row row;
    enum table_step step;
    while ((step = table_next(table, &row, error)) == TABLE_ROW)
        if (!row_is_blank(&row))
            return find_columns(answers, &row, error);
    return step == TABLE_END ? fail(error, ERROR_INPUT, "it has no header, expected the columns alarm, answer, who")
                             : false;
}

static bool find_columns(struct answers *answers, const struct row *row, struct error *error)
{
    for (size_t c = 0; c < COLUMN_COUNT; c++) {
        answers->places[c] = SIZE_MAX;
        for (size_t i = row->count; i-- > 0;)
            if (cell_is(row->cells[i], column_words[c]))
                answers->places[c] = i;
        if (c < COLUMNS_NEEDED && answers->places[c] == SIZE_MAX)
            return fail(
                error, ERROR_INPUT,
                "line %u: there is no column '%s', expected alarm, answer, who, and where needed until and reason",
                row->line, column_words[c]);
    }
    return true;
}

static bool read_rows(struct answers *answers, struct table *table, struct error *error)
{
    struct row row;
    enum table_step step;
    while ((step = table_next(table, &row, error)) == TABLE_ROW) {
        if (row_is_blank(&row))
            continue;
        if (answers->count == ANSWERS_MOST)
            return fail(error, ERROR_INPUT, "line %u: these are more than %d answers", row.line, ANSWERS_MOST);
        struct answer_line *line = &answers->list[answers->count];
        *line = (struct answer_line){.line = row.line,
                                     .alarm = cell_at(answers, &row, ALARM),
                                     .answer = cell_at(answers, &row, ANSWER),
                                     .who = cell_at(answers, &row, WHO),
                                     .until = cell_at(answers, &row, UNTIL),
                                     .reason = cell_at(answers, &row, REASON)};
        line->key = make_key(answers, line);
        answers->count++;
    }
    return step == TABLE_END;
}

static const char *cell_at(struct answers *answers, const struct row *row, enum answer_column column)
{
    size_t place = answers->places[column];
    return place == SIZE_MAX ? "" : cell_copy(row_cell(row, place), answers->arena);
}

/* A unit separator stands between the cells: no hand types one. */
static const char *make_key(struct answers *answers, const struct answer_line *line)
{
    const char *text = arena_printf(answers->arena, "%s\x1F%s\x1F%s\x1F%s\x1F%s", line->alarm, line->answer, line->who,
                                    line->until, line->reason);
    size_t same = 0, length = strlen(text);
    for (size_t k = 0; k < answers->count; k++)
        same += strncmp(answers->list[k].key, text, length) == 0 && answers->list[k].key[length] == '\x1F';
    return arena_printf(answers->arena, "%s\x1F%zu", text, same + 1);
}
