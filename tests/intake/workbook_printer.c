/* SPDX-License-Identifier: MIT */
/* Prints what is read of a workbook, for test_workbooks.py: each sheet, then each filled cell as row, column, kind and
 * text, with tabs between; or the error. usage: workbook_printer FILE */
#include "base/file.h"
#include "intake/source.h"

#include <stdio.h>
#include <stdlib.h>

static bool print_sheet(struct table *table, struct error *error)
{
    static const char *const kinds[] = {[CELL_TEXT] = "text",
                                        [CELL_NUMBER] = "number",
                                        [CELL_PERCENT] = "percent",
                                        [CELL_CIVIL] = "civil",
                                        [CELL_TIME] = "time"};
    struct row row;
    enum table_step step;
    while ((step = table_next(table, &row, error)) == TABLE_ROW)
        for (uint32_t i = 0; i < row.count; i++)
            if (row.cells[i].length > 0)
                printf("%u\t%u\t%s\t%.*s\n", row.line, i + 1, kinds[row.cells[i].kind], (int)row.cells[i].length,
                       row.cells[i].text);
    return step == TABLE_END;
}

int main(int count, char **words)
{
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length;
    struct error error = {0};
    struct source source = {0};
    if (count != 2)
        return 2;
    struct arena *arena = arena_new();
    bool is_fine = file_read(words[1], (size_t)1 << 30, &bytes, &length, &error) &&
                   source_open(arena, bytes, length, &source, &error);
    for (size_t i = 0; is_fine && i < source.book.sheet_count; i++) {
        const struct xlsx_sheet *sheet = &source.book.sheets[i];
        struct table table;
        printf("sheet\t%s\t%s\n", sheet->name, sheet->is_hidden ? "hidden" : "visible");
        source_open_sheet(arena, &source, sheet, "", &table);
        is_fine = print_sheet(&table, &error);
    }
    if (!is_fine)
        printf("error\t%s\n", error.text);
    source_close(&source);
    arena_free(arena);
    return 0;
}
