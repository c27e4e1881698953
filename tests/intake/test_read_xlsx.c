/* SPDX-License-Identifier: MIT */
/* Sheets as tables, and through the whole of intake. Files of other programs and damaged archives: test_workbooks.py.
 */
#include "settings.h"

#include "base/timestamp.h"
#include "intake/source.h"
#include "support/workbook.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

static struct arena *arena;
static struct config *config;
static struct batch batch;
static struct error error;
static struct source source;
static struct table table;

static void start(void)
{
    arena = arena_new();
    config = settings_make(arena);
    error = (struct error){0};
    source = (struct source){0};
}

static void finish(void)
{
    source_close(&source);
    arena_free(arena);
}

TestSuite(read_xlsx, .init = start, .fini = finish);

static void open_rows(const char *rows, const char *comment)
{
    size_t length;
    const char *sheet = workbook_sheet(arena, rows), *bytes = workbook_of_sheet(arena, sheet, strlen(sheet), &length);
    cr_assert(source_open(arena, bytes, length, &source, &error), "%s", error.text);
    cr_assert_eq(source.book.sheet_count, 1);
    source_open_sheet(arena, &source, &source.book.sheets[0], comment, &table);
}

/* "LINE|cell|cell" of the next row; "end" or the error. */
static const char *next(void)
{
    struct row row;
    enum table_step step = table_next(&table, &row, &error);
    if (step != TABLE_ROW)
        return step == TABLE_END ? "end" : error.text;
    char *text = arena_printf(arena, "%s%u", row.is_comment ? "#" : "", row.line);
    for (uint32_t i = 0; i < row.count; i++)
        text = arena_printf(arena, "%s|%.*s", text, (int)row.cells[i].length, row.cells[i].text);
    return text;
}

static bool take_rows(const char *rows)
{
    size_t length;
    const char *sheet = workbook_sheet(arena, rows), *bytes = workbook_of_sheet(arena, sheet, strlen(sheet), &length);
    error = (struct error){0};
    return intake_read(arena, config, "heron.xlsx", bytes, length, settings_now(), false, &batch, &error);
}

#define HEADER                                                                                                         \
    "<row r=\"1\"><c r=\"A1\" t=\"s\"><v>0</v></c><c r=\"B1\" t=\"s\"><v>1</v></c><c r=\"C1\" "                        \
    "t=\"s\"><v>2</v></c></row>"

Test(read_xlsx, gives_rows_and_cells_where_some_are_left_out)
{
    open_rows("<row r=\"3\"><c r=\"B3\"><v>1</v></c><c r=\"D3\" t=\"inlineStr\"><is><t> a b </t></is></c></row>"
              "<row><c><v>2</v></c><c s=\"1\"/></row><row r=\"9\" hidden=\"1\"><c t=\"b\"><v>1</v></c></row>",
              "");
    cr_expect_str_eq(next(), "3||1||a b");
    cr_expect_str_eq(next(), "4|2");
    cr_expect_str_eq(next(), "9|TRUE");
    cr_expect_str_eq(next(), "end");
    cr_expect_str_eq(next(), "end");
    table_rewind(&table);
    cr_expect_str_eq(next(), "3||1||a b");
}

Test(read_xlsx, joins_rich_text_and_leaves_out_reading_aids)
{
    open_rows(
        "<row><c t=\"s\"><v>1</v></c><c t=\"s\"><v>2</v></c><c t=\"inlineStr\"><is><r><t>x</t></r><r><t>_x0041_</t>"
        "</r><rPh sb=\"0\" eb=\"1\"><t>no</t></rPh></is></c><c t=\"str\"><f>A1&amp;\"v\"</f><v>y</v></c></row>",
        "");
    cr_expect_str_eq(next(), "1|Temp (C)|DO (mg/L)|xA|y");
}

Test(read_xlsx, passes_over_rows_that_are_only_formatted)
{
    open_rows("<row r=\"1\"><c r=\"A1\" s=\"1\"/></row><row r=\"2\"/><row "
              "r=\"1048576\"><c><f>1+1</f></c><c><v>5</v></c></row>",
              "");
    cr_expect_str_eq(next(), "1048576||5");
}

Test(read_xlsx, knows_comments)
{
    open_rows("<row><c t=\"inlineStr\"><is><t># Serial</t></is></c><c><v>20417</v></c></row>", "#");
    cr_expect_str_eq(next(), "#1|Serial|20417");
}

Test(read_xlsx, passes_over_foreign_elements)
{
    open_rows("<row><c xmlns:x=\"urn:x\"><x:v>7</x:v><v>1</v><x:b><v>8</v></x:b></c></row>", "");
    cr_expect_str_eq(next(), "1|1");
}

static void expect_damage(const char *rows, const char *expected)
{
    open_rows(rows, "");
    const char *text = next();
    while (*text >= '0' && *text <= '9')
        text = next();
    cr_expect_str_eq(text, expected);
    source_close(&source);
}

Test(read_xlsx, refuses_rows_and_cells_out_of_order)
{
    expect_damage("<row r=\"2\"><c><v>1</v></c></row><row r=\"2\"><c><v>1</v></c></row>",
                  "sheet 'Data': a row behind row 2 is numbered '2': the workbook is damaged; save it again");
    expect_damage("<row r=\"1048577\"/>",
                  "sheet 'Data': a row behind row 0 is numbered '1048577': the workbook is damaged; save it again");
    expect_damage("<row><c r=\"B1\"><v>1</v></c><c r=\"A1\"><v>1</v></c></row>",
                  "sheet 'Data': row 1: a cell is named 'A1': the workbook is damaged; save it again");
    expect_damage("<row><c r=\"XFE1\"/></row>",
                  "sheet 'Data': row 1: a cell is named 'XFE1': the workbook is damaged; save it again");
    expect_damage("<row><c t=\"s\"><v>3</v></c></row>",
                  "sheet 'Data': row 1: a cell names text number '3', which the workbook lacks: save it again");
    expect_damage("<row><c t=\"s\"><v>-1</v></c></row>",
                  "sheet 'Data': row 1: a cell names text number '-1', which the workbook lacks: save it again");
}

Test(read_xlsx, refuses_more_than_a_table_holds)
{
    expect_damage("<row><c r=\"SS1\"><v>1</v></c></row>",
                  "sheet 'Data': row 1 has more than 512 cells: no table that can be read");
    open_rows("<row><c r=\"SS1\" s=\"1\"/><c r=\"ST1\"/></row><row><c r=\"SR2\"><v>1</v></c></row>", "");
    struct row row;
    cr_assert_eq(table_next(&table, &row, &error), TABLE_ROW);
    cr_expect_eq(row.count, 512);
    source_close(&source);
    char *long_text = arena_alloc(arena, 40001);
    memset(long_text, 'x', 40000);
    expect_damage(
        arena_printf(arena, "<row><c t=\"str\"><v>%s</v></c><c t=\"str\"><v>%s</v></c></row>", long_text, long_text),
        "sheet 'Data': row 1 is longer than 64 KiB: no table that can be read");
}

Test(read_xlsx, refuses_a_doctype_and_deep_nesting)
{
    size_t length;
    const char *sheet = "<!DOCTYPE a [<!ENTITY b \"c\">]><worksheet/>";
    const char *bytes = workbook_of_sheet(arena, sheet, strlen(sheet), &length);
    cr_assert(source_open(arena, bytes, length, &source, &error));
    source_open_sheet(arena, &source, &source.book.sheets[0], "", &table);
    cr_expect_str_eq(next(), "sheet 'Data': the workbook's part 'xl/worksheets/sheet1.xml' has a DOCTYPE, which no "
                             "workbook has: save the sheet as CSV");
    source_close(&source);
    struct text deep;
    text_init(&deep, 4096);
    for (int i = 0; i < 70; i++)
        text_puts(&deep, "<a>");
    expect_damage(deep.bytes, "sheet 'Data': the workbook's part 'xl/worksheets/sheet1.xml' has elements nested more "
                              "than 64 deep: save it again");
    text_done(&deep);
}

Test(read_xlsx, reads_date_cells_whatever_the_format_is)
{
    settings_layout(config, "sonde")->time_format = "DD.MM.YY h:mm AM";
    cr_assert(take_rows(HEADER "<row><c s=\"1\"><v>46118.576388888891</v></c><c><v>5.1</v></c><c><v>9</v></c></row>"
                               "<row><c t=\"d\"><v>2026-04-06T13:55:00</v></c><c><v>5.2</v></c><c><v>9.1</v></c></row>"
                               "<row><c t=\"inlineStr\"><is><t>06.04.26 2:00 PM</t></is></c><c><v>5.3</v></c></row>"),
              "%s", error.text);
    cr_assert_eq(batch.readings.n, 3, "%s", batch.complaint_count ? batch.complaints[0].text : "");
    cr_expect_eq(batch.readings.time[0], settings_time("2026-04-06T21:50:00Z"));
    cr_expect_eq(batch.readings.time[1], settings_time("2026-04-06T21:55:00Z"));
    cr_expect_eq(batch.readings.time[2], settings_time("2026-04-06T22:00:00Z"));
    cr_expect_eq(batch.readings.line[0], 2);
    cr_expect_float_eq(batch.readings.value[QUANTITY_TEMPERATURE][1], 5.2, 1e-12);
    cr_assert_eq(batch.complaint_total, 1);
    cr_expect_str_eq(batch.complaints[0].text,
                     "line 4: the time is text, but in line 2 it is a date: the spreadsheet may have swapped day and "
                     "month where it made dates; compare with the source");
}

static void expect_two_cells(const char *date, const char *time, const char *format, const char *expected)
{
    struct layout *layout = settings_layout(config, "sonde");
    layout->time_columns[1] = "DO (mg/L)";
    layout->time_format = format;
    layout->column_count = 1;
    cr_assert(take_rows(arena_printf(arena, HEADER "<row>%s<c><v>5</v></c>%s</row>", date, time)), "%s", error.text);
    cr_assert_eq(batch.readings.n, 1);
    cr_expect_eq(batch.readings.time[0], settings_time(expected));
}

#define TEXT_CELL(text) "<c t=\"str\"><v>" text "</v></c>"

Test(read_xlsx, joins_date_and_time_of_two_cells)
{
    const char *at = "2026-04-06T21:50:00Z", *day = "<c s=\"2\"><v>46118</v></c>",
               *time = "<c s=\"3\"><v>0.57638888888888884</v></c>";
    expect_two_cells(day, time, "D/M/YYYY h:mm", at);
    expect_two_cells(time, day, "h:mm D/M/YYYY", at);
    expect_two_cells(day, TEXT_CELL("1:50 PM"), "D/M/YYYY h:mm", at);
    expect_two_cells(day, "<c s=\"3\"><v>46118.576388888891</v></c>", "D/M/YYYY h:mm", at);
    expect_two_cells(TEXT_CELL("6/4/2026"), time, "D/M/YYYY h:mm", at);
    expect_two_cells(TEXT_CELL("04/06/2026"), time, "MM/DD/YYYY hh:mm:ss AM", at);
    expect_two_cells(time, TEXT_CELL("6 Apr 2026"), "hh:mm D MON YYYY", at);
}

Test(read_xlsx, complains_about_cells_of_another_kind)
{
    cr_assert(take_rows(HEADER "<row><c s=\"1\"><v>46118.5</v></c><c t=\"e\"><v>#N/A</v></c><c><v>9</v></c></row>"
                               "<row><c s=\"1\"><v>46118.6</v></c><c s=\"4\"><v>0.05</v></c><c><v>9</v></c></row>"
                               "<row><c s=\"1\"><v>46118.7</v></c><c s=\"2\"><v>46118</v></c><c><v>9</v></c></row>"
                               "<row><c><v>46118.8</v></c><c><v>5</v></c><c><v>9</v></c></row>"));
    cr_assert_eq(batch.readings.n, 3);
    cr_expect(isnan(batch.readings.value[QUANTITY_TEMPERATURE][0]));
    cr_expect(batch.readings.unread[0] >> QUANTITY_TEMPERATURE & 1);
    cr_assert_eq(batch.complaint_count, 4);
    cr_expect_str_eq(batch.complaints[0].text,
                     "line 2: column 'Temp (C)': '#N/A' is no number: correct it, or add it to "
                     "'missing' in layout 'sonde'");
    cr_expect_str_eq(batch.complaints[1].text, "line 3: column 'Temp (C)': '5' is a percentage in the workbook, which "
                                               "the column does not hold: correct the cell");
    cr_expect_str_eq(batch.complaints[2].text,
                     "line 4: column 'Temp (C)': '2026-04-06' is a date in the workbook, which "
                     "the column does not hold: correct the cell");
    cr_expect_str_eq(batch.complaints[3].text, "line 5: time '46118.8' is a bare number: give the column a date format "
                                               "in the workbook");
}

Test(read_xlsx, reads_numbers_with_the_point_and_text_with_the_layouts_mark)
{
    settings_layout(config, "sonde")->decimal = ',';
    cr_assert(take_rows(HEADER "<row><c s=\"1\"><v>46118.5</v></c><c><v>5.25</v></c>" TEXT_CELL("9,5") "</row>"));
    cr_expect_float_eq(batch.readings.value[QUANTITY_TEMPERATURE][0], 5.25, 1e-12);
    cr_expect_float_eq(batch.readings.value[QUANTITY_OXYGEN][0], 9.5, 1e-12);
}

Test(read_xlsx, reads_more_rows_than_it_first_made_room_for)
{
    struct text rows;
    text_init(&rows, 1 << 24);
    text_puts(&rows, HEADER);
    for (int i = 0; i < 10000; i++)
        text_printf(&rows, "<row><c s=\"1\"><v>%.17g</v></c><c><v>%d</v></c>%s</row>", 45000 + i / 288.0, i % 30,
                    i == 5000 ? "<c t=\"e\"><v>#N/A</v></c>" : "");
    cr_assert(take_rows(rows.bytes), "%s", error.text);
    text_done(&rows);
    cr_assert_eq(batch.readings.n, 10000);
    cr_expect_eq(batch.readings.time[9999] - batch.readings.time[0], 9999 * 5 * MINUTE_MS);
    cr_expect_eq(batch.readings.value[QUANTITY_TEMPERATURE][9999], 9999 % 30);
    cr_expect_eq(batch.readings.line[9999], 10001);
    cr_expect(batch.readings.unread[5000] >> QUANTITY_OXYGEN & 1);
}

#define MAIN "xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\""
#define STRICT "http://purl.oclc.org/ooxml/officeDocument/relationships"
#define RELATIONS_OF "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">"

/* Two sheets "a" and "b" of the same content, with the addresses of the strict kind. */
static bool take_two_sheets(const char *state)
{
    size_t length;
    const char *inline_sheet = workbook_sheet(
        arena,
        "<row><c t=\"str\"><v>Time</v></c><c t=\"str\"><v>Temp (C)</v></c><c t=\"str\"><v>DO (mg/L)</v></c></row>"
        "<row><c t=\"d\"><v>2026-04-06T12:00</v></c><c><v>5</v></c><c><v>9</v></c></row>");
    const struct workbook_part parts[] = {
        {"_rels/.rels",
         RELATIONS_OF "<Relationship Id=\"a\" Type=\"" STRICT "/officeDocument\" Target=\"book.xml\"/></Relationships>",
         0},
        {"Book.xml",
         arena_printf(
             arena,
             "<workbook " MAIN " xmlns:r=\"" STRICT "\"><sheets><sheet name=\"a\" r:id=\"s1\"/>"
             "<sheet name=\"b\" state=\"%s\" r:id=\"s2\"/><sheet name=\"chart\" r:id=\"s3\"/></sheets></workbook>",
             state),
         0},
        {"_rels/book.xml.rels",
         RELATIONS_OF "<Relationship Id=\"s1\" Type=\"" STRICT "/worksheet\" Target=\"x/../one.xml\"/>"
                      "<Relationship Id=\"s2\" Type=\"" STRICT "/worksheet\" Target=\"./two.xml\"/>"
                      "<Relationship Id=\"s3\" Type=\"" STRICT "/chartsheet\" Target=\"no.xml\"/></Relationships>",
         0},
        {"one.xml", inline_sheet, 0},
        {"two.xml", inline_sheet, 0}};
    const char *bytes = workbook_zip(arena, parts, COUNT_OF(parts), &length);
    error = (struct error){0};
    return intake_read(arena, config, "heron.xlsx", bytes, length, settings_now(), false, &batch, &error);
}

Test(read_xlsx, refuses_two_sheets_that_both_fit)
{
    cr_assert_not(take_two_sheets("visible"));
    cr_expect_str_eq(error.text,
                     "sheets 'a' and 'b' both fit layout 'sonde': set 'sheet' in the layout to one of them");
}

Test(read_xlsx, takes_the_sheet_that_the_layout_names)
{
    settings_layout(config, "sonde")->sheet = "B*";
    cr_assert(take_two_sheets("visible"), "%s", error.text);
    cr_expect_eq(batch.readings.n, 1);
    settings_layout(config, "sonde")->sheet = "c";
    cr_assert_not(take_two_sheets("visible"));
    cr_expect_eq(error.kind, ERROR_INPUT);
}

Test(read_xlsx, leaves_hidden_sheets_alone)
{
    cr_assert(take_two_sheets("hidden"), "%s", error.text);
    cr_assert(take_two_sheets("veryHidden"), "%s", error.text);
    cr_expect_eq(batch.readings.n, 1);
}

Test(read_xlsx, says_which_sheet_came_nearest)
{
    cr_assert_not(take_rows("<row><c t=\"str\"><v>Time</v></c><c t=\"str\"><v>DO (mg/L)</v></c></row>"));
    cr_expect_str_eq(error.text,
                     "no layout fits: layout 'sonde' comes nearest at line 1 of sheet 'Data', but no header "
                     "cell matches 'Temp*'; add a layout for this file ('rillward layout FILE' drafts one)");
}

Test(read_xlsx, reads_field_notes)
{
    cr_assert(
        take_rows("<row><c t=\"str\"><v>When</v></c><c t=\"str\"><v>Site</v></c><c t=\"str\"><v>Staff (ft)</v></c>"
                  "<c t=\"str\"><v>Logger out</v></c><c t=\"str\"><v>Logger in</v></c></row>"
                  "<row><c s=\"1\"><v>46118.576388888891</v></c><c t=\"str\"><v>HC-1</v></c><c><v>3.5</v></c>"
                  "<c s=\"3\"><v>0.5</v></c><c t=\"b\"><v>1</v></c></row>"),
        "%s", error.text);
    cr_assert_eq(batch.note_count, 3);
    cr_expect_float_eq(batch.notes[0].value, 3.5 * 0.3048, 1e-12);
    cr_expect_eq(batch.notes[1].time, settings_time("2026-04-06T20:00:00Z"));
    cr_expect_eq(batch.notes[2].time, settings_time("2026-04-06T21:50:00Z"));
}
