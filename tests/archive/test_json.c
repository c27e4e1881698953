/* SPDX-License-Identifier: MIT */
#include "archive/json.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>

static struct text text;
static struct json json;

static void start(void)
{
    text_init(&text, 65536);
    json_begin(&json, &text);
}

static void finish(void)
{
    text_done(&text);
}

TestSuite(json, .init = start, .fini = finish);

Test(json, writes_members_one_a_line_and_rows_on_one_line)
{
    json_string(&json, "a", "x");
    json_open(&json, "list", JSON_LIST);
    json_open(&json, NULL, JSON_ROW);
    json_integer(&json, "b", -3);
    json_open(&json, "c", JSON_LIST);
    json_bool(&json, NULL, true);
    json_bool(&json, NULL, false);
    json_close(&json);
    json_close(&json);
    json_open(&json, NULL, JSON_OBJECT);
    json_integer(&json, "d", 4);
    json_close(&json);
    json_close(&json);
    json_end(&json);
    cr_assert_str_eq(text.bytes, "{\n \"a\": \"x\",\n \"list\": [\n  {\"b\": -3, \"c\": [true, false]},\n"
                                 "  {\n   \"d\": 4\n  }\n ]\n}\n");
}

Test(json, writes_empty_shapes_closed_at_once)
{
    json_open(&json, "list", JSON_LIST);
    json_close(&json);
    json_open(&json, "object", JSON_OBJECT);
    json_close(&json);
    json_end(&json);
    cr_assert_str_eq(text.bytes, "{\n \"list\": [],\n \"object\": {}\n}\n");
}

Test(json, writes_numbers_as_printf_would)
{
    static const double others[] = {0,     -0.0,    1e-5,     0.0001,   0.00012345, 123456789, 1234567890, 1e9,  999999999.5, 1e300,
                                    1.0/3, 5e-324, 44.006119, -123.99334, 0.1,      100,       1e6,        0.3, 2.5000001,   1e22};
    unsigned state = 7;
    for (int k = 0; k < 20000; k++) {
        state = state * 1103515245u + 12345u;
        double value = k < (int)COUNT_OF(others) ? others[k] : (double)(int)state / pow(10, k % 12);
        char by_printf[64];
        snprintf(by_printf, sizeof by_printf, "%.9g", value);
        text_clear(&text);
        json_begin(&json, &text);
        json_number(&json, "n", value);
        json_end(&json);
        char expected[128];
        snprintf(expected, sizeof expected, "{\n \"n\": %s\n}\n", by_printf);
        cr_assert_str_eq(text.bytes, expected);
    }
}

Test(json, writes_null_for_what_is_not_known)
{
    json_open(&json, "row", JSON_ROW);
    json_number(&json, "a", NAN);
    json_number(&json, "b", INFINITY);
    json_quantity(&json, "c", QUANTITY_LEVEL, NAN);
    json_time(&json, "d", TIME_NONE);
    json_time(&json, "e", TIME_FOREVER);
    json_string(&json, "f", NULL);
    json_close(&json);
    json_end(&json);
    cr_assert_str_eq(text.bytes, "{\n \"row\": {\"a\": null, \"b\": null, \"c\": null, "
                                 "\"d\": null, \"e\": null, \"f\": null}\n}\n");
}

Test(json, writes_quantities_in_their_written_unit_and_decimals)
{
    json_open(&json, "row", JSON_ROW);
    json_quantity(&json, "sc", QUANTITY_SPECIFIC_CONDUCTANCE, 0.15234);
    json_quantity(&json, "level", QUANTITY_LEVEL, 1.2);
    json_number(&json, "k", 0.0191);
    json_time(&json, "t", 0);
    json_offset(&json, "z", -(3 * HOUR_MS + 30 * MINUTE_MS));
    json_close(&json);
    json_end(&json);
    cr_assert_str_eq(text.bytes, "{\n \"row\": {\"sc\": 152.3, \"level\": 1.2000, \"k\": 0.0191, "
                                 "\"t\": \"1970-01-01T00:00:00Z\", \"z\": \"-03:30\"}\n}\n");
}

Test(json, makes_hostile_text_harmless)
{
    json_string(&json, "a\"b", "</script>\"\\\n\xFF");
    json_end(&json);
    cr_assert_str_eq(text.bytes, "{\n \"a\\\"b\": \"\\u003c/script>\\\"\\\\\\u000a\xEF\xBF\xBD\"\n}\n");
}
