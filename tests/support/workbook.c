/* SPDX-License-Identifier: MIT */
#include "support/workbook.h"

#include "base/text.h"

#include <stdint.h>
#include <string.h>

#define LARGEST_ARCHIVE ((size_t)64 << 20)

#define MAIN "xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\""
#define OFFICE "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
#define RELATIONS(list)                                                                                                \
    "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">" list "</Relationships>"
#define RELATION(id, type, target) "<Relationship Id=\"" id "\" Type=\"" OFFICE "/" type "\" Target=\"" target "\"/>"

static void add_header(struct text *bytes, const char *signature, const struct workbook_part *part, size_t length);
static void add_number(struct text *bytes, size_t value, size_t size);
static uint32_t checksum(const char *bytes, size_t length);

/* Stored entries (APPNOTE 4.3), all of the same moment. */
char *workbook_zip(struct arena *arena, const struct workbook_part *parts, size_t count, size_t *ret_length)
{
    struct text bytes, directory;
    text_init(&bytes, LARGEST_ARCHIVE);
    text_init(&directory, LARGEST_ARCHIVE);
    for (size_t i = 0; i < count; i++) {
        size_t length = parts[i].length > 0 ? parts[i].length : strlen(parts[i].text), offset = bytes.length;
        add_header(&bytes, "PK\3\4", &parts[i], length);
        text_puts(&bytes, parts[i].name);
        text_add(&bytes, parts[i].text, length);
        add_header(&directory, "PK\1\2\24\0", &parts[i], length);
        add_number(&directory, 0, 10); /* comment, disk, attributes */
        add_number(&directory, offset, 4);
        text_puts(&directory, parts[i].name);
    }
    size_t start = bytes.length;
    text_add(&bytes, directory.bytes, directory.length);
    text_add(&bytes, "PK\5\6\0\0\0", 8);
    add_number(&bytes, count, 2);
    add_number(&bytes, count, 2);
    add_number(&bytes, directory.length, 4);
    add_number(&bytes, start, 4);
    add_number(&bytes, 0, 2);
    char *copy = arena_alloc(arena, bytes.length);
    memcpy(copy, bytes.bytes, bytes.length);
    *ret_length = bytes.length;
    text_done(&bytes);
    text_done(&directory);
    return copy;
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

/* What both headers of an entry share, from the signature to the lengths of name and extra field. */
static void add_header(struct text *bytes, const char *signature, const struct workbook_part *part, size_t length)
{
    text_add(bytes, signature, signature[2] == 1 ? 6 : 4);
    add_number(bytes, 20, 2); /* version */
    add_number(bytes, 0, 4);  /* flags, method */
    add_number(bytes, 0, 2);
    add_number(bytes, 0x5C81, 2); /* 2026-04-01 */
    add_number(bytes, checksum(part->text, length), 4);
    add_number(bytes, length, 4);
    add_number(bytes, length, 4);
    add_number(bytes, strlen(part->name), 2);
    add_number(bytes, 0, 2);
}

static void add_number(struct text *bytes, size_t value, size_t size)
{
    for (size_t i = 0; i < size; i++)
        text_putc(bytes, i < sizeof value ? (char)(value >> 8 * i & 0xFF) : 0);
}

/* CRC-32 of ISO 3309. */
static uint32_t checksum(const char *bytes, size_t length)
{
    uint32_t sum = 0xFFFFFFFF;
    for (size_t i = 0; i < length; i++) {
        sum ^= (unsigned char)bytes[i];
        for (int bit = 0; bit < 8; bit++)
            sum = sum >> 1 ^ (0xEDB88320 & (0u - (sum & 1)));
    }
    return ~sum;
}
