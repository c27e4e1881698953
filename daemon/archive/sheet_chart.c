/* SPDX-License-Identifier: MIT */
#include "archive/sheet_chart.h"

#include "base/timestamp.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define CHART "http://schemas.openxmlformats.org/drawingml/2006/chart"
#define DRAWING "http://schemas.openxmlformats.org/drawingml/2006/main"
#define ANCHOR "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"
#define RELATIONS "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
#define HEADER "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"yes\"?>\n"

/* The two that have the most contrast on white and differ for every eye; the second is dashed as well. */
static const char *const colours[SHEET_CHART_SERIES_MAX] = {"0072B2", "D55E00"};
static const char *const dashes[SHEET_CHART_SERIES_MAX] = {"solid", "dash"};

static void put_title(struct text *to, const char *title, bool is_upright);
static void put_series(struct text *to, const struct sheet_chart *chart, size_t index);
static void put_dates(struct text *to, const struct sheet_chart *chart);
static void put_values(struct text *to, const struct sheet_chart *chart, const struct sheet_series *series);
static void put_axes(struct text *to, const struct sheet_chart *chart, size_t index);

void sheet_chart_put(struct text *to, const struct sheet_chart *chart)
{
    assert(chart->series_count >= 1 && chart->series_count <= SHEET_CHART_SERIES_MAX);
    text_puts(to,
              HEADER "<c:chartSpace xmlns:c=\"" CHART "\" xmlns:a=\"" DRAWING "\" xmlns:r=\"" RELATIONS "\"><c:chart>");
    put_title(to, chart->title, false);
    text_puts(to, "<c:autoTitleDeleted val=\"0\"/><c:plotArea><c:layout/>");
    for (size_t i = 0; i < chart->series_count; i++)
        put_series(to, chart, i);
    for (size_t i = 0; i < chart->series_count; i++)
        put_axes(to, chart, i);
    text_puts(to, "</c:plotArea><c:legend><c:legendPos val=\"b\"/><c:overlay val=\"0\"/></c:legend>"
                  "<c:plotVisOnly val=\"1\"/><c:dispBlanksAs val=\"gap\"/></c:chart></c:chartSpace>");
}

static void put_title(struct text *to, const char *title, bool is_upright)
{
    text_printf(to, "<c:title><c:tx><c:rich><a:bodyPr%s/><a:p><a:pPr><a:defRPr sz=\"%d\" b=\"0\"/></a:pPr><a:r><a:t>",
                is_upright ? " rot=\"-5400000\" vert=\"horz\"" : "", is_upright ? 1000 : 1200);
    text_markup(to, title);
    text_puts(to, "</a:t></a:r></a:p></c:rich></c:tx><c:overlay val=\"0\"/></c:title>");
}

static void put_series(struct text *to, const struct sheet_chart *chart, size_t index)
{
    const struct sheet_series *series = &chart->series[index];
    char column[8];
    text_printf(to,
                "<c:lineChart><c:grouping val=\"standard\"/><c:varyColors val=\"0\"/><c:ser><c:idx val=\"%zu\"/>"
                "<c:order val=\"%zu\"/><c:tx><c:v>",
                index, index);
    text_markup(to, series->title);
    text_printf(to,
                "</c:v></c:tx><c:spPr><a:ln w=\"22225\"><a:solidFill><a:srgbClr val=\"%s\"/></a:solidFill>"
                "<a:prstDash val=\"%s\"/></a:ln></c:spPr><c:marker><c:symbol val=\"none\"/></c:marker>",
                colours[index], dashes[index]);
    text_printf(to, "<c:cat><c:numRef><c:f>%s!$A$2:$A$%zu</c:f>", chart->sheet, chart->rows + 1);
    put_dates(to, chart);
    sheet_column_name(series->column, column);
    text_printf(to, "</c:numRef></c:cat><c:val><c:numRef><c:f>%s!$%s$2:$%s$%zu</c:f>", chart->sheet, column, column,
                chart->rows + 1);
    put_values(to, chart, series);
    text_printf(to,
                "</c:numRef></c:val><c:smooth val=\"0\"/></c:ser><c:marker val=\"1\"/><c:axId val=\"%zu\"/>"
                "<c:axId val=\"%zu\"/></c:lineChart>",
                10 + 2 * index, 11 + 2 * index);
}

static void put_dates(struct text *to, const struct sheet_chart *chart)
{
    text_printf(to, "<c:numCache><c:formatCode>yyyy\\-mm\\-dd</c:formatCode><c:ptCount val=\"%zu\"/>", chart->rows);
    for (size_t i = 0; i < chart->rows; i++)
        text_printf(to, "<c:pt idx=\"%zu\"><c:v>%lld</c:v></c:pt>", i,
                    (long long)(timestamp_floor(chart->dates[i], DAY_MS) / DAY_MS + 25569));
    text_puts(to, "</c:numCache>");
}

static void put_values(struct text *to, const struct sheet_chart *chart, const struct sheet_series *series)
{
    text_printf(to, "<c:numCache><c:formatCode>General</c:formatCode><c:ptCount val=\"%zu\"/>", chart->rows);
    for (size_t i = 0; i < chart->rows; i++) {
        if (isnan(series->values[i]))
            continue;
        text_printf(to, "<c:pt idx=\"%zu\"><c:v>", i);
        text_number(to, series->values[i], series->decimals);
        text_puts(to, "</c:v></c:pt>");
    }
    text_puts(to, "</c:numCache>");
}

/* The second series has its values on the right, and its dates, which are the same, out of sight. */
static void put_axes(struct text *to, const struct sheet_chart *chart, size_t index)
{
    bool is_first = index == 0;
    size_t dates = 10 + 2 * index, values = 11 + 2 * index;
    text_printf(to,
                "<c:dateAx><c:axId val=\"%zu\"/><c:scaling><c:orientation val=\"minMax\"/></c:scaling>"
                "<c:delete val=\"%d\"/><c:axPos val=\"b\"/><c:numFmt formatCode=\"mm\\-dd\" sourceLinked=\"0\"/>"
                "<c:majorTickMark val=\"out\"/><c:minorTickMark val=\"none\"/><c:tickLblPos val=\"low\"/>"
                "<c:crossAx val=\"%zu\"/><c:crosses val=\"autoZero\"/><c:auto val=\"1\"/><c:lblOffset val=\"100\"/>"
                "<c:baseTimeUnit val=\"days\"/></c:dateAx>",
                dates, !is_first, values);
    text_printf(to,
                "<c:valAx><c:axId val=\"%zu\"/><c:scaling><c:orientation val=\"minMax\"/></c:scaling>"
                "<c:delete val=\"0\"/><c:axPos val=\"%s\"/>%s",
                values, is_first ? "l" : "r", is_first ? "<c:majorGridlines/>" : "");
    put_title(to, chart->series[index].title, true);
    text_printf(to,
                "<c:numFmt formatCode=\"General\" sourceLinked=\"0\"/><c:majorTickMark val=\"out\"/>"
                "<c:minorTickMark val=\"none\"/><c:tickLblPos val=\"nextTo\"/><c:crossAx val=\"%zu\"/>"
                "<c:crosses val=\"%s\"/></c:valAx>",
                dates, is_first ? "autoZero" : "max");
}

void sheet_chart_put_drawing(struct text *to, size_t row)
{
    enum { COLUMNS = 9, ROWS = 20 };
    text_printf(to,
                HEADER "<xdr:wsDr xmlns:xdr=\"" ANCHOR "\" xmlns:a=\"" DRAWING "\"><xdr:twoCellAnchor>"
                       "<xdr:from><xdr:col>0</xdr:col><xdr:colOff>0</xdr:colOff><xdr:row>%zu</xdr:row>"
                       "<xdr:rowOff>0</xdr:rowOff></xdr:from><xdr:to><xdr:col>%d</xdr:col><xdr:colOff>0</xdr:colOff>"
                       "<xdr:row>%zu</xdr:row><xdr:rowOff>0</xdr:rowOff></xdr:to>",
                row, COLUMNS, row + ROWS);
    text_puts(to, "<xdr:graphicFrame macro=\"\"><xdr:nvGraphicFramePr><xdr:cNvPr id=\"2\" name=\"Chart 1\"/>"
                  "<xdr:cNvGraphicFramePr/></xdr:nvGraphicFramePr><xdr:xfrm><a:off x=\"0\" y=\"0\"/>"
                  "<a:ext cx=\"0\" cy=\"0\"/></xdr:xfrm><a:graphic><a:graphicData uri=\"" CHART "\">"
                  "<c:chart xmlns:c=\"" CHART "\" xmlns:r=\"" RELATIONS "\" r:id=\"rId1\"/></a:graphicData></a:graphic>"
                  "</xdr:graphicFrame><xdr:clientData/></xdr:twoCellAnchor></xdr:wsDr>");
}

char *sheet_column_name(size_t column, char ret[8])
{
    char backwards[8];
    size_t n = 0, length = 0;
    for (size_t rest = column + 1; rest > 0 && n < 7; rest = (rest - 1) / 26)
        backwards[n++] = (char)('A' + (rest - 1) % 26);
    while (n > 0)
        ret[length++] = backwards[--n];
    ret[length] = '\0';
    return ret;
}
