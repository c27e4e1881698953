/* SPDX-License-Identifier: MIT */
#include "archive/json.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { DEEPEST = 31 };

static bool add_short_number(struct text *text, double value);
static void start_item(struct json *json, const char *key);
static void start_line(struct json *json);

void json_begin(struct json *json, struct text *text)
{
    *json = (struct json){.text = text, .depth = 1};
    text_putc(text, '{');
}

void json_end(struct json *json)
{
    assert(json->depth == 1);
    json_close(json);
    text_putc(json->text, '\n');
}

void json_open(struct json *json, const char *key, enum json_shape shape)
{
    start_item(json, key);
    assert(json->depth < DEEPEST);
    json->depth++;
    uint32_t bit = 1u << json->depth;
    json->has_items &= ~bit;
    json->is_list = shape == JSON_LIST ? json->is_list | bit : json->is_list & ~bit;
    if (shape == JSON_ROW && json->row_depth == 0)
        json->row_depth = json->depth;
    text_putc(json->text, shape == JSON_LIST ? '[' : '{');
}

void json_close(struct json *json)
{
    assert(json->depth > 0);
    uint32_t bit = 1u << json->depth;
    bool stands_in_row = json->row_depth != 0;
    if (json->row_depth == json->depth)
        json->row_depth = 0;
    json->depth--;
    if ((json->has_items & bit) && !stands_in_row)
        start_line(json);
    text_putc(json->text, json->is_list & bit ? ']' : '}');
}

void json_string(struct json *json, const char *key, const char *value)
{
    start_item(json, key);
    text_json(json->text, value);
}

void json_bool(struct json *json, const char *key, bool value)
{
    start_item(json, key);
    text_puts(json->text, value ? "true" : "false");
}

void json_integer(struct json *json, const char *key, int64_t value)
{
    start_item(json, key);
    text_integer(json->text, value);
}

void json_number(struct json *json, const char *key, double value)
{
    start_item(json, key);
    if (!isfinite(value))
        text_puts(json->text, "null");
    else if (!add_short_number(json->text, value))
        text_printf(json->text, "%.9g", value);
}

/* Most numbers of the settings are a few decimals and no more: the double nearest to a whole number of their last
 * decimals (the division is exact to the last bit). Those have the same digits as by printf, which takes ten times as
 * long. */
static bool add_short_number(struct text *text, double value)
{
    static const double tens[] = {1, 10, 100, 1000, 10000, 100000, 1000000};
    const double most = 1e9; /* nine digits: what "%.9g" shows without rounding */
    for (int decimals = 0; decimals < (int)COUNT_OF(tens); decimals++) {
        double whole = nearbyint(value * tens[decimals]);
        if (fabs(whole) >= most)
            return false;
        if (whole / tens[decimals] != value || (value != 0 && fabs(value) < 1e-4))
            continue;
        text_puts(text, signbit(value) ? "-" : "");
        text_number(text, fabs(value), decimals);
        return true;
    }
    return false;
}

void json_quantity(struct json *json, const char *key, enum quantity quantity, double value)
{
    start_item(json, key);
    if (isfinite(value))
        text_number(json->text, quantity_to_written(quantity, value), quantity_info(quantity)->decimals);
    else
        text_puts(json->text, "null");
}

void json_time(struct json *json, const char *key, int64_t time)
{
    char printed[TIMESTAMP_SIZE];
    json_string(json, key, time == TIME_NONE || time == TIME_FOREVER ? NULL : timestamp_print(time, printed));
}

void json_offset(struct json *json, const char *key, int64_t offset)
{
    char printed[TIMESTAMP_SIZE];
    timestamp_print_offset(0, offset, printed);
    json_string(json, key, printed + strlen(printed) - strlen("+00:00"));
}

static void start_item(struct json *json, const char *key)
{
    uint32_t bit = 1u << json->depth;
    bool stands_in_row = json->row_depth != 0;
    if (json->has_items & bit)
        text_puts(json->text, stands_in_row ? ", " : ",");
    json->has_items |= bit;
    if (!stands_in_row)
        start_line(json);
    assert((key == NULL) == ((json->is_list & bit) != 0));
    if (key) {
        text_json(json->text, key);
        text_puts(json->text, ": ");
    }
}

_Static_assert(DEEPEST == 31, "start_line() has so many spaces");
static void start_line(struct json *json)
{
    static const char spaces[] = "\n                               ";
    text_add(json->text, spaces, 1 + json->depth);
}
