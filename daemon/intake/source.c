/* SPDX-License-Identifier: MIT */
#include "intake/source.h"

#include <string.h>

struct open_sheet {
    struct table table;
    struct open_sheet *next;
};

bool source_open(struct arena *arena, const char *bytes, size_t length, struct source *ret, struct error *error)
{
    *ret = (struct source){0};
    if (length == 0)
        return fail(error, ERROR_INPUT, "the file is empty");
    const char *foreign = encoding_foreign(bytes, length);
    if (foreign)
        return fail(error, ERROR_INPUT, "it is %s", foreign);
    if (xlsx_begins(bytes, length))
        return xlsx_book_open(arena, bytes, length, &ret->book, error);
    if (!encoding_decode(arena, bytes, length, &ret->text, error))
        return false;
    return ret->text.length > 0 || fail(error, ERROR_INPUT, "the file is empty");
}

void source_close(struct source *source)
{
    for (struct open_sheet *sheet = source->sheets; sheet; sheet = sheet->next)
        xlsx_close(&sheet->table);
    source->sheets = NULL;
    xlsx_book_close(&source->book);
}

void source_open_sheet(struct arena *arena, struct source *source, const struct xlsx_sheet *sheet, const char *comment,
                       struct table *ret)
{
    struct open_sheet *open = arena_alloc(arena, sizeof *open);
    xlsx_open(&source->book, sheet, comment, &open->table);
    open->next = source->sheets;
    source->sheets = open;
    *ret = open->table;
}

bool head_read(struct arena *arena, struct table *table, struct head *ret, struct error *error)
{
    enum table_step step = TABLE_END;
    struct row row;
    *ret = (struct head){.rows = arena_array(arena, HEAD_ROWS, sizeof *ret->rows)};
    while (ret->count < HEAD_ROWS && (step = table_next(table, &row, error)) == TABLE_ROW) {
        struct cell *cells = arena_array(arena, row.count, sizeof *cells);
        if (row.count > 0)
            memcpy(cells, row.cells, row.count * sizeof *cells);
        for (size_t i = 0; table->moves_text && i < row.count; i++)
            cells[i].text = cell_copy(cells[i], arena);
        row.cells = cells;
        ret->rows[ret->count++] = row;
    }
    table_rewind(table);
    return step != TABLE_FAILED;
}
