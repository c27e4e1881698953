/* SPDX-License-Identifier: MIT */
#include "archive/network_json.h"

#include "base/timestamp.h"
#include "fixture.h"
#include "model/flags.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

enum { NO_MODULE = 77 };

static struct arena *arena;
static struct text text, schema;

static const struct network_record records[] = {
    {2026, 2, 1, "stations/heron-creek/2026/heron-creek_2026-02.csv",
     "3f79bb7b435b05321651daefd374cdc681dc06faa65e374e38337b88ca046dea", RECORD_REVIEWED},
    {2026, 3, 2, "stations/heron-creek/2026/heron-creek_2026-03.csv",
     "486ea46224d1bb4fb680f34f7c9ad96a8f24ec88be73ea8e5a6c65260e9cb8a7", RECORD_PROVISIONAL},
};
static const struct network_value values[] = {
    {QUANTITY_LEVEL, 1772323200000, 1.2113, FLAG_PASS},
    {QUANTITY_SPECIFIC_CONDUCTANCE, 1772323200000, NAN, FLAG_MISSING},
    {QUANTITY_BATTERY, 1772323200250, 3.61, FLAG_NOT_EVALUATED},
};
static const struct network_waiting waiting[] = {{{1772323500000, 1772326800000}, "no air pressure", false}};
static const struct alarm alarms[] = {
    {.station = "heron-creek",
     .rule = "low-oxygen",
     .episode = {1772320000000, 1772321800000, TIME_NONE, 1.9, 1772322000000, 2.2, 1772323200000, ""},
     .state = ALARM_UNACKNOWLEDGED},
    {.station = "heron-creek",
     .rule = "gone-rule",
     .episode = {1772320000000, 1772321800000, 1772322000000, 3.6e6, TIME_NONE, NAN, TIME_NONE, "<b>x</b>"},
     .state = ALARM_RETURNED_UNACKNOWLEDGED},
};

static void start(void)
{
    arena = arena_new();
    text_init(&text, 1 << 20);
    text_init(&schema, 1 << 20);
    network_json_render_schema(&schema);
}

static void finish(void)
{
    text_done(&schema);
    text_done(&text);
    arena_free(arena);
}

TestSuite(network_json, .init = start, .fini = finish);

static void render(const char *station_name)
{
    const struct config *config = fixture_month(arena)->config;
    struct station *second = arena_alloc(arena, sizeof *second);
    *second = config->stations[0];
    second->id = "0.quiet_pool";
    second->name = station_name;
    second->elevation = NAN;
    const struct network_station stations[] = {
        {.station = &config->stations[0],
         .first = 1769904000000,
         .last = 1772323200250,
         .values = values,
         .value_count = COUNT_OF(values),
         .month_count = 2,
         .records = records,
         .record_count = COUNT_OF(records),
         .waiting = waiting,
         .waiting_count = COUNT_OF(waiting),
         .alarms = alarms,
         .alarm_count = COUNT_OF(alarms)},
        {.station = second, .first = TIME_NONE, .last = TIME_NONE},
    };
    network_json_render(&(struct network_view){config, stations, COUNT_OF(stations)}, &text);
}

/* Exit status of the check; it lists what it finds in `complaints`, a file or &1. */
static int check(const char *complaints)
{
    char *folder = fixture_make_folder();
    fixture_write(folder, "network.json", text.bytes);
    fixture_write(folder, "network.schema.json", schema.bytes);
    int status = fixture_run("python3 '%s/check_network.py' '%s/network.json' '%s/network.schema.json' 2>%s",
                             fixture_here(), folder, folder, complaints);
    fixture_remove_folder(folder);
    return status;
}

Test(network_json, fits_its_schema)
{
    render("Quiet pool");
    int status = check("&1");
    if (status == NO_MODULE)
        cr_skip_test("python3 has no jsonschema");
    cr_assert_eq(status, 0);
}

Test(network_json, fits_its_schema_without_any_station)
{
    network_json_render(&(struct network_view){fixture_month(arena)->config, NULL, 0}, &text);
    int status = check("&1");
    if (status == NO_MODULE)
        cr_skip_test("python3 has no jsonschema");
    cr_assert_eq(status, 0);
}

Test(network_json, is_refused_by_its_schema_with_a_flag_that_there_is_not)
{
    render("Quiet pool");
    memcpy(strstr(text.bytes, "\"flag\": 9"), "\"flag\": 7", 9);
    int status = check("/dev/null");
    if (status == NO_MODULE)
        cr_skip_test("python3 has no jsonschema");
    cr_assert_eq(status, 1);
}

Test(network_json, writes_the_same_bytes_twice)
{
    render("Quiet pool");
    char *first = arena_strdup(arena, text.bytes);
    text_clear(&text);
    render("Quiet pool");
    cr_assert_str_eq(text.bytes, first);
}

Test(network_json, writes_values_in_written_units_with_their_flag)
{
    render("Quiet pool");
    cr_expect_not_null(strstr(text.bytes, "{\"quantity\": \"level\", \"time\": \"2026-03-01T00:00:00Z\", "
                                          "\"value\": 1.2113, \"unit\": \"m\", \"flag\": 1}"));
    cr_expect_not_null(strstr(text.bytes, "\"value\": null, \"unit\": \"\xC2\xB5S/cm\", \"flag\": 9}"));
}

Test(network_json, tells_an_open_alarm_with_its_rule_even_when_that_left_the_settings)
{
    render("Quiet pool");
    cr_expect_not_null(strstr(text.bytes, "{\"rule\": \"low-oxygen\", \"title\": \"Low oxygen\", "
                                          "\"quantity\": \"oxygen\", \"state\": \"unacknowledged\", "));
    cr_expect_not_null(
        strstr(text.bytes, "{\"rule\": \"gone-rule\", \"title\": \"gone-rule\", \"quantity\": null, "));
}

Test(network_json, makes_hostile_names_harmless)
{
    render("</script><script>alert(1)</script>\"\n");
    cr_assert_null(strchr(text.bytes, '<'));
    cr_assert_not_null(strstr(text.bytes, "\\u003cscript>alert(1)\\u003c/script>\\\"\\u000a\""));
}
