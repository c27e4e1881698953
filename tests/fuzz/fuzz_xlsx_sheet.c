/* SPDX-License-Identifier: MIT */
/* Any bytes as the XML of a sheet, in a sound workbook. Rows ascend, cells stay within their limits and their kinds
 * hold what they promise, and reading again after a rewind gives the same. */
#include "intake/clock.h"
#include "intake/source.h"
#include "support/workbook.h"

#include <stdint.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check_cell(struct cell cell)
{
    double number;
    struct clock_reading reading;
    int64_t of_day;
    if ((cell.kind == CELL_NUMBER || cell.kind == CELL_PERCENT) && !cell_number(cell, ',', &number))
        abort();
    if (cell.kind == CELL_CIVIL && !clock_read_civil(cell.text, cell.length, &reading))
        abort();
    if (cell.kind == CELL_TIME && !clock_read_time_of_day(cell.text, cell.length, &of_day))
        abort();
}

static uint64_t walk(struct table *table)
{
    struct row row;
    struct error error = {0};
    uint64_t sum = 14695981039346656037u;
    uint32_t line = 0;
    enum table_step step;
    while ((step = table_next(table, &row, &error)) == TABLE_ROW) {
        if (row.line <= line || row.count == 0 || row.count > TABLE_MOST_CELLS)
            abort();
        line = row.line;
        for (uint32_t i = 0; i < row.count; i++) {
            check_cell(row.cells[i]);
            for (uint32_t k = 0; k < row.cells[i].length; k++)
                sum = (sum ^ (unsigned char)row.cells[i].text[k]) * 1099511628211u;
        }
    }
    if (step == TABLE_FAILED && error.kind != ERROR_INPUT)
        abort();
    return sum + line;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct arena *arena = arena_new();
    size_t length;
    struct source source;
    struct table table;
    struct error error;
    if (size == 0)
        return arena_free(arena), 0;
    char *bytes = workbook_of_sheet(arena, (const char *)data, size, &length);
    if (!source_open(arena, bytes, length, &source, &error))
        abort();
    source_open_sheet(arena, &source, &source.book.sheets[0], "#", &table);
    uint64_t first = walk(&table);
    table_rewind(&table);
    if (walk(&table) != first)
        abort();
    source_close(&source);
    arena_free(arena);
    return 0;
}
