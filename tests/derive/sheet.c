/* SPDX-License-Identifier: MIT */
#include "derive/sheet.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static size_t split(char *line, char **cells);

struct sheet *sheet_open(const char *path_below_data)
{
    char path[4096];
    const char *folder = getenv("RILLWARD_OPEN_DATA");
    snprintf(path, sizeof path, "%s%s/%s", folder ? folder : RILLWARD_SOURCE_ROOT, folder ? "" : "/../shared/data",
             path_below_data);
    FILE *file = fopen(path, "r");
    if (!file)
        cr_skip_test("skipped, no open data");
    struct sheet *sheet = calloc(1, sizeof *sheet);
    cr_assert_not_null(sheet);
    sheet->file = file;
    cr_assert_not_null(fgets(sheet->header, sizeof sheet->header, file), "'%s' is empty", path);
    sheet->column_count = split(sheet->header, sheet->names);
    return sheet;
}

bool sheet_next(struct sheet *sheet)
{
    if (!fgets(sheet->line, sizeof sheet->line, sheet->file))
        return false;
    cr_assert_eq(split(sheet->line, sheet->cells), sheet->column_count, "a row has another number of cells");
    return true;
}

void sheet_close(struct sheet *sheet)
{
    fclose(sheet->file);
    free(sheet);
}

const char *sheet_text(const struct sheet *sheet, const char *column)
{
    for (size_t i = 0; i < sheet->column_count; i++)
        if (strcmp(sheet->names[i], column) == 0)
            return sheet->cells[i];
    cr_assert_fail("no column '%s'", column);
    return "";
}

double sheet_number(const struct sheet *sheet, const char *column)
{
    const char *text = sheet_text(sheet, column);
    char *end;
    double value = strtod(text, &end);
    return end != text && *end == '\0' ? value : NAN;
}

int64_t sheet_time(const struct sheet *sheet, const char *column, int64_t offset)
{
    struct civil civil = {0};
    const char *text = sheet_text(sheet, column);
    int n = sscanf(text, "%d-%d-%d%*[T ]%d:%d:%d", &civil.year, &civil.month, &civil.day, &civil.hour, &civil.minute,
                   &civil.second);
    cr_assert_geq(n, 5, "'%s' is no time", text);
    return timestamp_from_civil(&civil) - offset;
}

static size_t split(char *line, char **cells)
{
    size_t count = 0;
    line[strcspn(line, "\r\n")] = '\0';
    for (char *cell; (cell = strsep(&line, ",")) != NULL; count++) {
        cr_assert_lt(count, (size_t)SHEET_COLUMNS);
        cells[count] = cell;
    }
    return count;
}
