/* SPDX-License-Identifier: MIT */
#include "intake/xlsx_package.h"

#include "base/text.h"

#include <expat.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <zip.h>

#define MOST_RELATIONS_BYTES ((uint64_t)4 << 20)
#define NOT_WHOLE "it is a workbook or archive that is damaged or was not copied completely (%s): copy it again"
enum { CHUNK = 64 * 1024 };

struct package {
    zip_t *zip;
    uint64_t inflated;
};

struct part {
    struct package *package;
    const char *name; /* as asked for */
    zip_file_t *file;
    XML_Parser parser;
    const struct part_handler *handler;
    void *context;
    uint64_t limit, inflated, compressed;
    size_t depth, foreign_depth; /* foreign: of the foreign element that is passed over; 0 none */
    bool is_paused, is_finished;
    struct error failure; /* kind is set once something failed */
};

/* Namespaces whose elements are wanted, transitional and strict. */
static const char *const namespaces[] = {
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main",
    "http://purl.oclc.org/ooxml/spreadsheetml/main",
    "http://schemas.openxmlformats.org/package/2006/relationships",
};

struct relation_reader {
    struct arena *arena;
    const char *folder; /* of the source part, "" or ending with '/' */
    struct relations *ret;
};

static bool check_entries(struct package *package, struct error *error);
static bool is_path_like(const char *name);
static bool find_entry(struct package *package, const char *name, zip_stat_t *ret, bool *ret_found,
                       struct error *error);
static bool names_equal(const char *a, const char *b);
static char folded(char c);
static enum XML_Status feed(struct part *part);
static bool count_bytes(struct part *part, size_t length);
static void on_start(void *data, const XML_Char *name, const XML_Char **attributes);
static void on_end(void *data, const XML_Char *name);
static void on_text(void *data, const XML_Char *text, int length);
static void on_doctype(void *data, const XML_Char *name, const XML_Char *system, const XML_Char *public_id,
                       int has_subset);
static const char *local_name(const char *name);
static void take_relation(struct part *part, const char *name, const char **attributes);
static char *resolve(struct arena *arena, const char *folder, const char *target);
static const char *last_segment(const char *path);

struct package *package_open(const char *bytes, size_t length, struct error *error)
{
    zip_error_t cause;
    zip_error_init(&cause);
    zip_source_t *source = zip_source_buffer_create(bytes, length, 0, &cause);
    zip_t *zip = source ? zip_open_from_source(source, ZIP_RDONLY | ZIP_CHECKCONS, &cause) : NULL;
    if (!zip) {
        fail(error, ERROR_INPUT, NOT_WHOLE, zip_error_strerror(&cause));
        zip_source_free(source);
        zip_error_fini(&cause);
        return NULL;
    }
    struct package *package = x_alloc(sizeof *package);
    package->zip = zip;
    if (check_entries(package, error))
        return package;
    package_close(package);
    return NULL;
}

void package_close(struct package *package)
{
    if (!package)
        return;
    zip_discard(package->zip);
    free(package);
}

bool package_relations(struct package *package, const char *part, struct arena *arena, struct relations *ret,
                       struct error *error)
{
    static const struct part_handler handler = {.start = take_relation};
    const char *file = last_segment(part);
    char *folder = arena_strndup(arena, part, (size_t)(file - part));
    char *name = arena_printf(arena, "%s_rels/%s.rels", folder, file);
    struct relation_reader reader = {arena, folder, ret};
    zip_stat_t entry;
    bool is_there;
    *ret = (struct relations){.list = arena_array(arena, PACKAGE_MOST_RELATIONS, sizeof *ret->list)};
    if (!find_entry(package, name, &entry, &is_there, error))
        return false;
    return !is_there || part_read_all(package, name, MOST_RELATIONS_BYTES, &handler, &reader, error);
}

struct part *part_open(struct package *package, const char *name, uint64_t limit, const struct part_handler *handler,
                       void *context, struct error *error)
{
    zip_stat_t entry;
    bool is_there;
    if (!find_entry(package, name, &entry, &is_there, error))
        return NULL;
    if (!is_there) {
        fail(error, ERROR_INPUT, "the workbook lacks its part '%s': save it again", name);
        return NULL;
    }
    zip_file_t *file = zip_fopen_index(package->zip, entry.index, 0);
    if (!file) {
        fail(error, ERROR_INPUT, NOT_WHOLE, zip_strerror(package->zip));
        return NULL;
    }
    struct part *part = x_alloc(sizeof *part);
    *part = (struct part){.package = package,
                          .name = x_strdup(name),
                          .file = file,
                          .parser = XML_ParserCreateNS(NULL, '|'),
                          .handler = handler,
                          .context = context,
                          .limit = limit,
                          .compressed = entry.comp_size};
    XML_SetUserData(part->parser, part);
    XML_SetElementHandler(part->parser, on_start, on_end);
    XML_SetCharacterDataHandler(part->parser, on_text);
    XML_SetStartDoctypeDeclHandler(part->parser, on_doctype);
    return part;
}

void part_close(struct part *part)
{
    if (!part)
        return;
    XML_ParserFree(part->parser);
    zip_fclose(part->file);
    free((char *)part->name);
    free(part);
}

void *part_context(const struct part *part)
{
    return part->context;
}

void part_pause(struct part *part)
{
    if (!part->is_paused && part->failure.kind == ERROR_NONE && XML_StopParser(part->parser, XML_TRUE) == XML_STATUS_OK)
        part->is_paused = true;
}

void part_fail(struct part *part, const char *format, ...)
{
    char text[512];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    if (part->failure.kind != ERROR_NONE)
        return;
    fail(&part->failure, ERROR_INPUT, "%s", text);
    XML_StopParser(part->parser, XML_FALSE);
}

enum part_step part_read(struct part *part, struct error *error)
{
    enum XML_Status status = XML_STATUS_OK;
    if (part->is_paused) {
        part->is_paused = false;
        status = XML_ResumeParser(part->parser);
    }
    for (;;) {
        if (status == XML_STATUS_ERROR && part->failure.kind == ERROR_NONE)
            fail(&part->failure, ERROR_INPUT,
                 "the workbook is damaged: its part '%s' is no sound XML at line %lu (%s): save it again", part->name,
                 XML_GetCurrentLineNumber(part->parser), XML_ErrorString(XML_GetErrorCode(part->parser)));
        if (part->failure.kind != ERROR_NONE) {
            fail(error, part->failure.kind, "%s", part->failure.text);
            return PART_FAILED;
        }
        if (part->is_paused)
            return PART_PAUSED;
        if (part->is_finished)
            return PART_END;
        status = feed(part);
    }
}

bool part_read_all(struct package *package, const char *name, uint64_t limit, const struct part_handler *handler,
                   void *context, struct error *error)
{
    struct part *part = part_open(package, name, limit, handler, context, error);
    enum part_step step = part ? PART_PAUSED : PART_FAILED;
    while (step == PART_PAUSED)
        step = part_read(part, error);
    part_close(part);
    return step == PART_END;
}

const char *part_attribute(const char **attributes, const char *name)
{
    for (size_t i = 0; attributes[i]; i += 2)
        if (strcmp(attributes[i], name) == 0)
            return attributes[i + 1];
    return NULL;
}

const char *part_relation_id(const char **attributes)
{
    for (size_t i = 0; attributes[i]; i += 2)
        if (text_ends_with(attributes[i], "/relationships|id"))
            return attributes[i + 1];
    return NULL;
}

static bool check_entries(struct package *package, struct error *error)
{
    zip_int64_t count = zip_get_num_entries(package->zip, 0);
    if (count > PACKAGE_MOST_ENTRIES)
        return fail(error, ERROR_INPUT,
                    "it is an archive of %lld entries, and a workbook has no more than %d: unpack it", (long long)count,
                    PACKAGE_MOST_ENTRIES);
    for (zip_int64_t i = 0; i < count; i++) {
        const char *name = zip_get_name(package->zip, (zip_uint64_t)i, 0);
        char shown[128];
        text_make_visible(name ? name : "", shown, sizeof shown);
        if (!name || strlen(name) > PACKAGE_LONGEST_NAME || is_path_like(name))
            return fail(error, ERROR_INPUT,
                        "it is an archive with an entry '%s', which no workbook has: save the table as CSV", shown);
    }
    return true;
}

/* Names that would lead out of a folder if somebody unpacked them. */
static bool is_path_like(const char *name)
{
    if (*name == '/' || *name == '\\' || strchr(name, ':'))
        return true;
    for (const char *at = name; *at; at++) {
        bool begins_segment = at == name || at[-1] == '/' || at[-1] == '\\';
        bool is_up = begins_segment && at[0] == '.' && at[1] == '.';
        if (is_up && (at[2] == '\0' || at[2] == '/' || at[2] == '\\'))
            return true;
    }
    return false;
}

static bool find_entry(struct package *package, const char *name, zip_stat_t *ret, bool *ret_found, struct error *error)
{
    zip_int64_t count = zip_get_num_entries(package->zip, 0);
    zip_uint64_t found = 0, matches = 0;
    for (zip_int64_t i = 0; i < count; i++) {
        if (!names_equal(zip_get_name(package->zip, (zip_uint64_t)i, 0), name))
            continue;
        found = (zip_uint64_t)i;
        matches++;
    }
    *ret_found = matches > 0;
    if (matches > 1)
        return fail(error, ERROR_INPUT, "the workbook has its part '%s' twice: save it again", name);
    if (matches == 0)
        return true;
    if (zip_stat_index(package->zip, found, 0, ret) < 0)
        return fail(error, ERROR_INPUT, NOT_WHOLE, zip_strerror(package->zip));
    if (ret->encryption_method != ZIP_EM_NONE)
        return fail(error, ERROR_INPUT, "it is an archive with a password: take the password off and save it again");
    if (ret->comp_method != ZIP_CM_DEFLATE && ret->comp_method != ZIP_CM_STORE)
        return fail(error, ERROR_INPUT, "its part '%s' is packed by method %d, which no workbook uses: save it again",
                    name, ret->comp_method);
    return true;
}

static bool names_equal(const char *a, const char *b)
{
    for (; *a || *b; a++, b++)
        if (folded(*a) != folded(*b))
            return false;
    return true;
}

/* Part names do not know case; some writers use backslashes. */
static char folded(char c)
{
    return c == '\\' ? '/' : c >= 'A' && c <= 'Z' ? (char)(c + ('a' - 'A')) : c;
}

/* One more piece into the parser. */
static enum XML_Status feed(struct part *part)
{
    void *buffer = XML_GetBuffer(part->parser, CHUNK);
    zip_int64_t length = buffer ? zip_fread(part->file, buffer, CHUNK) : 0;
    if (length < 0) {
        fail(&part->failure, ERROR_INPUT, NOT_WHOLE, zip_file_strerror(part->file));
        return XML_STATUS_ERROR;
    }
    if (!buffer || !count_bytes(part, (size_t)length))
        return XML_STATUS_ERROR;
    part->is_finished = length == 0;
    return XML_ParseBuffer(part->parser, (int)length, length == 0);
}

static bool count_bytes(struct part *part, size_t length)
{
    part->inflated += length;
    part->package->inflated += length;
    bool is_bomb = part->inflated > PACKAGE_LARGE_PART && part->inflated / PACKAGE_MOST_RATIO > part->compressed;
    if (part->inflated <= part->limit && part->package->inflated <= PACKAGE_MOST_INFLATED && !is_bomb)
        return true;
    return fail(&part->failure, ERROR_INPUT,
                "the workbook's part '%s' unpacks to more than %llu MiB, which no table needs: split it, or save the "
                "sheet as CSV",
                part->name, (unsigned long long)((part->inflated - length) >> 20));
}

static void on_start(void *data, const XML_Char *name, const XML_Char **attributes)
{
    struct part *part = data;
    if (++part->depth > PACKAGE_DEEPEST)
        part_fail(part, "the workbook's part '%s' has elements nested more than %d deep: save it again", part->name,
                  PACKAGE_DEEPEST);
    const char *local = local_name(name);
    if (!local && part->foreign_depth == 0)
        part->foreign_depth = part->depth;
    if (part->foreign_depth == 0 && part->failure.kind == ERROR_NONE && part->handler->start)
        part->handler->start(part, local, attributes);
}

static void on_end(void *data, const XML_Char *name)
{
    struct part *part = data;
    if (part->foreign_depth == 0 && part->failure.kind == ERROR_NONE && part->handler->end)
        part->handler->end(part, local_name(name));
    if (part->foreign_depth == part->depth)
        part->foreign_depth = 0;
    part->depth--;
}

static void on_text(void *data, const XML_Char *text, int length)
{
    struct part *part = data;
    if (part->foreign_depth == 0 && part->failure.kind == ERROR_NONE && part->handler->text)
        part->handler->text(part, text, (size_t)length);
}

static void on_doctype(void *data, const XML_Char *name, const XML_Char *system, const XML_Char *public_id,
                       int has_subset)
{
    struct part *part = data;
    (void)name, (void)system, (void)public_id, (void)has_subset; /* whatever it declares */
    part_fail(part, "the workbook's part '%s' has a DOCTYPE, which no workbook has: save the sheet as CSV", part->name);
}

/* NULL for a foreign namespace. */
static const char *local_name(const char *name)
{
    for (size_t i = 0; i < COUNT_OF(namespaces); i++) {
        size_t length = strlen(namespaces[i]);
        if (strncmp(name, namespaces[i], length) == 0 && name[length] == '|')
            return name + length + 1;
    }
    return NULL;
}

static void take_relation(struct part *part, const char *name, const char **attributes)
{
    struct relation_reader *reader = part->context;
    const char *id = part_attribute(attributes, "Id"), *type = part_attribute(attributes, "Type"),
               *target = part_attribute(attributes, "Target"), *mode = part_attribute(attributes, "TargetMode");
    bool is_inside = !mode || strcmp(mode, "External") != 0;
    if (strcmp(name, "Relationship") != 0 || !id || !type || !target || !is_inside)
        return;
    if (reader->ret->count == PACKAGE_MOST_RELATIONS || strlen(target) > PACKAGE_LONGEST_NAME) {
        part_fail(part, "the workbook's part '%s' names too many parts, or too long: save it again", part->name);
        return;
    }
    reader->ret->list[reader->ret->count++] =
        (struct relation){.id = arena_strdup(reader->arena, id),
                          .type = arena_strdup(reader->arena, last_segment(type)),
                          .target = resolve(reader->arena, reader->folder, target)};
}

/* "../a/b" from "x/y/" is "x/a/b"; "/a/b" is "a/b". What leads above the root stays at the root. */
static char *resolve(struct arena *arena, const char *folder, const char *target)
{
    char *path = *target == '/' ? arena_strdup(arena, target + 1) : arena_printf(arena, "%s%s", folder, target);
    char *written = path;
    for (const char *at = path; *at;) {
        size_t length = strcspn(at, "/\\");
        bool is_here = length == 0 || (length == 1 && at[0] == '.'),
             is_up = length == 2 && at[0] == '.' && at[1] == '.';
        const char *next = at + length + (at[length] != '\0');
        if (is_up && written > path) {
            written--; /* the slash */
            while (written > path && written[-1] != '/')
                written--;
        } else if (!is_here && !is_up) {
            memmove(written, at, length);
            written += length;
            if (*next || at[length])
                *written++ = '/';
        }
        at = next;
    }
    if (written > path && written[-1] == '/')
        written--;
    *written = '\0';
    return path;
}

static const char *last_segment(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}
