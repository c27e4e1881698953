/* SPDX-License-Identifier: MIT */
#include "intake/xlsx_book.h"

#include "base/text.h"

#include <stdlib.h>
#include <string.h>

#define SAVE_AS ": save it as XLSX or CSV"

struct book_reader {
    struct xlsx_book *book;
    struct relations relations;
    bool has_root;
};

/* Shared texts: one after the other in one growing text. */
struct string_reader {
    struct xlsx_book *book;
    struct text bytes;
    uint32_t *ends; /* of each text in bytes */
    size_t capacity;
    bool is_in_text, is_in_phonetic;
};

struct style_reader {
    struct xlsx_book *book;
    struct custom_format {
        unsigned id;
        enum xlsx_style style;
    } * customs;
    size_t custom_count;
    unsigned *formats; /* of each cell format */
    bool is_in_formats, is_in_cells;
};

static const char *find_target(const struct relations *relations, const char *type);
static bool read_book(struct xlsx_book *book, const char *part, struct error *error);
static void start_book(struct part *part, const char *name, const char **attributes);
static void add_sheet(struct part *part, struct book_reader *reader, const char **attributes);
static bool read_strings(struct xlsx_book *book, const char *part, struct error *error);
static void start_strings(struct part *part, const char *name, const char **attributes);
static void end_strings(struct part *part, const char *name);
static void text_strings(struct part *part, const char *text, size_t length);
static void keep_strings(struct string_reader *reader);
static bool read_styles(struct xlsx_book *book, const char *part, struct error *error);
static void start_styles(struct part *part, const char *name, const char **attributes);
static void end_styles(struct part *part, const char *name);
static enum xlsx_style find_style(const struct style_reader *reader, unsigned id);

bool xlsx_begins(const char *bytes, size_t length)
{
    return length >= 4 && memcmp(bytes, "PK\3\4", 4) == 0;
}

bool xlsx_book_open(struct arena *arena, const char *bytes, size_t length, struct xlsx_book *ret, struct error *error)
{
    *ret = (struct xlsx_book){.arena = arena, .package = package_open(bytes, length, error)};
    if (!ret->package)
        return false;
    struct relations relations;
    if (!package_relations(ret->package, "", arena, &relations, error))
        return false;
    const char *target = find_target(&relations, "officeDocument");
    if (!target)
        return fail(error, ERROR_INPUT, "it is an archive (ZIP): unpack it");
    if (text_ends_with(target, ".bin"))
        return fail(error, ERROR_INPUT, "it is a binary workbook (XLSB)" SAVE_AS);
    return read_book(ret, target, error);
}

void xlsx_book_close(struct xlsx_book *book)
{
    package_close(book->package);
    book->package = NULL;
}

static const char *find_target(const struct relations *relations, const char *type)
{
    for (size_t i = 0; i < relations->count; i++)
        if (strcmp(relations->list[i].type, type) == 0)
            return relations->list[i].target;
    return NULL;
}

static bool read_book(struct xlsx_book *book, const char *part, struct error *error)
{
    static const struct part_handler handler = {.start = start_book};
    struct book_reader reader = {.book = book};
    book->sheets = arena_array(book->arena, XLSX_MOST_SHEETS, sizeof *book->sheets);
    if (!package_relations(book->package, part, book->arena, &reader.relations, error) ||
        !part_read_all(book->package, part, XLSX_MOST_PART, &handler, &reader, error))
        return false;
    if (!reader.has_root)
        return fail(error, ERROR_INPUT, "it is a document, not a workbook" SAVE_AS);
    const char *strings = find_target(&reader.relations, "sharedStrings"),
               *styles = find_target(&reader.relations, "styles");
    return (!strings || read_strings(book, strings, error)) && (!styles || read_styles(book, styles, error));
}

static void start_book(struct part *part, const char *name, const char **attributes)
{
    struct book_reader *reader = part_context(part);
    if (strcmp(name, "workbook") == 0)
        reader->has_root = true;
    if (strcmp(name, "sheet") == 0)
        add_sheet(part, reader, attributes);
    const char *is_1904 = strcmp(name, "workbookPr") == 0 ? part_attribute(attributes, "date1904") : NULL;
    if (is_1904)
        reader->book->is_1904 = strcmp(is_1904, "1") == 0 || strcmp(is_1904, "true") == 0;
}

static void add_sheet(struct part *part, struct book_reader *reader, const char **attributes)
{
    struct xlsx_book *book = reader->book;
    const char *name = part_attribute(attributes, "name"), *state = part_attribute(attributes, "state"),
               *id = part_relation_id(attributes);
    if (book->sheet_count == XLSX_MOST_SHEETS) {
        part_fail(part, "the workbook has more than %d sheets: split it", XLSX_MOST_SHEETS);
        return;
    }
    for (size_t i = 0; id && i < reader->relations.count; i++) {
        const struct relation *relation = &reader->relations.list[i];
        if (strcmp(relation->id, id) != 0 || strcmp(relation->type, "worksheet") != 0)
            continue;
        book->sheets[book->sheet_count++] = (struct xlsx_sheet){.name = arena_strdup(book->arena, name ? name : ""),
                                                                .part = relation->target,
                                                                .is_hidden = state && strcmp(state, "visible") != 0};
        return;
    }
}

static bool read_strings(struct xlsx_book *book, const char *part, struct error *error)
{
    static const struct part_handler handler = {.start = start_strings, .end = end_strings, .text = text_strings};
    struct string_reader reader = {.book = book};
    text_init(&reader.bytes, XLSX_MOST_STRING_BYTES);
    bool is_read = part_read_all(book->package, part, XLSX_MOST_STRINGS_PART, &handler, &reader, error);
    if (is_read)
        keep_strings(&reader);
    text_done(&reader.bytes);
    free(reader.ends);
    return is_read;
}

static void start_strings(struct part *part, const char *name, const char **attributes)
{
    (void)attributes; /* counts are hints, and wrong ones are common */
    struct string_reader *reader = part_context(part);
    if (strcmp(name, "rPh") == 0)
        reader->is_in_phonetic = true;
    else if (strcmp(name, "t") == 0)
        reader->is_in_text = !reader->is_in_phonetic;
}

static void end_strings(struct part *part, const char *name)
{
    struct string_reader *reader = part_context(part);
    struct xlsx_book *book = reader->book;
    reader->is_in_text = false;
    if (strcmp(name, "rPh") == 0)
        reader->is_in_phonetic = false;
    if (strcmp(name, "si") != 0)
        return;
    if (reader->bytes.is_full || book->string_count == XLSX_MOST_STRINGS) {
        part_fail(part, "the workbook holds more text than a table needs: split it, or save the sheet as CSV");
        return;
    }
    size_t from = book->string_count > 0 ? reader->ends[book->string_count - 1] : 0;
    if (reader->bytes.length > from)
        reader->bytes.length = from + xlsx_unescape(reader->bytes.bytes + from, reader->bytes.length - from);
    reader->ends = x_grow(reader->ends, book->string_count, &reader->capacity, sizeof *reader->ends);
    reader->ends[book->string_count++] = (uint32_t)reader->bytes.length;
}

static void text_strings(struct part *part, const char *text, size_t length)
{
    struct string_reader *reader = part_context(part);
    if (reader->is_in_text)
        text_add(&reader->bytes, text, length);
}

static void keep_strings(struct string_reader *reader)
{
    struct xlsx_book *book = reader->book;
    char *bytes = arena_strndup(book->arena, reader->bytes.bytes ? reader->bytes.bytes : "", reader->bytes.length);
    book->strings = arena_array(book->arena, book->string_count, sizeof *book->strings);
    for (size_t i = 0; i < book->string_count; i++) {
        size_t from = i > 0 ? reader->ends[i - 1] : 0;
        book->strings[i] = cell_trim(bytes + from, reader->ends[i] - from);
    }
}

static bool read_styles(struct xlsx_book *book, const char *part, struct error *error)
{
    static const struct part_handler handler = {.start = start_styles, .end = end_styles};
    struct style_reader reader = {.book = book,
                                  .customs = x_array(XLSX_MOST_STYLES, sizeof *reader.customs),
                                  .formats = x_array(XLSX_MOST_STYLES, sizeof *reader.formats)};
    bool is_read = part_read_all(book->package, part, XLSX_MOST_PART, &handler, &reader, error);
    book->styles = arena_array(book->arena, book->style_count, sizeof *book->styles);
    for (size_t i = 0; i < book->style_count; i++)
        book->styles[i] = (uint8_t)find_style(&reader, reader.formats[i]);
    free(reader.customs);
    free(reader.formats);
    return is_read;
}

/* Formats and cell formats stand in other lists too: those of named styles, and of conditional formatting. */
static void start_styles(struct part *part, const char *name, const char **attributes)
{
    struct style_reader *reader = part_context(part);
    const char *id = part_attribute(attributes, "numFmtId"), *code = part_attribute(attributes, "formatCode");
    if (strcmp(name, "numFmts") == 0)
        reader->is_in_formats = true;
    else if (strcmp(name, "cellXfs") == 0)
        reader->is_in_cells = true;
    else if (reader->is_in_formats && strcmp(name, "numFmt") == 0 && id && code &&
             reader->custom_count < XLSX_MOST_STYLES)
        reader->customs[reader->custom_count++] =
            (struct custom_format){(unsigned)strtoul(id, NULL, 10), xlsx_style_of_code(code)};
    else if (reader->is_in_cells && strcmp(name, "xf") == 0 && reader->book->style_count < XLSX_MOST_STYLES)
        reader->formats[reader->book->style_count++] = id ? (unsigned)strtoul(id, NULL, 10) : 0;
}

static void end_styles(struct part *part, const char *name)
{
    struct style_reader *reader = part_context(part);
    if (strcmp(name, "numFmts") == 0)
        reader->is_in_formats = false;
    else if (strcmp(name, "cellXfs") == 0)
        reader->is_in_cells = false;
}

static enum xlsx_style find_style(const struct style_reader *reader, unsigned id)
{
    for (size_t i = 0; i < reader->custom_count; i++)
        if (reader->customs[i].id == id)
            return reader->customs[i].style;
    return xlsx_style_built_in(id);
}
