/* SPDX-License-Identifier: MIT */
/* Makes a workbook by a writer that is not ours, for test_workbooks.py. usage: workbook_maker FILE [constant-memory] */
#include <xlsxwriter.h>

static void add_readings(lxw_workbook *book, const char *name)
{
    lxw_worksheet *sheet = workbook_add_worksheet(book, name);
    lxw_format *when = workbook_add_format(book), *day = workbook_add_format(book), *clock = workbook_add_format(book),
               *percent = workbook_add_format(book);
    format_set_num_format(when, "yyyy-mm-dd hh:mm:ss");
    format_set_num_format(day, "[$-407]d. mmm yyyy");
    format_set_num_format_index(clock, 20);
    format_set_num_format(percent, "0.0%");
    const char *headers[] = {"When", "Day", "Clock", "Temp (°C)", "DO (% sat)", "Remark", "Sum"};
    for (lxw_col_t i = 0; i < 7; i++)
        worksheet_write_string(sheet, 1, i, headers[i], NULL);
    for (lxw_row_t i = 0; i < 500; i++) {
        lxw_datetime time = {2026, 4, 1 + (int)i / 288, (int)i / 12 % 24, (int)i % 12 * 5, 0};
        worksheet_write_datetime(sheet, i + 2, 0, &time, when);
        worksheet_write_number(sheet, i + 2, 1, 46113 + i / 288, day);
        worksheet_write_number(sheet, i + 2, 2, i % 288 / 288.0, clock);
        worksheet_write_number(sheet, i + 2, 3, 10 + i * 0.01, NULL);
        worksheet_write_number(sheet, i + 2, 4, 0.9 + i * 0.0001, percent);
        if (i % 100 == 0)
            worksheet_write_string(sheet, i + 2, 5, i % 200 ? "mount leans & \"moves\" <2 cm>" : "  wiped \xC2\xA0 ",
                                   NULL);
        worksheet_write_formula_num(sheet, i + 2, 6, "=D3*2", NULL, 20 + i * 0.02);
    }
    worksheet_write_boolean(sheet, 600, 0, 1, NULL);
    worksheet_write_blank(sheet, 700, 0, when);
}

int main(int count, char **words)
{
    if (count < 2)
        return 2;
    lxw_workbook_options options = {.constant_memory = count > 2};
    lxw_workbook *book = workbook_new_opt(words[1], &options);
    add_readings(book, "Readings");
    lxw_worksheet *notes = workbook_add_worksheet(book, "Notes & more");
    worksheet_write_string(notes, 0, 0, "Site", NULL);
    worksheet_hide(workbook_add_worksheet(book, "Hidden"));
    return workbook_close(book) == LXW_NO_ERROR ? 0 : 1;
}
