/* SPDX-License-Identifier: MIT */
#include "notify/mime.h"

#include "base/memory.h"
#include "base/timestamp.h"
#include "config/address.h"

#include <assert.h>
#include <openssl/evp.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

enum {
    LINE_COLUMNS = 76,      /* of an encoded line, without CRLF */
    VALUE_CHARACTERS = 200, /* of a header, before encoding */
    WORD_BYTES = 42, /* of one encoded word: "=?UTF-8?B?" + 56 + "?=" is 68 of the 75 that are allowed */
};

static char *visible_value(const char *value);
static bool is_plain(const char *value);
static void put_folded(struct text *text, const char *value, size_t column);
static void put_encoded_words(struct text *text, const char *value, size_t column);
static void put_display(struct text *text, const char *display, size_t column);

void mime_put_header(struct text *text, const char *name, const char *value)
{
    CLEANUP(cleanup_free) char *shown = visible_value(value);
    text_printf(text, "%s: ", name);
    if (is_plain(shown))
        put_folded(text, shown, strlen(name) + 2);
    else
        put_encoded_words(text, shown, strlen(name) + 2);
    text_puts(text, "\r\n");
}

void mime_put_mailbox(struct text *text, const char *name, const char *display, const char *address)
{
    assert(address_is_mail(address));
    text_printf(text, "%s: ", name);
    if (*display) {
        size_t before = text->length;
        put_display(text, display, strlen(name) + 2);
        bool fits = strlen(name) + 2 + text->length - before + strlen(address) + 3 <= LINE_COLUMNS;
        text_printf(text, "%s <%s>\r\n", fits ? "" : "\r\n", address);
    } else {
        text_printf(text, "%s\r\n", address);
    }
}

/* English names whatever the locale. */
void mime_put_date(struct text *text, int64_t time)
{
    static const char *const days[] = {"Thu", "Fri", "Sat", "Sun",
                                       "Mon", "Tue", "Wed"}; /* 1970 began on a Thursday */
    static const char *const months[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                         "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    int64_t day = timestamp_floor(time, DAY_MS) / DAY_MS;
    struct civil c = timestamp_to_civil(time);
    text_printf(text, "Date: %s, %02d %s %04d %02d:%02d:%02d +0000\r\n", days[(day % 7 + 7) % 7], c.day,
                months[c.month - 1], c.year, c.hour, c.minute, c.second);
}

void mime_put_quoted_printable(struct text *text, const char *string)
{
    size_t column = 0;
    for (const char *c = string; *c; c++) {
        unsigned char byte = (unsigned char)*c;
        if (byte == '\n') {
            text_puts(text, "\r\n");
            column = 0;
            continue;
        }
        bool ends_line = c[1] == '\n' || c[1] == '\0';
        bool is_literal = byte >= 0x21 && byte < 0x7F && byte != '=';
        is_literal |= byte == ' ' && !ends_line; /* a relay may cut spaces off the end of a line */
        size_t width = is_literal ? 1 : 3;
        if (column + width > LINE_COLUMNS - (ends_line ? 0 : 1)) {
            text_puts(text, "=\r\n");
            column = 0;
        }
        if (is_literal)
            text_putc(text, *c);
        else
            text_printf(text, "=%02X", byte);
        column += width;
    }
    if (column > 0)
        text_puts(text, "\r\n");
}

void mime_put_base64(struct text *text, const char *bytes, size_t length)
{
    enum { LINE_BYTES = LINE_COLUMNS / 4 * 3 };
    for (size_t i = 0; i < length; i += LINE_BYTES) {
        size_t left = length - i;
        unsigned char line[LINE_COLUMNS + 1];
        EVP_EncodeBlock(line, (const unsigned char *)bytes + i, (int)(left < LINE_BYTES ? left : LINE_BYTES));
        text_printf(text, "%s\r\n", (const char *)line);
    }
}

/* Control bytes made visible, at most VALUE_CHARACTERS. free() it. */
static char *visible_value(const char *value)
{
    enum { WIDEST = 4 };
    char *shown = x_alloc(VALUE_CHARACTERS * WIDEST + 1);
    size_t length = text_make_visible(value, shown, VALUE_CHARACTERS * WIDEST + 1), characters = 0, i = 0;
    while (i < length && characters++ < VALUE_CHARACTERS)
        i += text_utf8_length(shown + i, length - i);
    shown[i] = '\0';
    return shown;
}

/* ASCII that nobody reads as an encoded word, and that can be folded. */
static bool is_plain(const char *value)
{
    size_t word = 0;
    for (const char *c = value; *c; c++) {
        word = *c == ' ' ? 0 : word + 1;
        if ((unsigned char)*c >= 0x80 || word > LINE_COLUMNS - 16)
            return false;
    }
    return !strstr(value, "=?");
}

/* Break before a space where the next word would pass the line's end; a single long word stays whole. */
static void put_folded(struct text *text, const char *value, size_t column)
{
    while (*value) {
        size_t spaces = strspn(value, " "), length = spaces + strcspn(value + spaces, " ");
        if (spaces > 0 && value[spaces] && column + length > LINE_COLUMNS) {
            text_puts(text, "\r\n");
            column = 0;
        }
        text_add(text, value, length);
        column += length;
        value += length;
    }
}

/* RFC 2047: each word whole characters, lines folded between them. */
static void put_encoded_words(struct text *text, const char *value, size_t column)
{
    size_t left = strlen(value);
    bool is_first = true;
    while (left > 0) {
        size_t length = 0;
        while (length < left) {
            size_t step = text_utf8_length(value + length, left - length);
            if (length + step > (is_first && column > 8 ? WORD_BYTES - 9 : WORD_BYTES))
                break;
            length += step;
        }
        unsigned char base64[WORD_BYTES / 3 * 4 + 5];
        EVP_EncodeBlock(base64, (const unsigned char *)value, (int)length);
        text_printf(text, "%s=?UTF-8?B?%s?=", is_first ? "" : "\r\n ", (const char *)base64);
        value += length;
        left -= length;
        is_first = false;
    }
}

/* A phrase: a quoted string, or encoded words, which must stand outside of quotes. */
static void put_display(struct text *text, const char *display, size_t column)
{
    CLEANUP(cleanup_free) char *shown = visible_value(display);
    if (!is_plain(shown)) {
        put_encoded_words(text, shown, column);
        return;
    }
    text_putc(text, '"');
    for (const char *c = shown; *c; c++) {
        if (*c == '"' || *c == '\\')
            text_putc(text, '\\');
        text_putc(text, *c);
    }
    text_putc(text, '"');
}
