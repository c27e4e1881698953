/* SPDX-License-Identifier: MIT */
#include "base/text.h"

#include "base/memory.h"

#include <assert.h>
#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SHORT_DIGITS = 8, SHORT_LIMIT = 100000000 }; /* of most numbers, without their point */

static const double power_of_ten[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                      1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

static const char two_digits[] = "00010203040506070809101112131415161718192021222324252627282930313233343536373839"
                                 "40414243444546474849505152535455565758596061626364656667686970717273747576777879"
                                 "8081828384858687888990919293949596979899";

static const char replacement[] = "\xEF\xBF\xBD"; /* U+FFFD, for bytes that are not UTF-8 */

enum { IN_JSON = 1, IN_MARKUP = 2 };

static unsigned char plain_in(unsigned char c);
static bool reserve(struct text *text, size_t more);
static char *print_digits(char *at, uint64_t value);
static char *print_units(char *at, uint32_t units, int decimals);
static char *print_long_units(char *at, uint64_t units, int decimals);
static bool parse_exponent(const char *at, const char *end, int *ret);
static bool parse_slowly(const char *start, const char *end, char decimal, double *ret);
static bool is_bidirectional_control(const unsigned char *bytes, size_t length);

void text_init(struct text *text, size_t limit)
{
    *text = (struct text){.limit = limit};
}

void text_done(struct text *text)
{
    free(text->bytes);
    *text = (struct text){.limit = text->limit};
}

void text_clear(struct text *text)
{
    text->length = 0;
    text->is_full = false;
    if (text->bytes)
        text->bytes[0] = '\0';
}

void text_add(struct text *text, const char *bytes, size_t length)
{
    if (!reserve(text, length))
        return;
    if (length > 0)
        memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
    text->bytes[text->length] = '\0';
}

char *text_room(struct text *text, size_t length)
{
    if (!reserve(text, length))
        return NULL;
    char *room = text->bytes + text->length;
    text->length += length;
    text->bytes[text->length] = '\0';
    return room;
}

void text_shorten(struct text *text, size_t length)
{
    assert(length <= text->length);
    text->length -= length;
    if (text->bytes)
        text->bytes[text->length] = '\0';
}

void text_puts(struct text *text, const char *string)
{
    text_add(text, string, strlen(string));
}

void text_putc(struct text *text, char c)
{
    if (!reserve(text, 1))
        return;
    text->bytes[text->length++] = c;
    text->bytes[text->length] = '\0';
}

void text_printf(struct text *text, const char *format, ...)
{
    va_list arguments, again;
    va_start(arguments, format);
    va_copy(again, arguments);
    /* Into the room that is there, where it is enough: then the words are made once. */
    size_t room = text->is_full ? 0 : text->capacity - text->length;
    int length = vsnprintf(room > 0 ? text->bytes + text->length : NULL, room, format, arguments);
    va_end(arguments);
    if (length >= 0 && reserve(text, (size_t)length)) {
        if ((size_t)length >= room)
            vsnprintf(text->bytes + text->length, (size_t)length + 1, format, again);
        text->length += (size_t)length;
    } else if (room > 0) {
        text->bytes[text->length] = '\0';
    }
    va_end(again);
}

void text_integer(struct text *text, int64_t value)
{
    char printed[TEXT_INTEGER_MAX];
    text_add(text, printed, (size_t)(text_print_integer(printed, value) - printed));
}

char *text_print_integer(char *at, int64_t value)
{
    if (value < 0)
        *at++ = '-';
    return print_digits(at, value < 0 ? 0 - (uint64_t)value : (uint64_t)value);
}

void text_number(struct text *text, double value, int decimals)
{
    char printed[TEXT_NUMBER_MAX];
    text_add(text, printed, (size_t)(text_print_number(printed, value, decimals) - printed));
}

char *text_print_number(char *at, double value, int decimals)
{
    assert(decimals >= 0 && decimals <= 9);
    if (!isfinite(value))
        return at;
    double scaled = fabs(value) * power_of_ten[decimals];
    if (scaled >= 0x1p52) /* from here on there are no halves to round by: leave it to the library */
        return at + snprintf(at, TEXT_NUMBER_MAX, "%.*f", decimals, value);
    /* Where the product looks like a tie, what it lost by its own rounding decides: 1.115 is below its tie. */
    uint64_t units = (uint64_t)scaled;
    double over = scaled - (double)units - 0.5;
    if (over == 0)
        over = fma(fabs(value), power_of_ten[decimals], -scaled);
    units += over >= 0;
    if (value < 0 && units > 0)
        *at++ = '-';
    if (units < SHORT_LIMIT && decimals < SHORT_DIGITS)
        return print_units(at, (uint32_t)units, decimals);
    return print_long_units(at, units, decimals);
}

void text_json(struct text *text, const char *string)
{
    if (string)
        text_json_bytes(text, string, strlen(string));
    else
        text_puts(text, "null");
}

void text_json_bytes(struct text *text, const char *string, size_t length)
{
    text_putc(text, '"');
    for (size_t i = 0, plain; i < length;) {
        for (plain = 0; i + plain < length && plain_in((unsigned char)string[i + plain]) & IN_JSON;)
            plain++;
        if (plain > 0) { /* most texts are nothing else */
            text_add(text, string + i, plain);
            i += plain;
            continue;
        }
        unsigned char c = (unsigned char)string[i];
        size_t step = text_utf8_length(string + i, length - i);
        if (step == 0) {
            text_puts(text, replacement);
            step = 1;
        } else if (c == '"' || c == '\\') {
            text_putc(text, '\\');
            text_putc(text, (char)c);
        } else if (c < 0x20 || c == 0x7F || c == '<') { /* '<' too: the text may stand inside a script element */
            text_printf(text, "\\u%04x", c);
        } else {
            text_add(text, string + i, step);
        }
        i += step;
    }
    text_putc(text, '"');
}

void text_markup(struct text *text, const char *string)
{
    size_t available = strlen(string), step;
    for (const char *c = string; available > 0; c += step, available -= step) {
        for (step = 0; plain_in((unsigned char)c[step]) & IN_MARKUP;)
            step++;
        if (step > 0) {
            text_add(text, c, step);
            continue;
        }
        step = text_utf8_length(c, available);
        switch (*c) {
        case '&': text_puts(text, "&amp;"); break;
        case '<': text_puts(text, "&lt;"); break;
        case '>': text_puts(text, "&gt;"); break;
        case '"': text_puts(text, "&quot;"); break;
        case '\'': text_puts(text, "&#39;"); break;
        default:
            if (step == 0) {
                text_puts(text, replacement);
                step = 1;
            } else if ((unsigned char)*c < 0x20 && *c != '\n' && *c != '\t') {
                text_putc(text, ' '); /* XML has no way to write most control characters at all */
            } else {
                text_add(text, c, step);
            }
        }
    }
}

void text_csv_cell(struct text *text, const char *string)
{
    bool runs = *string && strchr("=+-@\t\r", *string);
    if (!runs && !strpbrk(string, ",\"\r\n")) {
        text_puts(text, string);
        return;
    }
    text_putc(text, '"');
    if (runs)
        text_putc(text, '\'');
    for (const char *c = string; *c; c++) {
        if (*c == '"')
            text_putc(text, '"');
        text_putc(text, *c);
    }
    text_putc(text, '"');
}

size_t text_make_visible(const char *string, char *ret, size_t size)
{
    size_t used = 0, available = strlen(string);
    if (size == 0)
        return 0;
    while (available > 0) {
        const unsigned char *at = (const unsigned char *)string;
        size_t step = text_utf8_length(string, available);
        char piece[16];
        size_t length;
        if (step == 0 || *at < 0x20 || *at == 0x7F || (step == 2 && at[0] == 0xC2 && at[1] < 0xA0)) {
            step = 1;
            length = (size_t)snprintf(piece, sizeof piece, "\\x%02X", *at);
        } else if (is_bidirectional_control(at, step)) {
            unsigned code = step == 2 ? 0x61C : (at[0] & 0x0Fu) << 12 | (at[1] & 0x3Fu) << 6 | (at[2] & 0x3Fu);
            length = (size_t)snprintf(piece, sizeof piece, "\\u{%X}", code);
        } else {
            memcpy(piece, at, step);
            length = step;
        }
        if (used + length >= size)
            break;
        memcpy(ret + used, piece, length);
        used += length;
        string += step;
        available -= step;
    }
    ret[used] = '\0';
    return used;
}

bool text_parse_number(const char *string, size_t length, char decimal, double *ret)
{
    const char *at = string, *end = string + length;
    while (at < end && (*at == ' ' || *at == '\t'))
        at++;
    while (at < end && (end[-1] == ' ' || end[-1] == '\t'))
        end--;
    const char *start = at;
    bool negative = false;
    if (end - at >= 3 && memcmp(at, "\xE2\x88\x92", 3) == 0) {
        negative = true;
        at += 3;
        start = at;
    } else if (at < end && (*at == '-' || *at == '+')) {
        negative = *at == '-';
        at++;
        start = at;
    }
    uint64_t mantissa = 0;
    int digits = 0, fraction = 0, significant = 0;
    bool seen_point = false;
    for (; at < end; at++) {
        if (*at == decimal && !seen_point) {
            seen_point = true;
        } else if (*at >= '0' && *at <= '9') {
            digits++;
            if (significant < 19) {
                mantissa = mantissa * 10 + (uint64_t)(*at - '0');
                significant += mantissa > 0;
                fraction += seen_point;
            } else {
                significant++;
                fraction -= !seen_point;
            }
        } else {
            break;
        }
    }
    if (digits == 0)
        return false;
    int exponent;
    if (!parse_exponent(at, end, &exponent))
        return false;
    int scale = exponent - fraction;
    double value;
    /* Exact by IEEE 754: a mantissa below 2^53 and a power of ten up to 1e22 are both exact, so one rounding remains.
     */
    if (significant <= 19 && mantissa < ((uint64_t)1 << 53) && scale >= -22 && scale <= 22)
        value = scale < 0 ? (double)mantissa / power_of_ten[-scale] : (double)mantissa * power_of_ten[scale];
    else if (!parse_slowly(start, end, decimal, &value))
        return false;
    *ret = negative ? -value : value;
    return true;
}

/* All that is left: nothing, or an exponent of ten. */
static bool parse_exponent(const char *at, const char *end, int *ret)
{
    *ret = 0;
    if (at == end)
        return true;
    if (*at != 'e' && *at != 'E')
        return false;
    at++;
    bool minus = at < end && *at == '-';
    at += at < end && (*at == '-' || *at == '+');
    if (at >= end)
        return false;
    for (; at < end && *at >= '0' && *at <= '9'; at++)
        *ret = *ret < 10000 ? *ret * 10 + (*at - '0') : *ret;
    *ret = minus ? -*ret : *ret;
    return at == end;
}

bool text_parse_integer(const char *string, size_t length, int64_t *ret)
{
    size_t i = 0;
    bool negative = length > 0 && string[0] == '-';
    i += length > 0 && (string[0] == '-' || string[0] == '+');
    if (i == length || length - i > 18)
        return false;
    int64_t value = 0;
    for (; i < length; i++) {
        if (string[i] < '0' || string[i] > '9')
            return false;
        value = value * 10 + (string[i] - '0');
    }
    *ret = negative ? -value : value;
    return true;
}

bool text_equal_ignoring_case(const char *a, const char *b)
{
    for (; *a && *b; a++, b++)
        if (tolower((unsigned char)*a) != tolower((unsigned char)*b))
            return false;
    return *a == *b;
}

bool text_starts_with(const char *string, const char *prefix)
{
    return strncmp(string, prefix, strlen(prefix)) == 0;
}

bool text_ends_with(const char *string, const char *suffix)
{
    size_t length = strlen(string), wanted = strlen(suffix);
    return length >= wanted && memcmp(string + length - wanted, suffix, wanted) == 0;
}

/* Iterative matching with one remembered star of each kind: a hostile pattern cannot make it exponential. */
bool text_matches(const char *pattern, const char *string, bool ignore_case)
{
    const char *star = NULL, *star_at = NULL, *wide = NULL, *wide_at = NULL;
    while (*string) {
        char p = ignore_case ? (char)tolower((unsigned char)*pattern) : *pattern;
        char s = ignore_case ? (char)tolower((unsigned char)*string) : *string;
        if (pattern[0] == '*' && pattern[1] == '*') {
            wide = pattern += 2;
            wide_at = string;
            star = NULL;
        } else if (*pattern == '*') {
            star = ++pattern;
            star_at = string;
        } else if (*pattern && (p == s || (*pattern == '?' && *string != '/'))) {
            pattern++;
            string++;
        } else if (star && *star_at != '/') {
            pattern = star;
            string = ++star_at;
        } else if (wide) {
            pattern = wide;
            string = ++wide_at;
            star = NULL;
        } else {
            return false;
        }
    }
    while (*pattern == '*')
        pattern++;
    return *pattern == '\0';
}

unsigned text_distance(const char *a, const char *b)
{
    enum { LIMIT = 4, LONGEST = 64 };
    size_t length_a = strlen(a), length_b = strlen(b);
    if (length_a > LONGEST || length_b > LONGEST)
        return LIMIT;
    unsigned row[LONGEST + 1];
    for (size_t j = 0; j <= length_b; j++)
        row[j] = (unsigned)j;
    for (size_t i = 1; i <= length_a; i++) {
        unsigned diagonal = row[0];
        row[0] = (unsigned)i;
        for (size_t j = 1; j <= length_b; j++) {
            unsigned above = row[j];
            unsigned changed = diagonal + (a[i - 1] != b[j - 1]);
            unsigned best = above + 1 < row[j - 1] + 1 ? above + 1 : row[j - 1] + 1;
            row[j] = changed < best ? changed : best;
            diagonal = above;
        }
    }
    return row[length_b] < LIMIT ? row[length_b] : LIMIT;
}

size_t text_utf8_length(const char *bytes, size_t available)
{
    const unsigned char *b = (const unsigned char *)bytes;
    if (available == 0)
        return 0;
    if (b[0] < 0x80)
        return 1;
    size_t length = b[0] >= 0xC2 && b[0] < 0xE0 ? 2 : (b[0] & 0xF0) == 0xE0 ? 3 : b[0] >= 0xF0 && b[0] < 0xF5 ? 4 : 0;
    if (length == 0 || length > available)
        return 0;
    for (size_t i = 1; i < length; i++)
        if ((b[i] & 0xC0) != 0x80)
            return 0;
    bool overlong = (b[0] == 0xE0 && b[1] < 0xA0) || (b[0] == 0xF0 && b[1] < 0x90);
    bool beyond = (b[0] == 0xED && b[1] >= 0xA0) || (b[0] == 0xF4 && b[1] >= 0x90);
    return overlong || beyond ? 0 : length;
}

/* In which languages an ASCII character stands for itself; the others, and all bytes of other letters, are looked at
 * one by one. */
static unsigned char plain_in(unsigned char c)
{
    bool is_graphic = c >= 0x20 && c < 0x7F && c != '"' && c != '<';
    return (unsigned char)((is_graphic && c != '\\' ? IN_JSON : 0) |
                           (is_graphic && c != '&' && c != '>' && c != '\'' ? IN_MARKUP : 0));
}

static bool reserve(struct text *text, size_t more)
{
    if (text->is_full || more > text->limit - text->length) {
        text->is_full = true;
        return false;
    }
    size_t needed = text->length + more + 1;
    if (needed > text->capacity) {
        size_t capacity = text->capacity ? text->capacity : 64;
        while (capacity < needed)
            capacity *= 2;
        text->bytes = x_resize(text->bytes, capacity, 1);
        text->capacity = capacity;
    }
    return true;
}

/* Two digits at a time, from the last. */
static char *print_digits(char *at, uint64_t value)
{
    if (value < 10) {
        *at = (char)('0' + value);
        return at + 1;
    }
    char digits[20], *first = digits + sizeof digits;
    for (; value >= 100; value /= 100)
        memcpy(first -= 2, two_digits + value % 100 * 2, 2);
    if (value >= 10)
        memcpy(first -= 2, two_digits + value * 2, 2);
    else
        *--first = (char)('0' + value);
    size_t length = (size_t)(digits + sizeof digits - first);
    memcpy(at, first, length);
    return at + length;
}

/* Most cells of most files come through here: eight digits at once, of which those wanted are copied in two pieces of
 * fixed length, since that is one instruction each; what they write too much, the caller has room for. */
static char *print_units(char *at, uint32_t units, int decimals)
{
    static const uint32_t powers[] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000};
    char digits[2 * SHORT_DIGITS];
    uint32_t high = units / 10000, low = units % 10000;
    memcpy(digits, two_digits + high / 100 * 2, 2);
    memcpy(digits + 2, two_digits + high % 100 * 2, 2);
    memcpy(digits + 4, two_digits + low / 100 * 2, 2);
    memcpy(digits + 6, two_digits + low % 100 * 2, 2);
    int whole = SHORT_DIGITS - decimals, first = whole - 1;
    while (first > 0 && units >= powers[SHORT_DIGITS - first])
        first--;
    memcpy(at, digits + first, SHORT_DIGITS);
    at += whole - first;
    if (decimals == 0)
        return at;
    *at = '.';
    memcpy(at + 1, digits + whole, SHORT_DIGITS);
    return at + 1 + decimals;
}

static char *print_long_units(char *at, uint64_t units, int decimals)
{
    uint64_t one = (uint64_t)power_of_ten[decimals], fraction = units % one;
    at = print_digits(at, units / one);
    if (decimals == 0)
        return at;
    *at = '.';
    for (int i = decimals; i > 0; i--, fraction /= 10)
        at[i] = (char)('0' + fraction % 10);
    return at + 1 + decimals;
}

/* More digits than a double holds: let the library round. The process never sets a locale, so the point is '.'. */
static bool parse_slowly(const char *start, const char *end, char decimal, double *ret)
{
    char copy[512];
    size_t length = (size_t)(end - start);
    if (length >= sizeof copy)
        return false;
    memcpy(copy, start, length);
    copy[length] = '\0';
    char *comma = decimal != '.' ? strchr(copy, decimal) : NULL;
    if (comma)
        *comma = '.';
    char *stop;
    double value = strtod(copy, &stop);
    if (*stop != '\0' || !isfinite(value))
        return false;
    *ret = value;
    return true;
}

/* Unicode's property Bidi_Control, and the line separators beside them. */
static bool is_bidirectional_control(const unsigned char *bytes, size_t length)
{
    if (length == 2 && bytes[0] == 0xD8 && bytes[1] == 0x9C)
        return true;
    if (length != 3 || bytes[0] != 0xE2)
        return false;
    return (bytes[1] == 0x80 && (bytes[2] == 0x8E || bytes[2] == 0x8F || (bytes[2] >= 0xA8 && bytes[2] <= 0xAE))) ||
           (bytes[1] == 0x81 && bytes[2] >= 0xA6 && bytes[2] <= 0xA9);
}
