/* SPDX-License-Identifier: MIT */
#include "archive/png_file.h"

#include "base/memory.h"

#include <assert.h>
#include <libdeflate.h>
#include <stdlib.h>
#include <string.h>

/* From 8 on it takes four times as long, for files of the same size. */
enum { BYTES_PER_DOT = 3, COMPRESSION = 6 };

static void add_chunk(struct text *text, const char *type, const unsigned char *bytes, size_t n);
static void put_number(unsigned char *ret, uint32_t number);
static unsigned char *take_rows(const unsigned char *dots, int width, int height, int stride, size_t *ret_n);

void png_file_write(const unsigned char *dots, int width, int height, int stride, struct text *ret)
{
    static const char signature[] = "\x89PNG\r\n\x1a\n";
    unsigned char header[13] = {[8] = 8 /* bits */, [9] = 2 /* red, green, blue */};
    put_number(header, (uint32_t)width);
    put_number(header + 4, (uint32_t)height);
    size_t n;
    unsigned char *rows = take_rows(dots, width, height, stride, &n);
    struct libdeflate_compressor *compressor = libdeflate_alloc_compressor(COMPRESSION);
    assert(compressor);
    size_t bound = libdeflate_zlib_compress_bound(compressor, n);
    unsigned char *packed = x_array(bound, 1);
    size_t packed_n = libdeflate_zlib_compress(compressor, rows, n, packed, bound);
    libdeflate_free_compressor(compressor);
    text_add(ret, signature, sizeof signature - 1);
    add_chunk(ret, "IHDR", header, sizeof header);
    add_chunk(ret, "IDAT", packed, packed_n);
    add_chunk(ret, "IEND", NULL, 0);
    free(packed);
    free(rows);
}

static unsigned char *take_rows(const unsigned char *dots, int width, int height, int stride, size_t *ret_n)
{
    size_t row_n = 1 + (size_t)width * BYTES_PER_DOT;
    *ret_n = row_n * (size_t)height;
    unsigned char *rows = x_array((size_t)height, row_n), *at = rows;
    for (int y = 0; y < height; y++) {
        *at++ = 0; /* no filter */
        for (int x = 0; x < width; x++) {
            uint32_t dot;
            memcpy(&dot, dots + (size_t)y * (size_t)stride + (size_t)x * sizeof dot, sizeof dot);
            *at++ = (unsigned char)(dot >> 16);
            *at++ = (unsigned char)(dot >> 8);
            *at++ = (unsigned char)dot;
        }
    }
    return rows;
}

static void add_chunk(struct text *text, const char *type, const unsigned char *bytes, size_t n)
{
    unsigned char number[4];
    uint32_t sum = libdeflate_crc32(0, type, 4);
    sum = n > 0 ? libdeflate_crc32(sum, bytes, n) : sum;
    put_number(number, (uint32_t)n);
    text_add(text, (const char *)number, sizeof number);
    text_add(text, type, 4);
    text_add(text, (const char *)bytes, n);
    put_number(number, sum);
    text_add(text, (const char *)number, sizeof number);
}

static void put_number(unsigned char *ret, uint32_t number)
{
    for (int k = 0; k < 4; k++)
        ret[k] = (unsigned char)(number >> (24 - 8 * k));
}
