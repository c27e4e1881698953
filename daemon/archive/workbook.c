/* SPDX-License-Identifier: MIT */
#include "archive/workbook.h"

#include "archive/sheet.h"
#include "archive/zip_writer.h"
#include "base/timestamp.h"

#include <stdio.h>

static void put_package(struct workbook *book, const struct workbook_about *about);
static void put_list(struct workbook *book, const struct workbook_about *about);
static void put_properties(struct workbook *book, const struct workbook_about *about);

void workbook_begin(struct workbook *ret, const struct workbook_about *about, struct text *to)
{
    *ret = (struct workbook){.zip = zip_writer_new(to)};
    text_init(&ret->part, to->limit);
    put_package(ret, about); /* first: programs tell the kind of file by it */
}

void workbook_finish_part(struct workbook *workbook, const char *name)
{
    zip_writer_add(workbook->zip, name, &workbook->part);
    text_clear(&workbook->part);
}

void workbook_finish_sheet(struct workbook *workbook, size_t sheet)
{
    char name[64];
    snprintf(name, sizeof name, "xl/worksheets/sheet%zu.xml", sheet + 1);
    workbook_finish_part(workbook, name);
}

void workbook_end(struct workbook *workbook)
{
    zip_writer_end(workbook->zip);
    text_done(&workbook->part);
}

static void put_package(struct workbook *book, const struct workbook_about *about)
{
    static const char part[] = "<Override PartName=\"/%s\" ContentType=\"application/vnd.openxmlformats-"
                               "officedocument.%s+xml\"/>";
    struct text *to = &book->part;
    text_puts(to, WORKBOOK_HEADER "<Types xmlns=\"" WORKBOOK_PACKAGE "/content-types\"><Default Extension=\"rels\" "
                                  "ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/>"
                                  "<Default Extension=\"xml\" ContentType=\"application/xml\"/><Override "
                                  "PartName=\"/docProps/core.xml\" "
                                  "ContentType=\"application/vnd.openxmlformats-package.core-properties+xml\"/>");
    text_printf(to, part, "xl/workbook.xml", "spreadsheetml.sheet.main");
    text_printf(to, part, "xl/styles.xml", "spreadsheetml.styles");
    for (size_t i = 0; i < about->sheet_count; i++) {
        char name[64];
        snprintf(name, sizeof name, "xl/worksheets/sheet%zu.xml", i + 1);
        text_printf(to, part, name, "spreadsheetml.worksheet");
    }
    if (about->has_chart) {
        text_printf(to, part, "xl/drawings/drawing1.xml", "drawing");
        text_printf(to, part, "xl/charts/chart1.xml", "drawingml.chart");
    }
    text_puts(to, "</Types>");
    workbook_finish_part(book, "[Content_Types].xml");
    text_puts(to, WORKBOOK_HEADER
              "<Relationships xmlns=\"" WORKBOOK_PACKAGE
              "/relationships\"><Relationship Id=\"rId1\" Type=\"" WORKBOOK_OFFICE
              "/officeDocument\" Target=\"xl/workbook.xml\"/><Relationship Id=\"rId2\" Type=\"" WORKBOOK_PACKAGE
              "/relationships/metadata/core-properties\" Target=\"docProps/core.xml\"/></Relationships>");
    workbook_finish_part(book, "_rels/.rels");
    put_properties(book, about);
    put_list(book, about);
    sheet_put_styles(to);
    workbook_finish_part(book, "xl/styles.xml");
}

static void put_list(struct workbook *book, const struct workbook_about *about)
{
    struct text *to = &book->part;
    text_puts(to, WORKBOOK_HEADER
              "<workbook xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\" xmlns:r=\"" WORKBOOK_OFFICE
              "\"><workbookPr/><bookViews><workbookView/></bookViews><sheets>");
    for (size_t i = 0; i < about->sheet_count; i++)
        text_printf(to, "<sheet name=\"%s\" sheetId=\"%zu\"%s r:id=\"rId%zu\"/>", about->sheets[i], i + 1,
                    i < about->shown ? "" : " state=\"hidden\"", i + 1);
    text_puts(to, "</sheets></workbook>");
    workbook_finish_part(book, "xl/workbook.xml");
    text_puts(to, WORKBOOK_HEADER "<Relationships xmlns=\"" WORKBOOK_PACKAGE "/relationships\">");
    for (size_t i = 0; i < about->sheet_count; i++)
        text_printf(to,
                    "<Relationship Id=\"rId%zu\" Type=\"" WORKBOOK_OFFICE
                    "/worksheet\" Target=\"worksheets/sheet%zu.xml\"/>",
                    i + 1, i + 1);
    text_printf(
        to, "<Relationship Id=\"rId%zu\" Type=\"" WORKBOOK_OFFICE "/styles\" Target=\"styles.xml\"/></Relationships>",
        about->sheet_count + 1);
    workbook_finish_part(book, "xl/_rels/workbook.xml.rels");
}

static void put_properties(struct workbook *book, const struct workbook_about *about)
{
    struct text *to = &book->part;
    char created[TIMESTAMP_SIZE];
    text_puts(to, WORKBOOK_HEADER
              "<cp:coreProperties xmlns:cp=\"" WORKBOOK_PACKAGE "/metadata/core-properties\" "
              "xmlns:dc=\"http://purl.org/dc/elements/1.1/\" xmlns:dcterms=\"http://purl.org/dc/terms/\" "
              "xmlns:xsi=\"http://www.w3.org/2001/XMLSchema-instance\"><dc:title>");
    text_markup(to, about->title);
    text_puts(to, "</dc:title><dc:creator>");
    text_markup(to, about->creator);
    text_printf(to,
                "</dc:creator><dcterms:created xsi:type=\"dcterms:W3CDTF\">%s</dcterms:created>"
                "<cp:version>%lld</cp:version></cp:coreProperties>",
                timestamp_print(about->created - about->created % SECOND_MS, created), (long long)about->version);
    workbook_finish_part(book, "docProps/core.xml");
}
