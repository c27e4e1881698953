/* SPDX-License-Identifier: MIT */
#include "archive/netcdf_file.h"

#include "archive/hdf5_message.h"
#include "base/memory.h"

#include <assert.h>
#include <libdeflate.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum {
    NAME_SIZE = 64,
    DEFLATE_LEVEL = 1,     /* half the time of level 4 for a twentieth more bytes */
    LARGEST_CHUNK = 16384, /* rows: 128 KiB of doubles, an eighth of the usual cache of a reader */
    SUPERBLOCK_SIZE = 48,
    HEAP_SMALLEST = 4096,
    HEAP_OBJECT_HEAD = 16,
};
#define PIECES_LIMIT ((size_t)1 << 30)

struct object {             /* a variable, or the file itself */
    struct text attributes; /* as messages */
    uint16_t attribute_count;
};

struct variable {
    struct object object;
    char name[NAME_SIZE];
    enum netcdf_type type;
    bool has_rows;
    char fill[8]; /* of `type` */
    bool has_fill;
    struct text data;    /* rows: compressed chunks one after the other; else the value, of a string its bytes */
    size_t *chunk_sizes; /* in data; NULL without rows */
    /* While rendering: */
    uint64_t header;       /* address of the object header */
    uint64_t data_address; /* of the B-tree or the value; HDF5_UNDEFINED without rows */
    unsigned heap_index;   /* of its string or of its list of dimensions; 0 none */
};

struct netcdf_file {
    size_t rows, chunk_rows, chunk_count;
    struct object global;
    struct variable variables[NETCDF_VARIABLES_MAX];
    size_t count;
    struct libdeflate_compressor *compressor;
    uint64_t heap;                                /* address */
    size_t heap_references[NETCDF_VARIABLES_MAX]; /* places of the coordinate variable's address */
    size_t heap_reference_count;
};

static struct variable *add_variable(struct netcdf_file *file, const char *name, enum netcdf_type type);
static void compress_chunk(struct netcdf_file *file, struct variable *variable, size_t chunk, const void *values);
static struct object *object_of(struct netcdf_file *file, size_t variable);
static void begin_attribute(struct text *body, const char *name, size_t type_size, size_t space_size);
static void end_attribute(struct object *object, struct text *body);
static void put_tree_width(struct netcdf_file *file, struct text *to);
static void put_chunks(const struct netcdf_file *file, struct variable *variable, struct text *to);
static void put_tree(const struct netcdf_file *file, const struct variable *variable, uint64_t address,
                     struct text *to);
static void put_heap(struct netcdf_file *file, struct text *to);
static void put_heap_object(struct text *to, unsigned index, const char *bytes, size_t n);
static void put_value(const struct netcdf_file *file, struct variable *variable, struct text *to);
static void put_variable(const struct netcdf_file *file, struct variable *variable, struct text *to);
static void put_fill_message(const struct variable *variable, struct text *messages);
static void put_layout(const struct netcdf_file *file, const struct variable *variable, struct text *messages);
static void put_filters(const struct variable *variable, struct text *messages);
static void put_dimension_list(const struct netcdf_file *file, struct variable *variable);
static void put_dimension_scale(struct netcdf_file *file);
static void put_ended_text(struct object *object, const char *name, const char *text);
static void put_back_references(struct netcdf_file *file);
static uint64_t put_root(const struct netcdf_file *file, struct text *to);
static void put_link(const struct variable *variable, uint64_t order, struct text *messages);
static void put_attributes(const struct object *object, struct text *messages);
static void put_body(struct text *messages, enum hdf5_message type, struct text *body);
static void set_superblock(struct text *at, uint64_t extension, uint64_t root);

struct netcdf_file *netcdf_file_new(size_t rows)
{
    struct netcdf_file *file = x_alloc(sizeof *file);
    file->rows = rows;
    file->chunk_count = (rows + LARGEST_CHUNK - 1) / LARGEST_CHUNK;
    file->chunk_rows = file->chunk_count > 0 ? (rows + file->chunk_count - 1) / file->chunk_count : 1;
    file->compressor = libdeflate_alloc_compressor(DEFLATE_LEVEL);
    text_init(&file->global.attributes, PIECES_LIMIT);
    return file;
}

void netcdf_file_free(struct netcdf_file *file)
{
    if (!file)
        return;
    for (size_t i = 0; i < file->count; i++) {
        text_done(&file->variables[i].object.attributes);
        text_done(&file->variables[i].data);
        free(file->variables[i].chunk_sizes);
    }
    text_done(&file->global.attributes);
    libdeflate_free_compressor(file->compressor);
    free(file);
}

/* ---- What goes in ---- */

size_t netcdf_file_add_rows(struct netcdf_file *file, const char *name, enum netcdf_type type, const void *values)
{
    assert(type != NETCDF_STRING);
    struct variable *variable = add_variable(file, name, type);
    variable->has_rows = true;
    variable->chunk_sizes = x_array(file->chunk_count + 1, sizeof *variable->chunk_sizes);
    for (size_t chunk = 0; chunk < file->chunk_count; chunk++)
        compress_chunk(file, variable, chunk, values);
    return file->count - 1;
}

size_t netcdf_file_add_value(struct netcdf_file *file, const char *name, enum netcdf_type type, const void *value)
{
    assert(file->count > 0); /* the coordinate variable stands first */
    struct variable *variable = add_variable(file, name, type);
    if (type == NETCDF_STRING)
        text_puts(&variable->data, value);
    else
        hdf5_put_values(&variable->data, type, value, 1);
    return file->count - 1;
}

static struct variable *add_variable(struct netcdf_file *file, const char *name, enum netcdf_type type)
{
    assert(file->count < NETCDF_VARIABLES_MAX && strlen(name) < NAME_SIZE);
    struct variable *variable = &file->variables[file->count++];
    variable->type = type;
    memcpy(variable->name, name, strlen(name) + 1);
    text_init(&variable->object.attributes, PIECES_LIMIT);
    text_init(&variable->data, PIECES_LIMIT);
    return variable;
}

/* All chunks have the same number of rows; what the last one lacks is zero. */
static void compress_chunk(struct netcdf_file *file, struct variable *variable, size_t chunk, const void *values)
{
    size_t size = hdf5_size(variable->type), first = chunk * file->chunk_rows;
    size_t rows = file->rows - first < file->chunk_rows ? file->rows - first : file->chunk_rows;
    const void *whole = (const char *)values + first * size;
    char *padded = NULL;
    if (rows < file->chunk_rows)
        whole = padded = memcpy(x_array(file->chunk_rows, size), whole, rows * size);
    struct text shuffled;
    text_init(&shuffled, PIECES_LIMIT);
    hdf5_put_shuffled(&shuffled, variable->type, whole, file->chunk_rows);
    size_t bound = libdeflate_zlib_compress_bound(file->compressor, shuffled.length);
    char *packed = text_room(&variable->data, bound);
    size_t length =
        packed ? libdeflate_zlib_compress(file->compressor, shuffled.bytes, shuffled.length, packed, bound) : 0;
    assert(!packed || length > 0);
    text_shorten(&variable->data, packed ? bound - length : 0);
    variable->chunk_sizes[chunk] = length;
    text_done(&shuffled);
    free(padded);
}

void netcdf_file_put_text(struct netcdf_file *file, size_t variable, const char *name, const char *text)
{
    size_t length = strlen(text);
    if (length == 0)
        return;
    if (length > NETCDF_TEXT_MAX) /* at a whole character */
        for (length = NETCDF_TEXT_MAX; ((unsigned char)text[length] & 0xC0) == 0x80;)
            length--;
    struct text body;
    begin_attribute(&body, name, 8, 4);
    hdf5_put_text_type(&body, length, false);
    hdf5_put_single_space(&body);
    text_add(&body, text, length);
    end_attribute(object_of(file, variable), &body);
}

void netcdf_file_put_numbers(struct netcdf_file *file, size_t variable, const char *name, enum netcdf_type type,
                             const void *values, size_t n)
{
    assert(n > 0 && type != NETCDF_STRING);
    struct text body;
    begin_attribute(&body, name, type == NETCDF_BYTE || type == NETCDF_INT ? 12 : 20, 12);
    hdf5_put_type(&body, type);
    hdf5_put_row_space(&body, n);
    hdf5_put_values(&body, type, values, n);
    end_attribute(object_of(file, variable), &body);
}

void netcdf_file_put_fill(struct netcdf_file *file, size_t variable, const void *value)
{
    struct variable *at = &file->variables[variable];
    struct text bytes;
    text_init(&bytes, sizeof at->fill);
    hdf5_put_values(&bytes, at->type, value, 1);
    memcpy(at->fill, bytes.bytes, bytes.length);
    at->has_fill = true;
    text_done(&bytes);
    netcdf_file_put_numbers(file, variable, "_FillValue", at->type, value, 1);
}

static struct object *object_of(struct netcdf_file *file, size_t variable)
{
    assert(variable == NETCDF_GLOBAL || variable < file->count);
    return variable == NETCDF_GLOBAL ? &file->global : &file->variables[variable].object;
}

/* Attribute message version 3 [IV.A.2.m]; type, space and data follow. */
static void begin_attribute(struct text *body, const char *name, size_t type_size, size_t space_size)
{
    text_init(body, UINT16_MAX);
    text_add(body, "\x03\0", 2);
    hdf5_put_integer(body, strlen(name) + 1, 2);
    hdf5_put_integer(body, type_size, 2);
    hdf5_put_integer(body, space_size, 2);
    hdf5_put_integer(body, 0, 1); /* the name is ASCII */
    text_add(body, name, strlen(name) + 1);
}

static void end_attribute(struct object *object, struct text *body)
{
    assert(!body->is_full);
    hdf5_put_message(&object->attributes, HDF5_ATTRIBUTE, object->attribute_count++, body);
    text_done(body);
}

/* ---- What comes out ---- */

void netcdf_file_render(struct netcdf_file *file, struct text *ret)
{
    assert(ret->length == 0 && file->count > 0 && file->variables[0].has_rows);
    hdf5_put_zeros(ret, SUPERBLOCK_SIZE);
    uint64_t extension = ret->length;
    put_tree_width(file, ret);
    for (size_t i = 0; i < file->count; i++)
        if (file->variables[i].has_rows)
            put_chunks(file, &file->variables[i], ret);
    put_heap(file, ret);
    for (size_t i = 0; i < file->count; i++)
        if (!file->variables[i].has_rows)
            put_value(file, &file->variables[i], ret);
    for (size_t i = 1; i < file->count; i++) {
        put_dimension_list(file, &file->variables[i]);
        put_variable(file, &file->variables[i], ret);
    }
    put_dimension_scale(file);
    put_variable(file, &file->variables[0], ret);
    uint64_t root = put_root(file, ret);
    if (ret->is_full)
        return;
    for (size_t i = 0; i < file->heap_reference_count; i++)
        hdf5_set_integer(ret, file->heap_references[i], file->variables[0].header, 8);
    set_superblock(ret, extension, root);
}

/* How many chunks a B-tree node has room for: so many that a single node is always enough. */
static void put_tree_width(struct netcdf_file *file, struct text *to)
{
    struct text messages, body;
    text_init(&messages, PIECES_LIMIT);
    text_init(&body, UINT16_MAX);
    hdf5_put_integer(&body, 0, 1);
    hdf5_put_integer(&body, (file->chunk_count + 1) / 2 + 1, 2);
    hdf5_put_integer(&body, 16, 2); /* the usual widths of groups; ours keep their links in the header */
    hdf5_put_integer(&body, 4, 2);
    put_body(&messages, HDF5_TREE_WIDTH, &body);
    hdf5_put_header(to, &messages);
    text_done(&messages);
}

static void put_chunks(const struct netcdf_file *file, struct variable *variable, struct text *to)
{
    variable->data_address = HDF5_UNDEFINED;
    if (file->chunk_count == 0)
        return;
    hdf5_align(to);
    uint64_t address = to->length;
    hdf5_put_piece(to, &variable->data);
    hdf5_align(to);
    variable->data_address = to->length;
    put_tree(file, variable, address, to);
}

/* B-tree version 1, node for chunks [III.A.1]: key, child, key, child, ..., key. */
static void put_tree(const struct netcdf_file *file, const struct variable *variable, uint64_t address, struct text *to)
{
    enum { HEAD = 24, KEY = 24, CHILD = 8 };
    size_t start = to->length, room = 2 * ((file->chunk_count + 1) / 2 + 1);
    text_add(to, "TREE\x01\0", 6);
    hdf5_put_integer(to, file->chunk_count, 2);
    hdf5_put_integer(to, HDF5_UNDEFINED, 8); /* neighbours */
    hdf5_put_integer(to, HDF5_UNDEFINED, 8);
    for (size_t chunk = 0; chunk <= file->chunk_count; chunk++) {
        hdf5_put_integer(to, variable->chunk_sizes[chunk], 4); /* the one behind the last is 0 */
        hdf5_put_integer(to, 0, 4);                            /* no filter was left out */
        hdf5_put_integer(to, chunk * file->chunk_rows, 8);
        hdf5_put_integer(to, 0, 8);
        if (chunk == file->chunk_count)
            break;
        hdf5_put_integer(to, address, 8);
        address += variable->chunk_sizes[chunk];
    }
    hdf5_put_zeros(to, HEAD + room * (KEY + CHILD) + KEY - (to->length - start));
}

/* Global heap [III.E]: strings, and for each row variable the list of its dimensions, which has one entry. */
static void put_heap(struct netcdf_file *file, struct text *to)
{
    unsigned objects = 0;
    size_t used = HEAP_OBJECT_HEAD;
    hdf5_align(to);
    file->heap = to->length;
    text_add(to, "GCOL\x01\0\0\0", 8);
    hdf5_put_integer(to, 0, 8); /* size: set below */
    for (size_t i = 0; i < file->count; i++) {
        struct variable *variable = &file->variables[i];
        if (variable->type == NETCDF_STRING) {
            variable->heap_index = ++objects;
            put_heap_object(to, objects, variable->data.length > 0 ? variable->data.bytes : "", variable->data.length);
        } else if (variable->has_rows && i > 0) {
            variable->heap_index = ++objects;
            file->heap_references[file->heap_reference_count++] = to->length + HEAP_OBJECT_HEAD;
            put_heap_object(to, objects, "\0\0\0\0\0\0\0", 8);
        }
    }
    used = to->length - file->heap;
    size_t size = used + HEAP_OBJECT_HEAD < HEAP_SMALLEST ? HEAP_SMALLEST : used + HEAP_OBJECT_HEAD;
    hdf5_put_zeros(to, 8);
    hdf5_put_integer(to, size - used, 8); /* free space, as object 0 */
    hdf5_put_zeros(to, size - used - HEAP_OBJECT_HEAD);
    if (!to->is_full)
        hdf5_set_integer(to, file->heap + 8, size, 8);
}

static void put_heap_object(struct text *to, unsigned index, const char *bytes, size_t n)
{
    hdf5_put_integer(to, index, 2);
    hdf5_put_integer(to, 1, 2); /* users */
    hdf5_put_integer(to, 0, 4);
    hdf5_put_integer(to, n, 8);
    text_add(to, bytes, n);
    hdf5_align(to);
}

static void put_value(const struct netcdf_file *file, struct variable *variable, struct text *to)
{
    hdf5_align(to);
    variable->data_address = to->length;
    if (variable->type != NETCDF_STRING) {
        hdf5_put_piece(to, &variable->data);
        return;
    }
    hdf5_put_integer(to, variable->data.length, 4);
    hdf5_put_integer(to, file->heap, 8);
    hdf5_put_integer(to, variable->heap_index, 4);
}

static void put_variable(const struct netcdf_file *file, struct variable *variable, struct text *to)
{
    struct text messages, body;
    text_init(&messages, PIECES_LIMIT);
    text_init(&body, UINT16_MAX);
    if (variable->has_rows)
        hdf5_put_row_space(&body, file->rows);
    else
        hdf5_put_single_space(&body);
    put_body(&messages, HDF5_DATASPACE, &body);
    hdf5_put_type(&body, variable->type);
    put_body(&messages, HDF5_DATATYPE, &body);
    put_fill_message(variable, &messages);
    put_layout(file, variable, &messages);
    if (variable->has_rows)
        put_filters(variable, &messages);
    put_attributes(&variable->object, &messages);
    variable->header = hdf5_put_header(to, &messages);
    text_done(&messages);
}

/* Version 3 [IV.A.2.f]. */
static void put_fill_message(const struct variable *variable, struct text *messages)
{
    enum { ROOM_LATE = 2, ROOM_BY_CHUNK = 3, WRITTEN_IF_SET = 2 << 2, IS_DEFINED = 1 << 5 };
    struct text body;
    text_init(&body, UINT16_MAX);
    unsigned flags = WRITTEN_IF_SET | (variable->has_rows ? ROOM_BY_CHUNK : ROOM_LATE);
    hdf5_put_integer(&body, 3, 1);
    hdf5_put_integer(&body, flags | (variable->has_fill ? IS_DEFINED : 0), 1);
    if (variable->has_fill) {
        hdf5_put_integer(&body, hdf5_size(variable->type), 4);
        text_add(&body, variable->fill, hdf5_size(variable->type));
    }
    put_body(messages, HDF5_FILL_VALUE, &body);
}

/* Version 3 [IV.A.2.i]. */
static void put_layout(const struct netcdf_file *file, const struct variable *variable, struct text *messages)
{
    struct text body;
    size_t size = hdf5_size(variable->type);
    text_init(&body, UINT16_MAX);
    text_add(&body, variable->has_rows ? "\x03\x02\x02" : "\x03\x01", variable->has_rows ? 3 : 2);
    hdf5_put_integer(&body, variable->data_address, 8);
    if (variable->has_rows) {
        hdf5_put_integer(&body, file->chunk_rows, 4);
        hdf5_put_integer(&body, size, 4);
    } else {
        hdf5_put_integer(&body, size, 8);
    }
    put_body(messages, HDF5_LAYOUT, &body);
}

/* Version 2 [IV.A.2.l]. Shuffling single bytes changes nothing, and is left out. */
static void put_filters(const struct variable *variable, struct text *messages)
{
    size_t size = hdf5_size(variable->type);
    struct text body;
    text_init(&body, UINT16_MAX);
    hdf5_put_integer(&body, 2, 1);
    hdf5_put_integer(&body, size > 1 ? 2 : 1, 1);
    if (size > 1) {
        text_add(&body, "\x02\0\x01\0\x01\0", 6); /* shuffle, may fail, one number */
        hdf5_put_integer(&body, size, 4);
    }
    text_add(&body, "\x01\0\x01\0\x01\0", 6); /* deflate */
    hdf5_put_integer(&body, DEFLATE_LEVEL, 4);
    put_body(messages, HDF5_FILTERS, &body);
}

/* Which dimension the rows belong to, in the convention of HDF5 dimension scales. */
static void put_dimension_list(const struct netcdf_file *file, struct variable *variable)
{
    if (!variable->has_rows)
        return;
    struct text body;
    begin_attribute(&body, "DIMENSION_LIST", 16, 12);
    hdf5_put_reference_list_type(&body);
    hdf5_put_row_space(&body, 1);
    hdf5_put_integer(&body, 1, 4); /* one entry */
    hdf5_put_integer(&body, file->heap, 8);
    hdf5_put_integer(&body, variable->heap_index, 4);
    end_attribute(&variable->object, &body);
}

static void put_dimension_scale(struct netcdf_file *file)
{
    struct variable *coordinate = &file->variables[0];
    put_ended_text(&coordinate->object, "CLASS", "DIMENSION_SCALE");
    put_ended_text(&coordinate->object, "NAME", coordinate->name);
    put_back_references(file);
}

/* Readers of dimension scales insist on the NUL. */
static void put_ended_text(struct object *object, const char *name, const char *text)
{
    struct text body;
    begin_attribute(&body, name, 8, 4);
    hdf5_put_text_type(&body, strlen(text) + 1, true);
    hdf5_put_single_space(&body);
    text_add(&body, text, strlen(text) + 1);
    end_attribute(object, &body);
}

/* Who uses the scale. */
static void put_back_references(struct netcdf_file *file)
{
    size_t users = 0;
    for (size_t i = 1; i < file->count; i++)
        users += file->variables[i].has_rows;
    if (users == 0)
        return;
    struct text body;
    begin_attribute(&body, "REFERENCE_LIST", 48, 12);
    hdf5_put_back_reference_type(&body);
    hdf5_put_row_space(&body, users);
    for (size_t i = 1; i < file->count; i++) {
        if (!file->variables[i].has_rows)
            continue;
        hdf5_put_integer(&body, file->variables[i].header, 8);
        hdf5_put_integer(&body, 0, 8); /* the first dimension, and four bytes unused */
    }
    end_attribute(&file->variables[0].object, &body);
}

static uint64_t put_root(const struct netcdf_file *file, struct text *to)
{
    enum { ORDER_IS_KEPT = 1, ORDER_IS_INDEXED = 2, LIMITS_ARE_GIVEN = 1 };
    struct text messages, body;
    text_init(&messages, PIECES_LIMIT);
    text_init(&body, UINT16_MAX);
    hdf5_put_integer(&body, 0, 1);
    hdf5_put_integer(&body, ORDER_IS_KEPT | ORDER_IS_INDEXED, 1);
    hdf5_put_integer(&body, file->count, 8);
    for (unsigned i = 0; i < 3; i++) /* heap and both indices: all links stand in this header */
        hdf5_put_integer(&body, HDF5_UNDEFINED, 8);
    put_body(&messages, HDF5_LINK_INFO, &body);
    hdf5_put_integer(&body, 0, 1);
    hdf5_put_integer(&body, LIMITS_ARE_GIVEN, 1);
    hdf5_put_integer(&body, UINT16_MAX, 2);
    hdf5_put_integer(&body, 0, 2);
    put_body(&messages, HDF5_GROUP_INFO, &body);
    for (size_t i = 0; i < file->count; i++)
        put_link(&file->variables[i], i, &messages);
    put_attributes(&file->global, &messages);
    uint64_t address = hdf5_put_header(to, &messages);
    text_done(&messages);
    return address;
}

static void put_link(const struct variable *variable, uint64_t order, struct text *messages)
{
    enum { ORDER_IS_THERE = 4 };
    struct text body;
    text_init(&body, UINT16_MAX);
    hdf5_put_integer(&body, 1, 1);
    hdf5_put_integer(&body, ORDER_IS_THERE, 1);
    hdf5_put_integer(&body, order, 8);
    hdf5_put_integer(&body, strlen(variable->name), 1);
    text_puts(&body, variable->name);
    hdf5_put_integer(&body, variable->header, 8);
    put_body(messages, HDF5_LINK, &body);
}

static void put_attributes(const struct object *object, struct text *messages)
{
    enum { ORDER_IS_KEPT = 1, ORDER_IS_INDEXED = 2 };
    struct text body;
    text_init(&body, UINT16_MAX);
    hdf5_put_integer(&body, 0, 1);
    hdf5_put_integer(&body, ORDER_IS_KEPT | ORDER_IS_INDEXED, 1);
    hdf5_put_integer(&body, object->attribute_count, 2);
    for (unsigned i = 0; i < 3; i++)
        hdf5_put_integer(&body, HDF5_UNDEFINED, 8);
    put_body(messages, HDF5_ATTRIBUTE_INFO, &body);
    hdf5_put_piece(messages, &object->attributes);
}

/* Adds the message, and makes `body` ready for the next. */
static void put_body(struct text *messages, enum hdf5_message type, struct text *body)
{
    assert(!body->is_full);
    hdf5_put_message(messages, type, 0, body);
    text_done(body);
    text_init(body, UINT16_MAX);
}

/* Version 2 [II.A]. */
static void set_superblock(struct text *at, uint64_t extension, uint64_t root)
{
    memcpy(at->bytes, "\x89HDF\r\n\x1A\n\x02\x08\x08\0", 12); /* addresses and lengths of 8 bytes */
    hdf5_set_integer(at, 12, 0, 8);                           /* addresses count from here */
    hdf5_set_integer(at, 20, extension, 8);
    hdf5_set_integer(at, 28, at->length, 8);
    hdf5_set_integer(at, 36, root, 8);
    hdf5_set_integer(at, 44, hdf5_checksum(at->bytes, 44), 4);
}
