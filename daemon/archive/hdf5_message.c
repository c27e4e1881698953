/* SPDX-License-Identifier: MIT */
#include "archive/hdf5_message.h"

#include <assert.h>
#include <string.h>

static const bool is_little_endian = __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__;

static uint64_t bits_of(enum netcdf_type type, const void *values, size_t index);
static void put_float_type(struct text *to, size_t size);
static uint32_t rotate(uint32_t value, unsigned bits);
static uint32_t word_at(const unsigned char *at, size_t available);

void hdf5_put_integer(struct text *to, uint64_t value, unsigned bytes)
{
    char little[8];
    for (unsigned i = 0; i < bytes; i++)
        little[i] = (char)(value >> 8 * i & 0xFF);
    text_add(to, little, bytes);
}

void hdf5_set_integer(struct text *at, size_t offset, uint64_t value, unsigned bytes)
{
    assert(offset + bytes <= at->length);
    for (unsigned i = 0; i < bytes; i++)
        at->bytes[offset + i] = (char)(value >> 8 * i & 0xFF);
}

void hdf5_put_values(struct text *to, enum netcdf_type type, const void *values, size_t n)
{
    for (size_t i = 0; i < n; i++)
        hdf5_put_integer(to, bits_of(type, values, i), (unsigned)hdf5_size(type));
}

/* Plane by plane: the lowest byte of all values, then the next of all. */
void hdf5_put_shuffled(struct text *to, enum netcdf_type type, const void *values, size_t n)
{
    size_t size = hdf5_size(type);
    char *planes = text_room(to, n * size);
    if (planes && size == 4) { /* the most common by far: one number at a time, its bytes to their planes */
        for (size_t i = 0; i < n; i++) {
            uint32_t number;
            memcpy(&number, (const char *)values + 4 * i, 4);
            planes[i] = (char)(number & 0xFF);
            planes[n + i] = (char)(number >> 8 & 0xFF);
            planes[2 * n + i] = (char)(number >> 16 & 0xFF);
            planes[3 * n + i] = (char)(number >> 24);
        }
        return;
    }
    for (size_t plane = 0; planes && plane < size; plane++) {
        size_t byte = is_little_endian ? plane : size - 1 - plane;
        const char *at = (const char *)values + byte;
        for (size_t i = 0; i < n; i++)
            planes[plane * n + i] = at[i * size];
    }
}

static uint64_t bits_of(enum netcdf_type type, const void *values, size_t index)
{
    uint32_t narrow;
    uint64_t wide;
    switch (type) {
    case NETCDF_BYTE: return ((const uint8_t *)values)[index];
    case NETCDF_INT:
    case NETCDF_FLOAT: memcpy(&narrow, (const char *)values + 4 * index, 4); return narrow;
    case NETCDF_DOUBLE: memcpy(&wide, (const char *)values + 8 * index, 8); return wide;
    case NETCDF_STRING: break;
    }
    assert(false); /* strings are kept in the heap */
    return 0;
}

void hdf5_put_zeros(struct text *to, size_t n)
{
    static const char zeros[64];
    for (; n > sizeof zeros; n -= sizeof zeros)
        text_add(to, zeros, sizeof zeros);
    text_add(to, zeros, n);
}

void hdf5_put_piece(struct text *to, const struct text *piece)
{
    if (piece->length > 0)
        text_add(to, piece->bytes, piece->length);
}

void hdf5_align(struct text *to)
{
    hdf5_put_zeros(to, (8 - to->length % 8) % 8);
}

size_t hdf5_size(enum netcdf_type type)
{
    static const size_t sizes[] = {
        [NETCDF_BYTE] = 1, [NETCDF_INT] = 4, [NETCDF_FLOAT] = 4, [NETCDF_DOUBLE] = 8, [NETCDF_STRING] = 16};
    return sizes[type];
}

void hdf5_put_type(struct text *to, enum netcdf_type type)
{
    size_t size = hdf5_size(type);
    switch (type) {
    case NETCDF_BYTE:
    case NETCDF_INT:
        text_add(to, "\x10\x08\0\0", 4); /* integer, signed */
        hdf5_put_integer(to, size, 4);
        hdf5_put_integer(to, 0, 2);
        hdf5_put_integer(to, 8 * size, 2);
        return;
    case NETCDF_FLOAT:
    case NETCDF_DOUBLE: put_float_type(to, size); return;
    case NETCDF_STRING:
        text_add(to, "\x19\x01\x01\0", 4); /* any number of bytes: text in UTF-8 */
        hdf5_put_integer(to, size, 4);
        text_add(to, "\x10\0\0\0\x01\0\0\0\0\0\x08\0", 12); /* made of unsigned bytes */
        return;
    }
}

/* IEEE 754: size, then where sign, exponent and fraction stand. */
static void put_float_type(struct text *to, size_t size)
{
    if (size == 4)
        text_add(to, "\x11\x20\x1F\0\x04\0\0\0\0\0\x20\0\x17\x08\0\x17\x7F\0\0\0", 20);
    else
        text_add(to, "\x11\x20\x3F\0\x08\0\0\0\0\0\x40\0\x34\x0B\0\x34\xFF\x03\0\0", 20);
}

void hdf5_put_text_type(struct text *to, size_t length, bool is_ended)
{
    text_add(to, is_ended ? "\x13\x10\0\0" : "\x13\x11\0\0", 4);
    hdf5_put_integer(to, length, 4);
}

void hdf5_put_reference_type(struct text *to)
{
    text_add(to, "\x17\0\0\0\x08\0\0\0", 8);
}

void hdf5_put_reference_list_type(struct text *to)
{
    text_add(to, "\x19\0\0\0\x10\0\0\0", 8);
    hdf5_put_reference_type(to);
}

void hdf5_put_back_reference_type(struct text *to)
{
    text_add(to, "\x36\x02\0\0\x10\0\0\0", 8); /* two members, 16 bytes */
    text_add(to, "dataset\0\0", 9);            /* name, offset 0 */
    hdf5_put_reference_type(to);
    text_add(to, "dimension\0\x08", 11); /* name, offset 8 */
    hdf5_put_type(to, NETCDF_INT);
}

void hdf5_put_single_space(struct text *to)
{
    hdf5_put_integer(to, 2, 4); /* version 2, no dimension, no flag, single value */
}

void hdf5_put_row_space(struct text *to, uint64_t n)
{
    bool may_grow = n == 0;
    text_add(to, may_grow ? "\x02\x01\x01\x01" : "\x02\x01\0\x01", 4);
    hdf5_put_integer(to, n, 8);
    if (may_grow)
        hdf5_put_integer(to, UINT64_MAX, 8);
}

void hdf5_put_message(struct text *to, enum hdf5_message type, uint16_t order, const struct text *body)
{
    bool never_changes = type == HDF5_DATATYPE || type == HDF5_FILL_VALUE || type == HDF5_TREE_WIDTH;
    assert(body->length <= UINT16_MAX);
    hdf5_put_integer(to, type, 1);
    hdf5_put_integer(to, body->length, 2);
    hdf5_put_integer(to, never_changes, 1);
    hdf5_put_integer(to, order, 2);
    hdf5_put_piece(to, body);
}

uint64_t hdf5_put_header(struct text *to, const struct text *messages)
{
    enum { SIZE_IN_4_BYTES = 0x02, ORDER_IS_KEPT = 0x04, ORDER_IS_INDEXED = 0x08, LIMITS_ARE_GIVEN = 0x10 };
    hdf5_align(to);
    size_t start = to->length;
    text_add(to, "OHDR\x02", 5);
    hdf5_put_integer(to, SIZE_IN_4_BYTES | ORDER_IS_KEPT | ORDER_IS_INDEXED | LIMITS_ARE_GIVEN, 1);
    hdf5_put_integer(to, UINT16_MAX, 2); /* so many attributes stay in the header */
    hdf5_put_integer(to, 0, 2);
    hdf5_put_integer(to, messages->length, 4);
    hdf5_put_piece(to, messages);
    hdf5_put_integer(to, to->is_full ? 0 : hdf5_checksum(to->bytes + start, to->length - start), 4);
    return start;
}

uint32_t hdf5_checksum(const void *bytes, size_t n)
{
    const unsigned char *at = bytes;
    uint32_t a = 0xDEADBEEF + (uint32_t)n, b = a, c = a;
    for (; n > 12; n -= 12, at += 12) {
        a += word_at(at, 4);
        b += word_at(at + 4, 4);
        c += word_at(at + 8, 4);
        a = (a - c) ^ rotate(c, 4), c += b;
        b = (b - a) ^ rotate(a, 6), a += c;
        c = (c - b) ^ rotate(b, 8), b += a;
        a = (a - c) ^ rotate(c, 16), c += b;
        b = (b - a) ^ rotate(a, 19), a += c;
        c = (c - b) ^ rotate(b, 4), b += a;
    }
    if (n == 0)
        return c;
    a += word_at(at, n);
    b += n > 4 ? word_at(at + 4, n - 4) : 0;
    c += n > 8 ? word_at(at + 8, n - 8) : 0;
    c = (c ^ b) - rotate(b, 14);
    a = (a ^ c) - rotate(c, 11);
    b = (b ^ a) - rotate(a, 25);
    c = (c ^ b) - rotate(b, 16);
    a = (a ^ c) - rotate(c, 4);
    b = (b ^ a) - rotate(a, 14);
    return (c ^ b) - rotate(b, 24);
}

static uint32_t rotate(uint32_t value, unsigned bits)
{
    return value << bits | value >> (32 - bits);
}

/* Little-endian word of the first 4 of `available` bytes; those beyond are 0. */
static uint32_t word_at(const unsigned char *at, size_t available)
{
    uint32_t word = 0;
    for (size_t i = 0; i < 4 && i < available; i++)
        word |= (uint32_t)at[i] << 8 * i;
    return word;
}
