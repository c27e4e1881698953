/* SPDX-License-Identifier: MIT */
#include "intake/draft_shape.h"

#include "base/text.h"
#include "intake/draft_words.h"
#include "intake/header.h"
#include "intake/read_csv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS_BELOW = 30, ROWS_ABOVE = 6, LONGEST_JOINED = 120, LONGEST_WORD = 200 };

static bool look(struct time_formats *formats, struct shape *shape);
static bool is_data(const struct row *row);
static size_t count_looks(struct time_formats *formats, const struct head *head, size_t from, uint32_t cell,
                          enum time_looks looks, size_t *ret_rows);
static bool mostly(struct time_formats *formats, const struct head *head, size_t from, uint32_t cell,
                   enum time_looks looks);
static bool find_header(struct time_formats *formats, const struct head *head, size_t data_row, uint32_t cell,
                        size_t *ret);
static bool has_time_of_day(const struct head *head, size_t from, uint32_t cell);
static void find_time_column(struct time_formats *formats, struct shape *shape, size_t data_row);
static bool begins_comments(const struct shape *shape);
static struct evidence *column_for(struct arena *arena, struct evidence_set *set, struct cell header);
static uint64_t clue_of_unit(enum unit_dimension dimension);
static void add_row(struct arena *arena, struct evidence_set *set, const struct shape *shape,
                    struct evidence *const *columns, const struct row *row, size_t file, bool is_sampled);
static void add_cell(struct arena *arena, struct evidence *column, struct cell cell);
static void add_word(struct arena *arena, struct evidence *column, struct cell cell);
static size_t count_digits(struct cell cell);
static int compare_numbers(const void *a, const void *b);

bool shape_find(struct arena *arena, struct time_formats *formats, struct source *source, struct shape *ret,
                struct error *error)
{
    static const char delimiters[] = {';', '\t', '|', ','};
    const struct xlsx_book *book = &source->book;
    size_t ways = book->package ? book->sheet_count : COUNT_OF(delimiters), found = 0;
    *ret = (struct shape){.comment = ""};
    for (size_t i = 0; i < ways; i++) {
        struct shape shape = {.comment = ""};
        struct error ignored;
        if (book->package && book->sheets[i].is_hidden)
            continue;
        for (int round = 0; round < 2; round++) {
            if (book->package) {
                shape.sheet = book->sheets[i].name;
                source_open_sheet(arena, source, &book->sheets[i], shape.comment, &shape.table);
            } else {
                shape.delimiter = delimiters[i];
                csv_open(arena, &source->text, &(struct csv_dialect){delimiters[i], shape.comment}, &shape.table);
            }
            head_read(arena, &shape.table, &shape.head, &ignored);
            if (!look(formats, &shape) || !begins_comments(&shape))
                break;
            shape.comment = "#";
        }
        found += shape.score > 0;
        if (shape.score > ret->score)
            *ret = shape;
    }
    ret->has_rivals = book->package && found > 1;
    return ret->score > 0 ||
           fail(error, ERROR_INPUT, "no table was found: in its first %d rows no header stands above rows with dates",
                HEAD_ROWS);
}

struct evidence_set *evidence_make(struct arena *arena, size_t files)
{
    struct evidence_set *set = arena_alloc(arena, sizeof *set);
    set->columns = arena_array(arena, SHAPE_MOST_COLUMNS, sizeof *set->columns);
    set->times = arena_array(arena, files * SHAPE_MOST_SAMPLES, sizeof *set->times);
    return set;
}

bool evidence_add(struct arena *arena, struct evidence_set *set, struct shape *shape, size_t file, struct error *error)
{
    struct evidence *columns[TABLE_MOST_CELLS] = {NULL};
    const struct row *header = &shape->head.rows[shape->header_row];
    for (uint32_t i = 0; i < shape->cell_count; i++) {
        bool is_time = i == shape->time_cells[0] || (shape->time_cell_count == 2 && i == shape->time_cells[1]);
        columns[i] = is_time ? NULL : column_for(arena, set, header->cells[i]);
        if (columns[i])
            columns[i]->files++;
    }
    struct row row;
    enum table_step step;
    const char *footer = NULL;
    size_t samples = 0;
    while ((step = table_next(&shape->table, &row, error)) == TABLE_ROW) {
        if (row.line <= header->line || !is_data(&row))
            continue;
        if (count_digits(row_cell(&row, shape->time_cells[0])) < 3) {
            footer = !footer && row.cells[0].length > 0 ? cell_copy(row.cells[0], arena) : footer;
            continue;
        }
        footer = NULL;
        add_row(arena, set, shape, columns, &row, file, samples++ < SHAPE_MOST_SAMPLES);
    }
    table_rewind(&shape->table);
    set->footer = footer ? footer : set->footer;
    return step == TABLE_END;
}

double evidence_quantile(const struct evidence *column, double share)
{
    size_t count = column->numbers < SHAPE_MOST_SAMPLES ? column->numbers : SHAPE_MOST_SAMPLES;
    if (count == 0)
        return NAN;
    double *sorted = x_array(count, sizeof *sorted);
    memcpy(sorted, column->values, count * sizeof *sorted);
    qsort(sorted, count, sizeof *sorted, compare_numbers);
    double value = sorted[(size_t)(share * (double)(count - 1) + 0.5)];
    free(sorted);
    return value;
}

/* The first row that begins a run of rows with a date in one column, and the header above it. */
static bool look(struct time_formats *formats, struct shape *shape)
{
    const struct head *head = &shape->head;
    shape->score = 0;
    for (size_t d = 1; d < head->count; d++) {
        const struct row *row = &head->rows[d];
        for (uint32_t c = 0; is_data(row) && c < row->count && c < SHAPE_MOST_COLUMNS; c++) {
            if (time_looks(formats, row->cells[c]) != LOOKS_LIKE_DATE ||
                !mostly(formats, head, d, c, LOOKS_LIKE_DATE) || !find_header(formats, head, d, c, &shape->header_row))
                continue;
            shape->time_cells[0] = c;
            shape->time_cell_count = 1;
            if (!has_time_of_day(head, d, c))
                find_time_column(formats, shape, d);
            const struct row *header = &head->rows[shape->header_row];
            for (uint32_t i = 0; i < header->count; i++) {
                shape->cell_count = header->cells[i].length > 0 ? i + 1 : shape->cell_count;
                shape->score +=
                    (header->cells[i].length > 0 ? 1u : 0u) + (draft_clues(header->cells[i]) != 0 ? 2u : 0u);
            }
            return true;
        }
    }
    return false;
}

static bool is_data(const struct row *row)
{
    return !row->is_comment && !row_is_blank(row);
}

static size_t count_looks(struct time_formats *formats, const struct head *head, size_t from, uint32_t cell,
                          enum time_looks looks, size_t *ret_rows)
{
    size_t fits = 0;
    *ret_rows = 0;
    for (size_t i = from; i < head->count && *ret_rows < ROWS_BELOW; i++) {
        if (!is_data(&head->rows[i]))
            continue;
        ++*ret_rows;
        fits += time_looks(formats, row_cell(&head->rows[i], cell)) == looks;
    }
    return fits;
}

static bool mostly(struct time_formats *formats, const struct head *head, size_t from, uint32_t cell,
                   enum time_looks looks)
{
    size_t rows, fits = count_looks(formats, head, from, cell, looks, &rows);
    /* A footer is one or two rows of a short file. */
    return fits > 0 && (fits * 10 >= rows * 8 || (rows - fits <= 2 && fits >= 2));
}

/* The nearest row above with words where the dates are, and in at least one more cell. */
static bool find_header(struct time_formats *formats, const struct head *head, size_t data_row, uint32_t cell,
                        size_t *ret)
{
    for (size_t i = data_row, tried = 0; i-- > 0 && tried < ROWS_ABOVE; tried++) {
        const struct row *row = &head->rows[i];
        size_t filled = 0, dates = 0;
        double ignored;
        for (uint32_t k = 0; k < row->count; k++) {
            filled += row->cells[k].length > 0;
            dates += time_looks(formats, row->cells[k]) != LOOKS_OTHER;
        }
        struct cell above = row_cell(row, cell);
        if (!is_data(row) || row->is_malformed || above.length == 0 || filled < 2 || dates > 0 ||
            cell_number(above, '.', &ignored))
            continue;
        *ret = i;
        return true;
    }
    return false;
}

static bool has_time_of_day(const struct head *head, size_t from, uint32_t cell)
{
    for (size_t i = from; i < head->count && i < from + ROWS_BELOW; i++) {
        struct cell date = row_cell(&head->rows[i], cell);
        if (date.length > 0 && memchr(date.text, ':', date.length))
            return true;
    }
    return false;
}

static void find_time_column(struct time_formats *formats, struct shape *shape, size_t data_row)
{
    const struct row *header = &shape->head.rows[shape->header_row];
    for (uint32_t c = 0; c < header->count && c < SHAPE_MOST_COLUMNS; c++) {
        if (c == shape->time_cells[0] || header->cells[c].length == 0 ||
            !mostly(formats, &shape->head, data_row, c, LOOKS_LIKE_TIME))
            continue;
        shape->time_cells[1] = c;
        shape->time_cell_count = 2;
        return;
    }
}

/* Rows that begin with '#', the header not among them. */
static bool begins_comments(const struct shape *shape)
{
    bool has_any = false;
    for (size_t i = 0; i < shape->head.count; i++) {
        const struct row *row = &shape->head.rows[i];
        if (row->count == 0 || !cell_begins(row->cells[0], "#"))
            continue;
        if (i == shape->header_row)
            return false;
        has_any = true;
    }
    return has_any && *shape->comment == '\0';
}

static struct evidence *column_for(struct arena *arena, struct evidence_set *set, struct cell header)
{
    if (header.length == 0)
        return NULL;
    for (size_t i = 0; i < set->count; i++)
        if (cell_is(header, set->columns[i].header))
            return &set->columns[i];
    if (set->count == SHAPE_MOST_COLUMNS)
        return NULL;
    struct evidence *column = &set->columns[set->count++];
    column->header = cell_copy(header, arena);
    column->name = cell_from(column->header);
    column->unit = header_unit(column->name, &column->unit_text);
    if (column->unit)
        column->name = header_name(column->name);
    column->clues = draft_clues(column->name) | (column->unit ? draft_clues(column->unit_text) & CLUE_SATURATION : 0);
    if (draft_quantity(column->clues) == QUANTITY_COUNT && column->unit)
        column->clues |= clue_of_unit(column->unit->dimension);
    column->values = arena_array(arena, SHAPE_MOST_SAMPLES, sizeof *column->values);
    return column;
}

/* "P (hPa)" can only be a pressure. What is counted in mg/L is not only oxygen. */
static uint64_t clue_of_unit(enum unit_dimension dimension)
{
    switch (dimension) {
    case UNIT_PRESSURE: return CLUE_PRESSURE;
    case UNIT_TEMPERATURE: return CLUE_TEMPERATURE;
    case UNIT_CONDUCTIVITY: return CLUE_CONDUCTIVITY;
    case UNIT_SALINITY: return CLUE_SALINITY;
    case UNIT_VOLTAGE: return CLUE_BATTERY;
    default: return 0;
    }
}

static void add_row(struct arena *arena, struct evidence_set *set, const struct shape *shape,
                    struct evidence *const *columns, const struct row *row, size_t file, bool is_sampled)
{
    set->rows++;
    if (!is_sampled)
        return;
    struct cell a = row_cell(row, shape->time_cells[0]);
    struct time_sample *sample = &set->times[set->time_count++];
    *sample = (struct time_sample){.file = file};
    if (shape->time_cell_count == 2 && a.kind == CELL_TEXT) {
        struct cell b = row_cell(row, shape->time_cells[1]);
        sample->text = b.kind == CELL_TEXT && a.length + b.length < LONGEST_JOINED
                           ? arena_printf(arena, "%.*s %.*s", (int)a.length, a.text, (int)b.length, b.text)
                           : NULL;
    } else if (a.kind == CELL_TEXT) {
        sample->text = cell_copy(a, arena);
    }
    for (uint32_t i = 0; i < row->count; i++)
        if (columns[i] && row->cells[i].length > 0)
            add_cell(arena, columns[i], row->cells[i]);
}

static void add_cell(struct arena *arena, struct evidence *column, struct cell cell)
{
    double value;
    column->filled++;
    column->civil += cell.kind == CELL_CIVIL || cell.kind == CELL_TIME;
    column->percent += cell.kind == CELL_PERCENT;
    bool has_point = cell_number(cell, '.', &value), has_comma = !has_point && cell_number(cell, ',', &value);
    if (cell.kind == CELL_CIVIL || cell.kind == CELL_TIME || !(has_point || has_comma)) {
        add_word(arena, column, cell);
        return;
    }
    column->with_point += cell.kind == CELL_TEXT && has_point && memchr(cell.text, '.', cell.length);
    column->with_comma += has_comma;
    if (column->numbers < SHAPE_MOST_SAMPLES)
        column->values[column->numbers] = value;
    column->numbers++;
}

static void add_word(struct arena *arena, struct evidence *column, struct cell cell)
{
    for (size_t i = 0; i < column->word_count; i++) {
        if (cell_is(cell, column->words[i].text)) {
            column->words[i].count++;
            return;
        }
    }
    if (column->word_count == SHAPE_MOST_WORDS || cell.length > LONGEST_WORD) {
        column->has_more_words = true;
        return;
    }
    column->words[column->word_count++] = (struct seen_word){cell_copy(cell, arena), 1};
}

static size_t count_digits(struct cell cell)
{
    size_t digits = 0;
    for (size_t i = 0; i < cell.length; i++)
        digits += cell.text[i] >= '0' && cell.text[i] <= '9';
    return digits;
}

static int compare_numbers(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}
