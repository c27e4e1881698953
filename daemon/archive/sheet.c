/* SPDX-License-Identifier: MIT */
#include "archive/sheet.h"

#include "archive/sheet_chart.h"
#include "base/memory.h"
#include "base/timestamp.h"

#include <assert.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define MAIN "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
#define RELATIONS "http://schemas.openxmlformats.org/officeDocument/2006/relationships"

/* Rows of the cell formats in sheet_put_styles(). */
enum style { STYLE_PLAIN, STYLE_HEADING, STYLE_TIME, STYLE_DATE, STYLE_NUMBER /* + decimals, 0..4 */ };
_Static_assert(STYLE_TIME == 2 && STYLE_DATE == 3, "print_serial() writes them as digits");

enum {
    LONGEST_TEXT = 32767, /* characters of a cell, by the standard's own limit */
    EPOCH_DAY = 25569,    /* serial number of 1970-01-01 */
};

static void begin_pane(struct text *to, const struct sheet_layout *layout);
static void put_choices(struct text *to, const struct sheet_layout *layout);
static void put_styled_text(struct text *to, const char *text, enum style style);
static char *print_serial(char *at, int64_t time, enum style style);
static char *print(char *at, const char *bytes, size_t n);
static bool looks_like_an_escape(const char *at);

void sheet_begin(struct text *to, const struct sheet_layout *layout)
{
    text_puts(to, "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"yes\"?>\n"
                  "<worksheet xmlns=\"" MAIN "\" xmlns:r=\"" RELATIONS "\">");
    begin_pane(to, layout);
    text_puts(to, "<cols>");
    for (size_t i = 0; i < layout->width_count; i++) {
        bool is_last = i + 1 == layout->width_count;
        size_t until = is_last && layout->column_count > i + 1 ? layout->column_count : i + 1;
        text_printf(to, "<col min=\"%zu\" max=\"%zu\" width=\"%u\" customWidth=\"1\"", i + 1, until, layout->widths[i]);
        if (i == 0 && layout->begins_with_date)
            text_printf(to, " style=\"%d\"", STYLE_DATE);
        text_puts(to, "/>");
    }
    text_puts(to, "</cols><sheetData>");
}

static void begin_pane(struct text *to, const struct sheet_layout *layout)
{
    assert(layout->frozen_columns < 26);
    if (layout->frozen_rows == 0)
        return;
    const char *pane = layout->frozen_columns > 0 ? "bottomRight" : "bottomLeft";
    text_puts(to, "<sheetViews><sheetView workbookViewId=\"0\"><pane ");
    if (layout->frozen_columns > 0)
        text_printf(to, "xSplit=\"%u\" ", layout->frozen_columns);
    text_printf(to, "ySplit=\"%u\" topLeftCell=\"%c%u\" activePane=\"%s\" state=\"frozen\"/>", layout->frozen_rows,
                'A' + (int)layout->frozen_columns, layout->frozen_rows + 1, pane);
    text_printf(to, "<selection pane=\"%s\"/></sheetView></sheetViews>", pane);
}

void sheet_end(struct text *to, const struct sheet_layout *layout)
{
    text_puts(to, "</sheetData>");
    put_choices(to, layout);
    if (layout->has_drawing)
        text_puts(to, "<drawing r:id=\"rId1\"/>");
    text_puts(to, "</worksheet>");
}

static void put_choices(struct text *to, const struct sheet_layout *layout)
{
    char name[8];
    if (layout->choice_count == 0)
        return;
    text_printf(to, "<dataValidations count=\"%zu\">", layout->choice_count);
    for (size_t i = 0; i < layout->choice_count; i++) {
        sheet_column_name(layout->choices[i].column, name);
        text_printf(to,
                    "<dataValidation type=\"list\" allowBlank=\"1\" sqref=\"%s2:%s%zu\"><formula1>%s</formula1>"
                    "</dataValidation>",
                    name, name, layout->choice_rows + 1, layout->choices[i].from);
    }
    text_puts(to, "</dataValidations>");
}

void sheet_begin_row(struct text *to)
{
    text_puts(to, "<row>");
}

void sheet_end_row(struct text *to)
{
    text_puts(to, "</row>");
}

void sheet_put_empty(struct text *to)
{
    text_puts(to, "<c/>");
}

void sheet_put_text(struct text *to, const char *text)
{
    put_styled_text(to, text, STYLE_PLAIN);
}

void sheet_put_heading(struct text *to, const char *text)
{
    put_styled_text(to, text, STYLE_HEADING);
}

static void put_styled_text(struct text *to, const char *text, enum style style)
{
    if (!*text) {
        sheet_put_empty(to);
        return;
    }
    text_printf(to, "<c t=\"inlineStr\" s=\"%u\"><is><t xml:space=\"preserve\">", style);
    char piece[LONGEST_TEXT + 1];
    size_t length = strlen(text);
    if (length > LONGEST_TEXT) /* at a whole character */
        for (length = LONGEST_TEXT; ((unsigned char)text[length] & 0xC0) == 0x80;)
            length--;
    for (size_t from = 0; from < length;) {
        size_t until = from + 1;
        while (until < length && !looks_like_an_escape(text + until))
            until++;
        memcpy(piece, text + from, until - from);
        piece[until - from] = '\0';
        text_puts(to, looks_like_an_escape(text + from) ? "_x005F" : "");
        text_markup(to, piece);
        from = until;
    }
    text_puts(to, "</t></is></c>");
}

/* _x0041_ would be read as 'A' (22.9.2.19): its first '_' is written as an escape itself. */
static bool looks_like_an_escape(const char *at)
{
    return at[0] == '_' && at[1] == 'x' && strspn(at + 2, "0123456789abcdefABCDEF") >= 4 && at[6] == '_';
}

void sheet_put_number(struct text *to, double value, int decimals)
{
    char cell[SHEET_CELL_MAX];
    text_add(to, cell, (size_t)(sheet_print_number(cell, value, decimals) - cell));
}

char *sheet_print_number(char *at, double value, int decimals)
{
    assert(decimals >= 0 && decimals <= 4);
    if (!isfinite(value))
        return print(at, "<c/>", 4);
    at = print(at, "<c s=\"0\"><v>", 12);
    at[-6] = (char)('0' + STYLE_NUMBER + decimals);
    return print(text_print_number(at, value, decimals), "</v></c>", 8);
}

void sheet_put_integer(struct text *to, int64_t value)
{
    char cell[SHEET_CELL_MAX];
    text_add(to, cell, (size_t)(sheet_print_integer(cell, value) - cell));
}

char *sheet_print_integer(char *at, int64_t value)
{
    return print(text_print_integer(print(at, "<c><v>", 6), value), "</v></c>", 8);
}

void sheet_put_time(struct text *to, int64_t time)
{
    char cell[SHEET_CELL_MAX];
    text_add(to, cell, (size_t)(sheet_print_time(cell, time) - cell));
}

char *sheet_print_time(char *at, int64_t time)
{
    return time == TIME_NONE ? print(at, "<c/>", 4) : print_serial(at, time, STYLE_TIME);
}

void sheet_put_date(struct text *to, int64_t time)
{
    char cell[SHEET_CELL_MAX];
    text_add(to, cell, (size_t)(print_serial(cell, timestamp_floor(time, DAY_MS), STYLE_DATE) - cell));
}

/* Days and their fraction, rounded up: some programs cut a time off below its second, and would show 13:59:59. */
static char *print_serial(char *at, int64_t time, enum style style)
{
    enum { DIGITS = 11 };
    static const int64_t whole = 100000000000; /* 10^DIGITS: of any day still far below 2^63 */
    int64_t day = timestamp_floor(time, DAY_MS);
    int64_t fraction = ((time - day) * whole + DAY_MS - 1) / DAY_MS;
    at = print(at, style == STYLE_TIME ? "<c s=\"2\"><v>" : "<c s=\"3\"><v>", 12);
    at = text_print_integer(at, day / DAY_MS + EPOCH_DAY);
    if (fraction > 0) {
        *at++ = '.';
        for (size_t i = DIGITS; i > 0; i--, fraction /= 10)
            at[i - 1] = (char)('0' + fraction % 10);
        at += DIGITS;
    }
    return print(at, "</v></c>", 8);
}

static char *print(char *at, const char *bytes, size_t n)
{
    return (char *)memcpy(at, bytes, n) + n;
}

void sheet_put_styles(struct text *to)
{
    static const char *const codes[] = {
        "yyyy\\-mm\\-dd\\ hh:mm:ss", "yyyy\\-mm\\-dd", "0", "0.0", "0.00", "0.000", "0.0000"};
    enum { FIRST_OWN = 164 };
    text_puts(to, "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"yes\"?>\n<styleSheet xmlns=\"" MAIN "\">");
    text_printf(to, "<numFmts count=\"%zu\">", COUNT_OF(codes));
    for (size_t i = 0; i < COUNT_OF(codes); i++)
        text_printf(to, "<numFmt numFmtId=\"%zu\" formatCode=\"%s\"/>", FIRST_OWN + i, codes[i]);
    text_puts(to,
              "</numFmts><fonts count=\"2\"><font><sz val=\"11\"/><name val=\"Calibri\"/></font>"
              "<font><b/><sz val=\"11\"/><name val=\"Calibri\"/></font></fonts>"
              "<fills count=\"2\"><fill><patternFill patternType=\"none\"/></fill>"
              "<fill><patternFill patternType=\"gray125\"/></fill></fills>"
              "<borders count=\"1\"><border><left/><right/><top/><bottom/><diagonal/></border></borders>"
              "<cellStyleXfs count=\"1\"><xf numFmtId=\"0\" fontId=\"0\" fillId=\"0\" borderId=\"0\"/></cellStyleXfs>");
    text_printf(to, "<cellXfs count=\"%zu\">", 2 + COUNT_OF(codes));
    text_puts(to, "<xf numFmtId=\"0\" fontId=\"0\" fillId=\"0\" borderId=\"0\" xfId=\"0\"/>"
                  "<xf numFmtId=\"0\" fontId=\"1\" fillId=\"0\" borderId=\"0\" xfId=\"0\" applyFont=\"1\"/>");
    for (size_t i = 0; i < COUNT_OF(codes); i++)
        text_printf(to,
                    "<xf numFmtId=\"%zu\" fontId=\"0\" fillId=\"0\" borderId=\"0\" xfId=\"0\" "
                    "applyNumberFormat=\"1\"/>",
                    FIRST_OWN + i);
    text_puts(to,
              "</cellXfs><cellStyles count=\"1\"><cellStyle name=\"Normal\" xfId=\"0\" builtinId=\"0\"/></cellStyles>"
              "</styleSheet>");
}
