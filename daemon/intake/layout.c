/* SPDX-License-Identifier: MIT */
#include "intake/layout.h"

#include "base/text.h"
#include "intake/header.h"
#include "intake/read_csv.h"

#include <stdio.h>
#include <string.h>

#define DRAFT_CURE "add a layout for this file ('rillward layout FILE' drafts one)"

#define UNBOUND UINT32_MAX
enum { REASON_SIZE = 640 };

/* A file split one way; layouts that share the dialect share it. */
struct split {
    struct csv_dialect dialect;
    const struct xlsx_sheet *sheet; /* NULL in text files */
    struct table table;
    struct head head;
    struct split *next;
};

/* How far a layout came. */
struct attempt {
    size_t found;             /* headers that were found in the best row */
    uint32_t line;            /* of that row */
    char reason[REASON_SIZE]; /* what was missing */
};

struct chooser {
    struct arena *arena;
    const struct config *config;
    const char *path;
    struct source *source;
    struct split *splits;
    size_t tried; /* layouts */
    struct attempt nearest;
    const struct layout *nearest_layout;
    const struct xlsx_sheet *nearest_sheet;
    struct error head_error; /* a limit passed within the first rows, by some way of splitting */
};

static bool try_layout(struct chooser *chooser, const struct layout *layout, struct binding *best,
                       struct table *best_table, struct error *error);
static bool try_sheet(struct chooser *chooser, const struct layout *layout, const struct xlsx_sheet *sheet,
                      struct binding *ret, struct table *ret_table);
static bool fail_both(const struct binding *a, const struct binding *b, struct error *error);
static bool paths_fit(const struct layout *layout, const char *path);
static const struct split *split_for(struct chooser *chooser, const struct layout *layout,
                                     const struct xlsx_sheet *sheet);
static bool find_header(struct chooser *chooser, const struct layout *layout, const struct head *head,
                        struct binding *ret, struct attempt *ret_attempt);
static size_t count_found(const struct layout *layout, const struct row *row, const char **ret_missing);
static bool has_fit(const struct row *row, const char *pattern);
static bool bind_row(struct arena *arena, const struct layout *layout, const struct row *row, struct binding *ret,
                     char reason[REASON_SIZE]);
static bool take_cells(const struct row *row, const char *pattern, enum header_fit level, bool *is_taken,
                       uint32_t *cell, char reason[REASON_SIZE]);
static bool resolve_units(struct binding *binding, struct error *error);
static bool resolve_unit(const struct binding *binding, struct bound_column *bound, struct error *error);
static bool are_same(const struct unit *a, const struct unit *b);
static enum unit_dimension wanted_dimension(const struct column *column);
static const char *in_sheet(struct arena *arena, const char *name);
static bool fail_none(const struct chooser *chooser, struct error *error);

bool layout_check(const struct layout *layout, struct error *error)
{
    struct clock_format format;
    return clock_format_parse(layout->time_format, &format, error);
}

bool layout_choose(struct arena *arena, const struct config *config, const char *path, struct source *source,
                   struct binding *ret, struct table *ret_table, struct error *error)
{
    struct chooser chooser = {.arena = arena, .config = config, .path = path, .source = source};
    *ret = (struct binding){0};
    for (size_t i = 0; i < config->layout_count; i++)
        if (!try_layout(&chooser, &config->layouts[i], ret, ret_table, error))
            return false;
    if (!ret->layout)
        return fail_none(&chooser, error);
    if (!clock_format_parse(ret->layout->time_format, &ret->format, error))
        return within(error, "layout '%s'", ret->layout->id);
    return resolve_units(ret, error);
}

bool layout_ends_open(struct arena *arena, const struct source *source)
{
    struct table table;
    if (source->book.package)
        return false;
    csv_open(arena, &source->text, &(struct csv_dialect){csv_find_delimiter(&source->text, 0, ""), ""}, &table);
    return table.ends_open;
}

/* False where it is a second one that fits. */
static bool try_layout(struct chooser *chooser, const struct layout *layout, struct binding *best,
                       struct table *best_table, struct error *error)
{
    const struct xlsx_book *book = &chooser->source->book;
    if (!paths_fit(layout, chooser->path))
        return true;
    chooser->tried++;
    for (size_t i = 0; i < (book->package ? book->sheet_count : 1); i++) {
        const struct xlsx_sheet *sheet = book->package ? &book->sheets[i] : NULL;
        struct binding binding = {0};
        struct table table;
        bool is_wanted =
            !sheet || (!sheet->is_hidden && (!layout->sheet || cell_matches(cell_from(sheet->name), layout->sheet)));
        if (!is_wanted || !try_sheet(chooser, layout, sheet, &binding, &table))
            continue;
        if (best->layout)
            return fail_both(best, &binding, error);
        *best = binding;
        *best_table = table;
    }
    return true;
}

static bool try_sheet(struct chooser *chooser, const struct layout *layout, const struct xlsx_sheet *sheet,
                      struct binding *ret, struct table *ret_table)
{
    const struct split *split = split_for(chooser, layout, sheet);
    struct attempt attempt = {0};
    *ret_table = split->table;
    if (find_header(chooser, layout, &split->head, ret, &attempt)) {
        ret->sheet = sheet ? sheet->name : NULL;
        return true;
    }
    if (!chooser->nearest_layout || attempt.found > chooser->nearest.found) {
        chooser->nearest = attempt;
        chooser->nearest_layout = layout;
        chooser->nearest_sheet = sheet;
    }
    return false;
}

static bool fail_both(const struct binding *a, const struct binding *b, struct error *error)
{
    if (a->layout != b->layout)
        return fail(error, ERROR_INPUT, "layouts '%s' and '%s' both fit%s: narrow 'files'%s of one of them",
                    a->layout->id, b->layout->id, a->sheet && a->sheet != b->sheet ? ", each another sheet" : "",
                    a->sheet ? " or 'sheet'" : "");
    return fail(error, ERROR_INPUT,
                "sheets '%s' and '%s' both fit layout '%s': set 'sheet' in the layout to one of them",
                cell_quote(cell_from(a->sheet)).text, cell_quote(cell_from(b->sheet)).text, a->layout->id);
}

static bool paths_fit(const struct layout *layout, const char *path)
{
    for (size_t i = 0; i < layout->files.count; i++)
        if (text_matches(layout->files.words[i], path, true))
            return true;
    return layout->files.count == 0;
}

static const struct split *split_for(struct chooser *chooser, const struct layout *layout,
                                     const struct xlsx_sheet *sheet)
{
    const char *comment = layout->comment ? layout->comment : "";
    const struct decoded *text = &chooser->source->text;
    char delimiter = sheet ? 0 : layout->delimiter;
    if (!sheet && !delimiter)
        delimiter = csv_find_delimiter(text, layout->decimal, comment);
    for (struct split *split = chooser->splits; split; split = split->next)
        if (split->sheet == sheet && split->dialect.delimiter == delimiter &&
            strcmp(split->dialect.comment, comment) == 0)
            return split;
    struct split *split = arena_alloc(chooser->arena, sizeof *split);
    *split = (struct split){.dialect = {delimiter, comment}, .sheet = sheet, .next = chooser->splits};
    chooser->splits = split;
    if (sheet)
        source_open_sheet(chooser->arena, chooser->source, sheet, comment, &split->table);
    else
        csv_open(chooser->arena, text, &split->dialect, &split->table);
    head_read(chooser->arena, &split->table, &split->head, &chooser->head_error);
    return split;
}

/* The first row that has all. */
static bool find_header(struct chooser *chooser, const struct layout *layout, const struct head *head,
                        struct binding *ret, struct attempt *ret_attempt)
{
    for (size_t i = 0; i < head->count; i++) {
        const struct row *row = &head->rows[i];
        const char *missing = NULL;
        if (row->is_comment || row->is_malformed)
            continue;
        size_t found = count_found(layout, row, &missing);
        if (missing && found <= ret_attempt->found && ret_attempt->reason[0])
            continue;
        struct attempt attempt = {.found = found, .line = row->line};
        if (missing) {
            snprintf(attempt.reason, sizeof attempt.reason, "no header cell matches '%s'", missing);
        } else if (bind_row(chooser->arena, layout, row, ret, attempt.reason)) {
            ret->layout = layout;
            ret->head = *head;
            ret->header_row = i;
            ret->header_line = row->line;
            return true;
        }
        if (found > ret_attempt->found || !ret_attempt->reason[0])
            *ret_attempt = attempt;
    }
    return false;
}

static size_t count_found(const struct layout *layout, const struct row *row, const char **ret_missing)
{
    size_t found = 0;
    for (size_t i = 0; i < 2 && layout->time_columns[i]; i++) {
        if (has_fit(row, layout->time_columns[i]))
            found++;
        else if (!*ret_missing)
            *ret_missing = layout->time_columns[i];
    }
    for (size_t i = 0; i < layout->column_count; i++) {
        const struct column *column = &layout->columns[i];
        if (column->is_optional)
            continue;
        if (has_fit(row, column->header))
            found++;
        else if (!*ret_missing)
            *ret_missing = column->header;
    }
    return found;
}

static bool has_fit(const struct row *row, const char *pattern)
{
    for (size_t i = 0; i < row->count; i++)
        if (header_fit(row->cells[i], pattern) != HEADER_NONE)
            return true;
    return false;
}

/* The best fits take their cells first, so that "Temp air" is not lost to "Temp*". */
static bool bind_row(struct arena *arena, const struct layout *layout, const struct row *row, struct binding *ret,
                     char reason[REASON_SIZE])
{
    bool is_taken[TABLE_MOST_CELLS] = {false};
    uint32_t *cells = arena_array(arena, layout->column_count + 2, sizeof *cells),
             *times = cells + layout->column_count;
    for (size_t i = 0; i < layout->column_count + 2; i++)
        cells[i] = UNBOUND;
    for (enum header_fit level = HEADER_EXACT; level > HEADER_NONE; level--) {
        for (size_t i = 0; i < 2 && layout->time_columns[i]; i++)
            if (!take_cells(row, layout->time_columns[i], level, is_taken, &times[i], reason))
                return false;
        for (size_t i = 0; i < layout->column_count; i++)
            if (layout->columns[i].role != COLUMN_IGNORED &&
                !take_cells(row, layout->columns[i].header, level, is_taken, &cells[i], reason))
                return false;
    }
    *ret = (struct binding){.columns = arena_array(arena, layout->column_count, sizeof *ret->columns)};
    for (size_t i = 0; i < 2 && layout->time_columns[i]; i++) {
        if (times[i] == UNBOUND) {
            snprintf(reason, REASON_SIZE, "the header cell for '%s' is taken by another column",
                     layout->time_columns[i]);
            return false;
        }
        ret->time_cells[ret->time_cell_count++] = times[i];
    }
    for (size_t i = 0; i < layout->column_count; i++) {
        const struct column *column = &layout->columns[i];
        if (cells[i] == UNBOUND && !column->is_optional && column->role != COLUMN_IGNORED) {
            snprintf(reason, REASON_SIZE, "the header cell for '%s' is taken by another column", column->header);
            return false;
        }
        if (cells[i] != UNBOUND && column->role != COLUMN_IGNORED)
            ret->columns[ret->column_count++] =
                (struct bound_column){column, cells[i], cell_copy(row->cells[cells[i]], arena), NULL};
    }
    for (uint32_t i = 0; i < row->count; i++)
        ret->cell_count = row->cells[i].length > 0 ? i + 1 : ret->cell_count;
    return true;
}

static bool take_cells(const struct row *row, const char *pattern, enum header_fit level, bool *is_taken,
                       uint32_t *cell, char reason[REASON_SIZE])
{
    if (*cell != UNBOUND)
        return true;
    for (uint32_t i = 0; i < row->count; i++) {
        if (is_taken[i] || header_fit(row->cells[i], pattern) != level)
            continue;
        if (*cell != UNBOUND) {
            snprintf(reason, REASON_SIZE, "two header cells match '%s': '%s' and '%s'; write the pattern narrower",
                     pattern, cell_quote(row->cells[*cell]).text, cell_quote(row->cells[i]).text);
            return false;
        }
        *cell = i;
    }
    if (*cell != UNBOUND)
        is_taken[*cell] = true;
    return true;
}

static bool resolve_units(struct binding *binding, struct error *error)
{
    uint32_t seen = 0;
    for (size_t i = 0; i < binding->column_count; i++) {
        struct bound_column *bound = &binding->columns[i];
        if (!resolve_unit(binding, bound, error))
            return within(error, "line %u: column '%s'", binding->header_line, bound->name);
        if (bound->column->role != COLUMN_QUANTITY)
            continue;
        if (seen >> bound->column->quantity & 1)
            return fail(error, ERROR_INPUT,
                        "line %u: column '%s' is a second '%s': set 'is: ignored' for one of them in layout '%s'",
                        binding->header_line, bound->name, quantity_info(bound->column->quantity)->key,
                        binding->layout->id);
        seen |= 1u << bound->column->quantity;
    }
    return true;
}

static bool resolve_unit(const struct binding *binding, struct bound_column *bound, struct error *error)
{
    const struct column *column = bound->column;
    enum unit_dimension dimension = wanted_dimension(column);
    bool has_dimension = dimension != UNIT_DIMENSION_COUNT;
    if (!has_dimension && column->role != COLUMN_VALUE && column->role != COLUMN_REFERENCE)
        return true;
    struct cell written;
    const struct unit *by_header = header_unit(cell_from(bound->name), &written);
    const struct unit *by_settings = column->unit ? unit_find(column->unit, strlen(column->unit)) : NULL;
    if (column->unit && !by_settings)
        return fail(error, ERROR_INPUT, "unit '%s' of layout '%s' is not known", column->unit, binding->layout->id);
    if (by_header && by_settings && !are_same(by_header, by_settings))
        return fail(error, ERROR_INPUT,
                    "the header says '%.*s', layout '%s' says '%s': correct or leave out 'unit' in the layout",
                    (int)written.length, written.text, binding->layout->id, column->unit);
    bound->unit = by_settings ? by_settings : by_header;
    if (!bound->unit && has_dimension && dimension == UNIT_SALINITY)
        bound->unit = unit_base(UNIT_SALINITY); /* a number without a unit by definition */
    if (!bound->unit)
        return column->role != COLUMN_QUANTITY ||
               fail(error, ERROR_INPUT, "no unit is given: add 'unit' to the column in layout '%s'",
                    binding->layout->id);
    if (has_dimension && bound->unit->dimension != dimension)
        return fail(error, ERROR_INPUT, "unit '%s' is a %s, but '%s' is a %s: correct 'is' or 'unit' in layout '%s'",
                    bound->unit->name, unit_dimension_name(bound->unit->dimension),
                    dimension == UNIT_LENGTH && column->role == COLUMN_NOTE ? note_kind_word(column->note_kind)
                                                                            : quantity_info(column->quantity)->key,
                    unit_dimension_name(dimension), binding->layout->id);
    return true;
}

static bool are_same(const struct unit *a, const struct unit *b)
{
    return a->dimension == b->dimension && a->scale == b->scale && a->offset == b->offset;
}

/* UNIT_DIMENSION_COUNT where the column has no values, or the rows say of what. */
static enum unit_dimension wanted_dimension(const struct column *column)
{
    bool is_note = column->role == COLUMN_NOTE;
    if (is_note && (column->note_kind == NOTE_LEVEL || column->note_kind == NOTE_TAPE_DOWN))
        return UNIT_LENGTH;
    bool is_check = is_note && (column->note_kind == NOTE_CHECK || column->note_kind == NOTE_CHECK_CLEANED ||
                                column->note_kind == NOTE_STANDARD);
    if ((column->role == COLUMN_QUANTITY || is_check) && column->quantity < QUANTITY_COUNT)
        return header_dimension(column->quantity);
    return UNIT_DIMENSION_COUNT;
}

static const char *in_sheet(struct arena *arena, const char *name)
{
    return name ? arena_printf(arena, " of sheet '%s'", cell_quote(cell_from(name)).text) : "";
}

static bool fail_none(const struct chooser *chooser, struct error *error)
{
    bool is_book = chooser->source->book.package != NULL;
    if (chooser->config->layout_count == 0)
        return fail(error, ERROR_INPUT, "no layout fits: the settings have none; " DRAFT_CURE);
    if (chooser->tried == 0)
        return fail(error, ERROR_INPUT,
                    "no layout fits: no 'files' pattern of any layout matches this path; " DRAFT_CURE);
    if (chooser->head_error.kind != ERROR_NONE)
        return fail(error, ERROR_INPUT, "no layout fits: %s", chooser->head_error.text);
    if (is_book && !chooser->nearest_layout)
        return fail(error, ERROR_INPUT,
                    "no layout fits: no sheet that is not hidden has a name that 'sheet' of a "
                    "layout matches; " DRAFT_CURE);
    if (chooser->nearest.found == 0)
        return fail(
            error, ERROR_INPUT,
            "no layout fits: none of the %zu tried finds a header that it knows in the first %d lines%s; " DRAFT_CURE,
            chooser->tried, HEAD_ROWS, is_book ? " of any sheet" : "");
    return fail(error, ERROR_INPUT, "no layout fits: layout '%s' comes nearest at line %u%s, but %s; " DRAFT_CURE,
                chooser->nearest_layout->id, chooser->nearest.line,
                in_sheet(chooser->arena, chooser->nearest_sheet ? chooser->nearest_sheet->name : NULL),
                chooser->nearest.reason);
}
