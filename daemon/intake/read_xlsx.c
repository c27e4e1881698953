/* SPDX-License-Identifier: MIT */
#include "intake/read_xlsx.h"

#include "base/text.h"

#include <stdlib.h>
#include <string.h>

enum cell_type { TYPE_NUMBER, TYPE_SHARED, TYPE_TEXT, TYPE_BOOLEAN, TYPE_ERROR, TYPE_DATE };

struct sheet {
    struct xlsx_book *book;
    const struct xlsx_sheet *about;
    const char *comment;
    struct part *part; /* NULL before the first row and after the last one */

    uint32_t line;   /* of the row in hand, 0 before the first */
    uint32_t column; /* behind the last cell of the row */
    uint32_t filled; /* behind the last cell of the row that holds something */
    bool is_in_data, is_in_row, is_in_cell, is_in_value, is_in_phonetic;

    enum cell_type type;
    enum xlsx_style style;
    struct text value; /* of the cell in hand */

    struct text texts; /* of the row's cells, but for shared ones */
    struct cell cells[TABLE_MOST_CELLS];
    uint32_t offsets[TABLE_MOST_CELLS]; /* in texts; OUTSIDE where the cell's text stands elsewhere */
};

#define OUTSIDE UINT32_MAX
enum { LONGEST_CELL = 32 * 1024 * 4 /* 32,767 characters are the most that a cell holds */ };

static enum table_step next_row(struct table *table, struct row *ret, struct error *error);
static void rewind_rows(struct table *table);
static void give_row(struct sheet *sheet, struct row *ret);
static void start_element(struct part *part, const char *name, const char **attributes);
static void start_row(struct part *part, struct sheet *sheet, const char **attributes);
static void start_cell(struct part *part, struct sheet *sheet, const char **attributes);
static void end_element(struct part *part, const char *name);
static void end_cell(struct part *part, struct sheet *sheet);
static struct cell make_cell(struct part *part, struct sheet *sheet, char scratch[XLSX_VALUE_SIZE]);
static void add_text(struct part *part, const char *text, size_t length);
static enum cell_type type_of(const char *word);

void xlsx_open(struct xlsx_book *book, const struct xlsx_sheet *sheet, const char *comment, struct table *ret)
{
    struct sheet *reader = x_alloc(sizeof *reader);
    reader->book = book;
    reader->about = sheet;
    reader->comment = comment;
    text_init(&reader->value, LONGEST_CELL);
    text_init(&reader->texts, TABLE_LONGEST_ROW);
    *ret = (struct table){.next = next_row, .rewind = rewind_rows, .reader = reader, .moves_text = true};
}

void xlsx_close(struct table *table)
{
    struct sheet *sheet = table->reader;
    rewind_rows(table);
    text_done(&sheet->value);
    text_done(&sheet->texts);
    free(sheet);
    table->reader = NULL;
}

static enum table_step next_row(struct table *table, struct row *ret, struct error *error)
{
    static const struct part_handler handler = {.start = start_element, .end = end_element, .text = add_text};
    struct sheet *sheet = table->reader;
    if (!sheet->part)
        sheet->part = part_open(sheet->book->package, sheet->about->part, XLSX_MOST_SHEET_PART, &handler, sheet, error);
    enum part_step step = sheet->part ? part_read(sheet->part, error) : PART_FAILED;
    if (step == PART_FAILED) {
        char name[128];
        text_make_visible(sheet->about->name, name, sizeof name);
        within(error, "sheet '%s'", name);
        return TABLE_FAILED;
    }
    if (step == PART_END)
        return TABLE_END;
    give_row(sheet, ret);
    return TABLE_ROW;
}

static void rewind_rows(struct table *table)
{
    struct sheet *sheet = table->reader;
    part_close(sheet->part);
    sheet->part = NULL;
    sheet->line = 0;
    sheet->is_in_data = sheet->is_in_row = sheet->is_in_cell = sheet->is_in_value = sheet->is_in_phonetic = false;
}

static void give_row(struct sheet *sheet, struct row *ret)
{
    for (uint32_t i = 0; i < sheet->filled; i++)
        if (sheet->offsets[i] != OUTSIDE)
            sheet->cells[i].text = sheet->texts.bytes + sheet->offsets[i];
    *ret = (struct row){.line = sheet->line, .count = sheet->filled, .cells = sheet->cells};
    size_t mark = strlen(sheet->comment);
    struct cell *first = &sheet->cells[0];
    if (mark > 0 && first->length >= mark && memcmp(first->text, sheet->comment, mark) == 0) {
        *first = cell_trim(first->text + mark, first->length - mark);
        ret->is_comment = true;
    }
}

static void start_element(struct part *part, const char *name, const char **attributes)
{
    struct sheet *sheet = part_context(part);
    if (strcmp(name, "sheetData") == 0)
        sheet->is_in_data = true;
    else if (sheet->is_in_data && !sheet->is_in_row && strcmp(name, "row") == 0)
        start_row(part, sheet, attributes);
    else if (sheet->is_in_row && !sheet->is_in_cell && strcmp(name, "c") == 0)
        start_cell(part, sheet, attributes);
    else if (sheet->is_in_cell && strcmp(name, "rPh") == 0)
        sheet->is_in_phonetic = true;
    else if (sheet->is_in_cell && !sheet->is_in_phonetic && (strcmp(name, "v") == 0 || strcmp(name, "t") == 0))
        sheet->is_in_value = true;
}

static void start_row(struct part *part, struct sheet *sheet, const char **attributes)
{
    const char *number = part_attribute(attributes, "r");
    int64_t line = sheet->line + 1;
    bool is_sound = !number || text_parse_integer(number, strlen(number), &line);
    if (!is_sound || line <= sheet->line || line > XLSX_LAST_ROW) {
        part_fail(part, "a row behind row %u is numbered '%.20s': the workbook is damaged; save it again", sheet->line,
                  number ? number : "");
        return;
    }
    sheet->line = (uint32_t)line;
    sheet->column = sheet->filled = 0;
    sheet->is_in_row = true;
    text_clear(&sheet->texts);
}

static void start_cell(struct part *part, struct sheet *sheet, const char **attributes)
{
    const char *reference = part_attribute(attributes, "r"), *style = part_attribute(attributes, "s");
    uint32_t column = reference ? xlsx_column(reference) : sheet->column;
    int64_t format = 0;
    if (column == UINT32_MAX || column < sheet->column) {
        part_fail(part, "row %u: a cell is named '%.20s': the workbook is damaged; save it again", sheet->line,
                  reference ? reference : "");
        return;
    }
    for (; sheet->column < column && sheet->column < TABLE_MOST_CELLS; sheet->column++) {
        sheet->cells[sheet->column] = cell_from("");
        sheet->offsets[sheet->column] = OUTSIDE;
    }
    sheet->column = column;
    bool has_format = style && text_parse_integer(style, strlen(style), &format) && format >= 0 &&
                      (size_t)format < sheet->book->style_count;
    sheet->style = has_format ? (enum xlsx_style)sheet->book->styles[format] : XLSX_PLAIN;
    sheet->type = type_of(part_attribute(attributes, "t"));
    sheet->is_in_cell = true;
    text_clear(&sheet->value);
}

static void end_element(struct part *part, const char *name)
{
    struct sheet *sheet = part_context(part);
    if (strcmp(name, "sheetData") == 0) {
        sheet->is_in_data = false;
    } else if (sheet->is_in_cell && strcmp(name, "rPh") == 0) {
        sheet->is_in_phonetic = false;
    } else if (sheet->is_in_cell && (strcmp(name, "v") == 0 || strcmp(name, "t") == 0)) {
        sheet->is_in_value = false;
    } else if (sheet->is_in_cell && strcmp(name, "c") == 0) {
        sheet->is_in_cell = false;
        end_cell(part, sheet);
    } else if (sheet->is_in_row && strcmp(name, "row") == 0) {
        sheet->is_in_row = false;
        if (sheet->filled > 0)
            part_pause(part);
    }
}

static void end_cell(struct part *part, struct sheet *sheet)
{
    char scratch[XLSX_VALUE_SIZE];
    if (sheet->value.is_full) {
        part_fail(part, "row %u has a cell of more than 32,767 characters: no table that can be read", sheet->line);
        return;
    }
    struct cell cell = sheet->value.length > 0 ? make_cell(part, sheet, scratch) : cell_from("");
    uint32_t column = sheet->column++;
    if (column >= TABLE_MOST_CELLS) {
        if (cell.length > 0)
            part_fail(part, "row %u has more than %d cells: no table that can be read", sheet->line, TABLE_MOST_CELLS);
        return;
    }
    sheet->cells[column] = cell;
    sheet->offsets[column] = OUTSIDE;
    if (cell.length == 0)
        return;
    sheet->filled = column + 1;
    if (sheet->type == TYPE_SHARED || sheet->type == TYPE_BOOLEAN)
        return;
    sheet->offsets[column] = (uint32_t)sheet->texts.length;
    text_add(&sheet->texts, cell.text, cell.length);
    if (sheet->texts.is_full)
        part_fail(part, "row %u is longer than %d KiB: no table that can be read", sheet->line,
                  TABLE_LONGEST_ROW / 1024);
}

/* Text of a shared cell and of a boolean stays where it is; that of others is in the value or the scratch. */
static struct cell make_cell(struct part *part, struct sheet *sheet, char scratch[XLSX_VALUE_SIZE])
{
    struct xlsx_book *book = sheet->book;
    char *text = sheet->value.bytes;
    struct cell trimmed = cell_trim(text, sheet->value.length);
    int64_t index;
    switch (sheet->type) {
    case TYPE_NUMBER: return xlsx_number(trimmed.text, trimmed.length, sheet->style, book->is_1904, scratch);
    case TYPE_DATE: return xlsx_iso(trimmed.text, trimmed.length, scratch);
    case TYPE_BOOLEAN: return cell_from(cell_is(trimmed, "1") || cell_is(trimmed, "true") ? "TRUE" : "FALSE");
    case TYPE_ERROR: return trimmed;
    case TYPE_TEXT: return cell_trim(text, xlsx_unescape(text, sheet->value.length));
    case TYPE_SHARED: break;
    }
    if (text_parse_integer(trimmed.text, trimmed.length, &index) && index >= 0 && (size_t)index < book->string_count)
        return book->strings[index];
    part_fail(part, "row %u: a cell names text number '%.20s', which the workbook lacks: save it again", sheet->line,
              text);
    return cell_from("");
}

static void add_text(struct part *part, const char *text, size_t length)
{
    struct sheet *sheet = part_context(part);
    if (sheet->is_in_value)
        text_add(&sheet->value, text, length);
}

static enum cell_type type_of(const char *word)
{
    static const struct {
        const char *word;
        enum cell_type type;
    } types[] = {{"s", TYPE_SHARED},  {"str", TYPE_TEXT}, {"inlineStr", TYPE_TEXT},
                 {"b", TYPE_BOOLEAN}, {"e", TYPE_ERROR},  {"d", TYPE_DATE}};
    for (size_t i = 0; word && i < COUNT_OF(types); i++)
        if (strcmp(types[i].word, word) == 0)
            return types[i].type;
    return TYPE_NUMBER;
}
