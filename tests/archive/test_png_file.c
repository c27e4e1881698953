/* SPDX-License-Identifier: MIT */
#include "archive/png_file.h"

#include "base/memory.h"

#include <criterion/criterion.h>
#include <libdeflate.h>
#include <string.h>

static struct text text;

static void start(void)
{
    text_init(&text, 1 << 20);
}

static void finish(void)
{
    text_done(&text);
}

TestSuite(png_file, .init = start, .fini = finish);

static uint32_t number_at(size_t at)
{
    const unsigned char *b = (const unsigned char *)text.bytes + at;
    return (uint32_t)b[0] << 24 | (uint32_t)b[1] << 16 | (uint32_t)b[2] << 8 | b[3];
}

/* Two rows of two dots; a third column beyond the width must not show. */
static const uint32_t dots[2][3] = {{0x00112233, 0xFFFFFFFF, 0x00AAAAAA}, {0x00000000, 0x00FF0001, 0x00BBBBBB}};

static void write_dots(void)
{
    png_file_write((const unsigned char *)dots, 2, 2, sizeof dots[0], &text);
}

/* ISO/IEC 15948, 5.2, 5.3 and 11.2: signature, then chunks of length, type, bytes and CRC-32 of type and bytes. */
Test(png_file, is_three_sound_chunks_behind_the_signature)
{
    static const char *const types[] = {"IHDR", "IDAT", "IEND"};
    write_dots();
    cr_assert_eq(memcmp(text.bytes, "\x89PNG\r\n\x1a\n", 8), 0);
    size_t at = 8;
    for (size_t k = 0; k < COUNT_OF(types); k++) {
        size_t n = number_at(at);
        cr_assert_eq(memcmp(text.bytes + at + 4, types[k], 4), 0);
        cr_expect_eq(number_at(at + 8 + n), libdeflate_crc32(0, text.bytes + at + 4, n + 4));
        at += 12 + n;
    }
    cr_expect_eq(at, text.length, "nothing stands behind the end");
}

Test(png_file, states_its_size_and_eight_bits_for_each_colour)
{
    write_dots();
    cr_expect_eq(number_at(8), 13);
    cr_expect_eq(number_at(16), 2);
    cr_expect_eq(number_at(20), 2);
    cr_expect_eq(memcmp(text.bytes + 24, "\x08\x02\x00\x00\x00", 5), 0);
}

Test(png_file, holds_each_row_as_red_green_blue_behind_a_filter_of_none)
{
    static const unsigned char rows[] = {0, 0x11, 0x22, 0x33, 0xFF, 0xFF, 0xFF, 0, 0, 0, 0, 0xFF, 0x00, 0x01};
    unsigned char got[64];
    size_t n = 0;
    write_dots();
    struct libdeflate_decompressor *decompressor = libdeflate_alloc_decompressor();
    cr_expect_eq(libdeflate_zlib_decompress(decompressor, text.bytes + 41, number_at(33), got, sizeof got, &n),
                 LIBDEFLATE_SUCCESS);
    libdeflate_free_decompressor(decompressor);
    cr_assert_eq(n, sizeof rows);
    cr_expect_eq(memcmp(got, rows, n), 0);
}

Test(png_file, is_appended_and_the_same_twice)
{
    text_puts(&text, "x");
    write_dots();
    size_t n = text.length - 1;
    write_dots();
    cr_assert_eq(text.length, 1 + 2 * n);
    cr_expect_eq(memcmp(text.bytes + 1, text.bytes + 1 + n, n), 0);
}
