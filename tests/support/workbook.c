/* SPDX-License-Identifier: MIT */
#include "support/workbook.h"

#include <stdlib.h>
#include <string.h>
#include <zip.h>

#define MAIN "xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\""
#define OFFICE "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
#define RELATIONS(list)                                                                                                \
    "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">" list "</Relationships>"
#define RELATION(id, type, target)                                                                                     \
    "<Relationship Id=\"" id "\" Type=\"" OFFICE "/" type "\" Target=\"" target "\"/>"

char *workbook_zip(struct arena *arena, const struct workbook_part *parts, size_t count, size_t *ret_length)
{
    zip_source_t *buffer = zip_source_buffer_create(NULL, 0, 0, NULL);
    zip_t *zip = zip_open_from_source(buffer, ZIP_CREATE | ZIP_TRUNCATE, NULL);
    if (!zip)
        abort();
    zip_source_keep(buffer);
    for (size_t i = 0; i < count; i++) {
        size_t length = parts[i].length > 0 ? parts[i].length : strlen(parts[i].text);
        zip_source_t *part = zip_source_buffer(zip, parts[i].text, length, 0);
        zip_int64_t index = zip_file_add(zip, parts[i].name, part, ZIP_FL_ENC_UTF_8);
        if (index < 0 || zip_set_file_compression(zip, (zip_uint64_t)index, ZIP_CM_STORE, 0) < 0)
            abort();
    }
    zip_stat_t about;
    if (zip_close(zip) < 0 || zip_source_open(buffer) < 0 || zip_source_stat(buffer, &about) < 0)
        abort();
    char *bytes = arena_alloc(arena, about.size + 1);
    if (zip_source_read(buffer, bytes, about.size) != (zip_int64_t)about.size)
        abort();
    zip_source_close(buffer);
    zip_source_free(buffer);
    *ret_length = about.size;
    return bytes;
}

char *workbook_of_sheet(struct arena *arena, const char *sheet, size_t sheet_length, size_t *ret_length)
{
    const struct workbook_part parts[] = {
        {"_rels/.rels", RELATIONS(RELATION("rId1", "officeDocument", "xl/workbook.xml")), 0},
        {"xl/workbook.xml",
         "<workbook " MAIN " xmlns:r=\"" OFFICE "\"><sheets><sheet name=\"Data\" sheetId=\"1\" r:id=\"rId1\"/></sheets>"
         "</workbook>",
         0},
        {"xl/_rels/workbook.xml.rels",
         RELATIONS(RELATION("rId1", "worksheet", "worksheets/sheet1.xml") RELATION("rId2", "styles", "styles.xml")
                       RELATION("rId3", "sharedStrings", "/xl/sharedStrings.xml")),
         0},
        {"xl/styles.xml",
         "<styleSheet " MAIN "><numFmts count=\"1\"><numFmt numFmtId=\"164\" formatCode=\"dd\\.mm\\.yyyy\"/></numFmts>"
         "<cellStyleXfs count=\"1\"><xf numFmtId=\"14\"/></cellStyleXfs><cellXfs count=\"5\"><xf numFmtId=\"0\"/>"
         "<xf numFmtId=\"22\"/><xf numFmtId=\"164\"/><xf numFmtId=\"20\"/><xf numFmtId=\"10\"/></cellXfs></styleSheet>",
         0},
        {"xl/sharedStrings.xml",
         "<sst " MAIN " count=\"99\"><si><t>Time</t></si><si><r><t>Temp </t></r><r><t>(C)</t></r></si>"
         "<si><t>DO (mg/L)</t><rPh sb=\"0\" eb=\"1\"><t>di o</t></rPh></si></sst>",
         0},
        {"xl/worksheets/sheet1.xml", sheet, sheet_length},
    };
    return workbook_zip(arena, parts, COUNT_OF(parts), ret_length);
}

char *workbook_sheet(struct arena *arena, const char *rows)
{
    return arena_printf(arena, "<worksheet " MAIN "><sheetData>%s</sheetData></worksheet>", rows);
}
