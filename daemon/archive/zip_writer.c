/* SPDX-License-Identifier: MIT */
#include "archive/zip_writer.h"

#include "base/memory.h"

#include <assert.h>
#include <libdeflate.h>
#include <stdlib.h>
#include <string.h>

enum {
    LEVEL = 1,             /* an eighth of the time of level 5 for a sixth more bytes */
    PACKED_LENGTH_AT = 14, /* in what put_common() writes */
    VERSION = 20,          /* 2.0: deflate */
    DEFLATED = 8,
    FIRST_OF_1980 = 1 << 5 | 1,
};

struct zip_writer {
    struct text *to;
    struct text directory;
    unsigned count;
    struct libdeflate_compressor *compressor;
};

static size_t put_packed(struct zip_writer *zip, const char *bytes, size_t n);
static void put(struct text *to, unsigned long value, unsigned bytes);
static void put_common(struct text *to, size_t name_length, uint32_t checksum, size_t packed, size_t length);

struct zip_writer *zip_writer_new(struct text *to)
{
    assert(to->length == 0);
    struct zip_writer *zip = x_alloc(sizeof *zip);
    zip->to = to;
    zip->compressor = libdeflate_alloc_compressor(LEVEL);
    text_init(&zip->directory, (size_t)1 << 24);
    return zip;
}

void zip_writer_add(struct zip_writer *zip, const char *name, const struct text *content)
{
    const char *bytes = content->length > 0 ? content->bytes : "";
    size_t name_length = strlen(name), start = zip->to->length;
    uint32_t checksum = libdeflate_crc32(0, bytes, content->length);
    assert(content->length <= UINT32_MAX && name_length <= UINT16_MAX);
    text_add(zip->to, "PK\3\4", 4);
    size_t common = zip->to->length; /* the packed length stands there, and is known behind */
    put_common(zip->to, name_length, checksum, 0, content->length);
    text_add(zip->to, name, name_length);
    size_t length = put_packed(zip, bytes, content->length);
    for (unsigned i = 0; i < 4 && !zip->to->is_full; i++)
        zip->to->bytes[common + PACKED_LENGTH_AT + i] = (char)(length >> 8 * i & 0xFF);

    text_add(&zip->directory, "PK\1\2", 4);
    put(&zip->directory, VERSION, 2);
    put_common(&zip->directory, name_length, checksum, length, content->length);
    put(&zip->directory, 0, 2); /* no remark */
    put(&zip->directory, 0, 4); /* first disk; no attributes */
    put(&zip->directory, 0, 4);
    put(&zip->directory, start, 4);
    text_add(&zip->directory, name, name_length);
    zip->count++;
}

static size_t put_packed(struct zip_writer *zip, const char *bytes, size_t n)
{
    size_t bound = libdeflate_deflate_compress_bound(zip->compressor, n);
    char *packed = text_room(zip->to, bound);
    if (!packed)
        return 0;
    size_t length = libdeflate_deflate_compress(zip->compressor, bytes, n, packed, bound);
    assert(length > 0);
    text_shorten(zip->to, bound - length);
    return length;
}

/* What stands in front of a member as well as in the directory. */
static void put_common(struct text *to, size_t name_length, uint32_t checksum, size_t packed, size_t length)
{
    put(to, VERSION, 2);
    put(to, 0, 2);
    put(to, DEFLATED, 2);
    put(to, 0, 2); /* midnight */
    put(to, FIRST_OF_1980, 2);
    put(to, checksum, 4);
    put(to, packed, 4);
    put(to, length, 4);
    put(to, name_length, 2);
    put(to, 0, 2); /* no extra field */
}

void zip_writer_end(struct zip_writer *zip)
{
    size_t start = zip->to->length;
    assert(zip->count > 0 && zip->count <= UINT16_MAX && start <= UINT32_MAX);
    text_add(zip->to, zip->directory.bytes, zip->directory.length);
    text_add(zip->to, "PK\5\6", 4);
    put(zip->to, 0, 4); /* one disk */
    put(zip->to, zip->count, 2);
    put(zip->to, zip->count, 2);
    put(zip->to, zip->directory.length, 4);
    put(zip->to, start, 4);
    put(zip->to, 0, 2); /* no remark */
    text_done(&zip->directory);
    libdeflate_free_compressor(zip->compressor);
    free(zip);
}

static void put(struct text *to, unsigned long value, unsigned bytes)
{
    for (unsigned i = 0; i < bytes; i++)
        text_putc(to, (char)(value >> 8 * i & 0xFF));
}
