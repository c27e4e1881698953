/* SPDX-License-Identifier: MIT */
#include "intake/xlsx_value.h"

#include "base/text.h"
#include "base/timestamp.h"
#include "intake/clock.h"
#include "intake/encoding.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LAST_SERIAL 2958466.0 /* 10000-01-01 */
/* What 100,000 steps of 5 min, each the one above plus 1/288, are off by. */
enum { DRIFT_MS = 40 };
enum { DIGITS_OF_DOUBLE = 15, LAST_COLUMN = 16384, REPLACEMENT = 0xFFFD };
enum { EPOCH_1900 = 25569, EPOCH_1904 = 24107 /* serial number of 1970-01-01 */ };

static bool is_short_number(const char *text, size_t length);
static struct cell print_number(double value, enum cell_kind kind, char *ret);
static bool civil_of_serial(double serial, bool is_1904, int64_t *ret);
static int64_t round_to_clock(double days);
static struct cell print_civil(int64_t local, char *ret);
static struct cell print_time(int64_t of_day, char *ret);
static size_t skip_code(const char *at);
static bool read_escape(const char *text, size_t available, uint32_t *ret);

enum xlsx_style xlsx_style_built_in(unsigned id)
{
    if (id == 9 || id == 10)
        return XLSX_PERCENT;
    bool is_date = (id >= 14 && id <= 22) || (id >= 27 && id <= 36) || (id >= 45 && id <= 47) || (id >= 50 && id <= 58);
    return is_date ? XLSX_DATE : XLSX_PLAIN;
}

enum xlsx_style xlsx_style_of_code(const char *code)
{
    enum xlsx_style style = XLSX_PLAIN;
    for (const char *at = code; *at && *at != ';';) {
        size_t skipped = skip_code(at);
        if (skipped > 0) {
            at += skipped;
            continue;
        }
        /* "General" holds an e and an l, but no letter of a date. */
        if (strchr("ymdhsYMDHS[", *at))
            return XLSX_DATE;
        if (*at == '%')
            style = XLSX_PERCENT;
        at++;
    }
    return style;
}

struct cell xlsx_number(const char *text, size_t length, enum xlsx_style style, bool is_1904, char ret[XLSX_VALUE_SIZE])
{
    double value;
    if (style == XLSX_PLAIN && is_short_number(text, length)) {
        memcpy(ret, text, length);
        return (struct cell){.text = ret, .length = (uint32_t)length, .kind = CELL_NUMBER};
    }
    if (!text_parse_number(text, length, '.', &value)) {
        size_t kept = length < XLSX_VALUE_SIZE ? length : XLSX_VALUE_SIZE;
        memcpy(ret, text, kept);
        return cell_trim(ret, kept);
    }
    if (style == XLSX_PERCENT)
        return print_number(value * 100, CELL_PERCENT, ret);
    int64_t local;
    if (style == XLSX_DATE && value >= 0 && value < 1)
        return print_time(round_to_clock(value), ret);
    if (style == XLSX_DATE && civil_of_serial(value, is_1904, &local))
        return print_civil(local, ret);
    return print_number(value, CELL_NUMBER, ret);
}

struct cell xlsx_iso(const char *text, size_t length, char ret[XLSX_VALUE_SIZE])
{
    struct cell cell = cell_trim(text, length);
    struct clock_reading reading;
    int64_t of_day;
    size_t kept = cell.length < XLSX_VALUE_SIZE ? cell.length : XLSX_VALUE_SIZE;
    memcpy(ret, cell.text, kept);
    struct cell copy = {.text = ret, .length = (uint32_t)kept};
    if (kept == cell.length && clock_read_civil(ret, kept, &reading))
        copy.kind = CELL_CIVIL;
    else if (kept > 1 && *ret == 'T' && clock_read_time_of_day(ret + 1, kept - 1, &of_day))
        copy = (struct cell){.text = ret + 1, .length = (uint32_t)kept - 1, .kind = CELL_TIME};
    else if (clock_read_time_of_day(ret, kept, &of_day))
        copy.kind = CELL_TIME;
    return copy;
}

size_t xlsx_unescape(char *text, size_t length)
{
    size_t written = 0;
    uint32_t c, low;
    for (size_t i = 0; i < length;) {
        if (text[i] != '_' || !read_escape(text + i, length - i, &c)) {
            text[written++] = text[i++];
            continue;
        }
        i += 7;
        bool is_high = c >= 0xD800 && c < 0xDC00;
        if (is_high && read_escape(text + i, length - i, &low) && low >= 0xDC00 && low < 0xE000) {
            c = 0x10000 + ((c - 0xD800) << 10) + (low - 0xDC00);
            i += 7;
        } else if (c == 0 || (c >= 0xD800 && c < 0xE000)) {
            c = REPLACEMENT;
        }
        written += encoding_put_utf8(text + written, c);
    }
    return written;
}

uint32_t xlsx_column(const char *reference)
{
    uint32_t column = 0;
    size_t letters = 0;
    for (; letters < 3 && reference[letters] >= 'A' && reference[letters] <= 'Z'; letters++)
        column = column * 26 + (uint32_t)(reference[letters] - 'A' + 1);
    bool has_row = reference[letters] >= '1' && reference[letters] <= '9';
    return letters > 0 && has_row && column <= LAST_COLUMN ? column - 1 : UINT32_MAX;
}

/* A plain decimal that is its own shortest text: the ordinary case, which needs no conversion. */
static bool is_short_number(const char *text, size_t length)
{
    size_t digits = 0, points = 0, i = length > 0 && *text == '-';
    for (; i < length; i++) {
        digits += text[i] >= '0' && text[i] <= '9';
        points += text[i] == '.';
    }
    return digits > 0 && digits <= DIGITS_OF_DOUBLE && points <= 1 && digits + points + (*text == '-') == length &&
           text[length - 1] != '.';
}

static struct cell print_number(double value, enum cell_kind kind, char *ret)
{
    bool is_whole = value == floor(value) && fabs(value) < 1e18;
    for (int digits = DIGITS_OF_DOUBLE; digits <= 17; digits++) {
        snprintf(ret, XLSX_VALUE_SIZE, "%.*g", digits, value);
        if (strtod(ret, NULL) == value)
            break;
    }
    if (is_whole)
        snprintf(ret, XLSX_VALUE_SIZE, "%.0f", value == 0 ? 0 : value);
    return (struct cell){.text = ret, .length = (uint32_t)strlen(ret), .kind = (uint8_t)kind};
}

static bool civil_of_serial(double serial, bool is_1904, int64_t *ret)
{
    if (serial < 0 || serial >= LAST_SERIAL - (is_1904 ? EPOCH_1900 - EPOCH_1904 : 0))
        return false;
    if (!is_1904 && serial >= 60 && serial < 61)
        return false;
    double days = serial - (is_1904 ? EPOCH_1904 : serial < 60 ? EPOCH_1900 - 1 : EPOCH_1900);
    double whole = floor(days);
    *ret = (int64_t)whole * DAY_MS + round_to_clock(days - whole);
    return true;
}

static int64_t round_to_clock(double days)
{
    int64_t time = llround(days * (double)DAY_MS), rest = time % SECOND_MS;
    return rest <= DRIFT_MS ? time - rest : rest >= SECOND_MS - DRIFT_MS ? time + SECOND_MS - rest : time;
}

static struct cell print_civil(int64_t local, char *ret)
{
    struct civil civil = timestamp_to_civil(local);
    int length = snprintf(ret, XLSX_VALUE_SIZE, "%04d-%02d-%02d", civil.year, civil.month, civil.day);
    int64_t of_day = local - timestamp_floor(local, DAY_MS);
    if (of_day > 0) {
        ret[length++] = ' ';
        length += (int)print_time(of_day, ret + length).length;
    }
    return (struct cell){.text = ret, .length = (uint32_t)length, .kind = CELL_CIVIL};
}

static struct cell print_time(int64_t of_day, char *ret)
{
    int64_t second = of_day / SECOND_MS;
    int length = sprintf(ret, "%02d:%02d:%02d", (int)(second / 3600), (int)(second / 60 % 60), (int)(second % 60));
    if (of_day % SECOND_MS > 0)
        length += sprintf(ret + length, ".%03d", (int)(of_day % SECOND_MS));
    return (struct cell){.text = ret, .length = (uint32_t)length, .kind = CELL_TIME};
}

/* Bytes of a quoted text, an escape, or a bracket that is no elapsed time such as [h]; 0 for what counts. */
static size_t skip_code(const char *at)
{
    if (*at == '"') {
        const char *end = strchr(at + 1, '"');
        return end ? (size_t)(end - at) + 1 : strlen(at);
    }
    if (*at == '\\' || *at == '_' || *at == '*')
        return at[1] ? 2 : 1;
    if (*at != '[')
        return 0;
    size_t letters = 1;
    while (at[letters] && tolower((unsigned char)at[letters]) == tolower((unsigned char)at[1]))
        letters++;
    if (at[1] && strchr("hmsHMS", at[1]) && at[letters] == ']' && letters <= 3)
        return 0;
    const char *end = strchr(at, ']');
    return end ? (size_t)(end - at) + 1 : strlen(at);
}

static bool read_escape(const char *text, size_t available, uint32_t *ret)
{
    if (available < 7 || text[0] != '_' || text[1] != 'x' || text[6] != '_')
        return false;
    *ret = 0;
    for (size_t i = 2; i < 6; i++) {
        int c = tolower((unsigned char)text[i]);
        if (!isxdigit(c))
            return false;
        *ret = *ret << 4 | (uint32_t)(c <= '9' ? c - '0' : c - 'a' + 10);
    }
    return true;
}
