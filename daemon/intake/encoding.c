/* SPDX-License-Identifier: MIT */
#include "intake/encoding.h"

#include "base/text.h"

#include <string.h>

enum { SAMPLE = 4096, REPLACEMENT = 0xFFFD, BEFORE_NAME = 30 /* bytes of an archive before its first name */ };

/* Windows-1252 from 0x80 to 0x9F; the rest is Latin-1. Five places are not assigned. */
static const uint16_t windows_1252[32] = {
    0x20AC, 0xFFFD, 0x201A, 0x0192, 0x201E, 0x2026, 0x2020, 0x2021, 0x02C6, 0x2030, 0x0160,
    0x2039, 0x0152, 0xFFFD, 0x017D, 0xFFFD, 0xFFFD, 0x2018, 0x2019, 0x201C, 0x201D, 0x2022,
    0x2013, 0x2014, 0x02DC, 0x2122, 0x0161, 0x203A, 0x0153, 0xFFFD, 0x017E, 0x0178,
};

struct mark {
    size_t offset, length;
    const char *bytes, *what;
};

#define SAVE_AS_TABLE ": save it as XLSX or CSV"

/* The first that fits counts: the particular stands before the general. */
static const struct mark marks[] = {
    {0, 4, "PK\3\4", NULL}, /* containers: looked into */
    {0, 8, "\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1", NULL},
    {0, 4, "PK\5\6", "an empty archive (ZIP)"},
    {0, 4, "%PDF", "a PDF document: export the values as CSV instead"},
    {0, 3, "\xFF\xD8\xFF", "a picture (JPEG): write the notes into a table and save it as XLSX or CSV"},
    {0, 4, "\x89PNG", "a picture (PNG): write the notes into a table and save it as XLSX or CSV"},
    {0, 4, "GIF8", "a picture (GIF): write the notes into a table and save it as XLSX or CSV"},
    {4, 4, "ftyp", "a picture or film (HEIC, MP4): write the notes into a table and save it as XLSX or CSV"},
    {0, 2, "\x1F\x8B", "compressed (GZIP): unpack it"},
    {0, 6, "7z\xBC\xAF\x27\x1C", "an archive (7Z): unpack it"},
    {0, 4, "Rar!", "an archive (RAR): unpack it"},
    {0, 5, "{\\rtf", "a text document (RTF)" SAVE_AS_TABLE},
    {0, 15, "SQLite format 3", "a database (SQLite): export a table as CSV"},
    {0, 4, "\x89HDF", "a NetCDF-4 or HDF5 file: export the values as CSV"},
    {0, 4, "CDF\1", "a NetCDF file: export the values as CSV"},
};

static const char *container_kind(const char *bytes, size_t length);
static const char *old_container_kind(const char *bytes, size_t length);
static bool looks_like_page(const char *bytes, size_t length);
static const char *utf16_without_mark(const char *bytes, size_t length);
static bool decode_utf16(struct arena *arena, const char *bytes, size_t length, bool is_big, struct decoded *ret,
                         struct error *error);
static bool refuse_zero_byte(const char *bytes, size_t length, struct error *error);
static size_t valid_prefix(const char *bytes, size_t length);
static bool is_cut_character(const char *bytes, size_t length);
static void decode_bytewise(struct arena *arena, const char *bytes, size_t length, struct decoded *ret);
static size_t count_lines(const char *bytes, size_t length);

bool encoding_decode(struct arena *arena, const char *bytes, size_t length, struct decoded *ret, struct error *error)
{
    *ret = (struct decoded){.encoding = "UTF-8"};
    const char *bare = utf16_without_mark(bytes, length);
    if (length >= 2 && memcmp(bytes, "\xFF\xFE", 2) == 0) {
        if (!decode_utf16(arena, bytes + 2, length - 2, false, ret, error))
            return false;
    } else if (length >= 2 && memcmp(bytes, "\xFE\xFF", 2) == 0) {
        if (!decode_utf16(arena, bytes + 2, length - 2, true, ret, error))
            return false;
    } else if (bare) {
        if (!decode_utf16(arena, bytes, length, *bare == 'B', ret, error))
            return false;
    } else {
        if (memchr(bytes, 0, length))
            return refuse_zero_byte(bytes, length, error);
        size_t mark = length >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;
        bytes += mark;
        length -= mark;
        size_t valid = valid_prefix(bytes, length);
        ret->is_cut = valid < length && is_cut_character(bytes + valid, length - valid);
        ret->bytes = bytes;
        ret->length = valid;
        if (valid < length && !ret->is_cut)
            decode_bytewise(arena, bytes, length, ret);
    }
    /* DOS programs end a text with Ctrl-Z. */
    while (ret->length > 0 && ret->bytes[ret->length - 1] == '\x1A')
        ret->length--;
    ret->lines = count_lines(ret->bytes, ret->length);
    return true;
}

const char *encoding_foreign(const char *bytes, size_t length)
{
    for (size_t i = 0; i < COUNT_OF(marks); i++) {
        const struct mark *mark = &marks[i];
        if (length >= mark->offset + mark->length && memcmp(bytes + mark->offset, mark->bytes, mark->length) == 0)
            return mark->what      ? mark->what
                   : *bytes == 'P' ? container_kind(bytes, length)
                                   : old_container_kind(bytes, length);
    }
    if (looks_like_page(bytes, length))
        return "a web page (HTML), perhaps a sign-in page saved in place of the file: download it again";
    if (length >= 5 && memcmp(bytes, "<?xml", 5) == 0)
        return "an XML file: export the values as CSV";
    return NULL;
}

size_t encoding_put_utf8(char *at, uint32_t c)
{
    if (c < 0x80) {
        at[0] = (char)c;
        return 1;
    }
    size_t length = c < 0x800 ? 2 : c < 0x10000 ? 3 : 4;
    for (size_t i = length - 1; i > 0; i--, c >>= 6)
        at[i] = (char)(0x80 | (c & 0x3F));
    at[0] = (char)((length == 2 ? 0xC0 : length == 3 ? 0xE0 : 0xF0) | c);
    return length;
}

/* A document of the other family begins with its kind, not packed. Workbooks and what claims to be one are for the
 * reader of workbooks to judge. */
static const char *container_kind(const char *bytes, size_t length)
{
    static const char kind[] = "mimetypeapplication/vnd.oasis.opendocument.spreadsheet";
    bool is_other = length >= BEFORE_NAME + sizeof kind - 1 && memcmp(bytes + BEFORE_NAME, kind, sizeof kind - 1) == 0;
    return is_other ? "a spreadsheet (ODS)" SAVE_AS_TABLE : NULL;
}

/* A workbook with a password is one stream of that name in the old container; names in it are UTF-16. */
static const char *old_container_kind(const char *bytes, size_t length)
{
    static const char name[] = "E\0n\0c\0r\0y\0p\0t\0e\0d\0P\0a\0c\0k\0a\0g\0e";
    return memmem(bytes, length, name, sizeof name)
               ? "a workbook with a password (encrypted): take the password off and save it again"
               : "an old spreadsheet or document (XLS, DOC)" SAVE_AS_TABLE;
}

static bool looks_like_page(const char *bytes, size_t length)
{
    static const char *const starts[] = {"<!doctype html", "<html"};
    while (length > 0 && (*bytes == ' ' || *bytes == '\n' || *bytes == '\r')) {
        bytes++;
        length--;
    }
    for (size_t i = 0; i < COUNT_OF(starts); i++)
        if (length >= strlen(starts[i]) && strncasecmp(bytes, starts[i], strlen(starts[i])) == 0)
            return true;
    return false;
}

/* Western text in UTF-16 has a zero byte at every second place, and none between. */
static const char *utf16_without_mark(const char *bytes, size_t length)
{
    size_t sample = length < SAMPLE ? length : SAMPLE, zeros[2] = {0, 0};
    for (size_t i = 0; i < sample; i++)
        zeros[i % 2] += bytes[i] == 0;
    if (zeros[0] == 0 && zeros[1] * 3 > sample)
        return "L";
    if (zeros[1] == 0 && zeros[0] * 3 > sample)
        return "B";
    return NULL;
}

static bool decode_utf16(struct arena *arena, const char *bytes, size_t length, bool is_big, struct decoded *ret,
                         struct error *error)
{
    const unsigned char *from = (const unsigned char *)bytes;
    char *to = arena_alloc(arena, length / 2 * 3 + 4);
    size_t written = 0, i = 0;
    for (; i + 2 <= length; i += 2) {
        uint32_t c = is_big ? (uint32_t)from[i] << 8 | from[i + 1] : (uint32_t)from[i + 1] << 8 | from[i];
        if (c == 0)
            return fail(error, ERROR_INPUT,
                        "zero character at byte %zu: the file is damaged or not text; copy it again", i);
        if (c >= 0xD800 && c < 0xDC00) {
            if (i + 4 > length)
                break;
            uint32_t low = is_big ? (uint32_t)from[i + 2] << 8 | from[i + 3] : (uint32_t)from[i + 3] << 8 | from[i + 2];
            bool is_pair = low >= 0xDC00 && low < 0xE000;
            c = is_pair ? 0x10000 + ((c - 0xD800) << 10) + (low - 0xDC00) : REPLACEMENT;
            i += is_pair ? 2 : 0;
        } else if (c >= 0xDC00 && c < 0xE000) {
            c = REPLACEMENT;
        }
        written += encoding_put_utf8(to + written, c);
    }
    *ret = (struct decoded){to, written, is_big ? "UTF-16BE" : "UTF-16LE", i < length, 0};
    return true;
}

static bool refuse_zero_byte(const char *bytes, size_t length, struct error *error)
{
    size_t first = (size_t)((const char *)memchr(bytes, 0, length) - bytes), tail = length;
    while (tail > 0 && bytes[tail - 1] == 0)
        tail--;
    if (tail <= first)
        return fail(error, ERROR_INPUT,
                    "the file ends in %zu zero bytes from byte %zu on: it was not copied completely; copy it again",
                    length - tail, tail);
    return fail(error, ERROR_INPUT, "zero byte at byte %zu (line %zu): the file is damaged or not text; copy it again",
                first, count_lines(bytes, first));
}

static size_t valid_prefix(const char *bytes, size_t length)
{
    size_t i = 0;
    while (i < length) {
        uint64_t word;
        if (length - i >= sizeof word) {
            memcpy(&word, bytes + i, sizeof word);
            if (!(word & 0x8080808080808080u)) {
                i += sizeof word;
                continue;
            }
        }
        size_t step = text_utf8_length(bytes + i, length - i);
        if (step == 0)
            break;
        i += step;
    }
    return i;
}

/* A good beginning of a longer character, and nothing after it. */
static bool is_cut_character(const char *bytes, size_t length)
{
    unsigned char first = (unsigned char)*bytes;
    size_t wanted = first >= 0xF0 && first <= 0xF4 ? 4 : first >= 0xE0 ? 3 : first >= 0xC2 ? 2 : 0;
    if (first > 0xF4 || length >= wanted)
        return false;
    for (size_t i = 1; i < length; i++)
        if (((unsigned char)bytes[i] & 0xC0) != 0x80)
            return false;
    return true;
}

static void decode_bytewise(struct arena *arena, const char *bytes, size_t length, struct decoded *ret)
{
    char *to = arena_alloc(arena, length * 3 + 4);
    size_t written = 0;
    for (size_t i = 0; i < length;) {
        size_t step = text_utf8_length(bytes + i, length - i);
        if (step > 0) {
            memcpy(to + written, bytes + i, step);
            written += step;
            i += step;
            continue;
        }
        unsigned char c = (unsigned char)bytes[i++];
        written += encoding_put_utf8(to + written, c < 0xA0 ? windows_1252[c - 0x80] : c);
    }
    ret->bytes = to;
    ret->length = written;
    ret->encoding = "Windows-1252";
}

static size_t count_lines(const char *bytes, size_t length)
{
    size_t lines = 1;
    bool has_return = memchr(bytes, '\r', length) != NULL;
    for (size_t i = 0; i < length; i++)
        lines += bytes[i] == '\n';
    for (size_t i = 0; has_return && i < length; i++)
        lines += bytes[i] == '\r' && (i + 1 == length || bytes[i + 1] != '\n');
    return lines;
}
