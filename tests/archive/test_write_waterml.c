/* SPDX-License-Identifier: MIT */
#include "archive/write_waterml.h"

#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static struct text text;

static void start(void)
{
    arena = arena_new();
    text_init(&text, 1 << 26);
}

static void finish(void)
{
    text_done(&text);
    arena_free(arena);
}

TestSuite(write_waterml, .init = start, .fini = finish);

static int check(const struct dataset *dataset)
{
    char *folder = fixture_make_folder();
    fixture_write_month(dataset, folder);
    int status = fixture_check("check_waterml.py", fixture_month_path(arena, dataset, folder, ".xml"));
    fixture_remove_folder(folder);
    return status;
}

Test(write_waterml, keeps_what_the_standard_asks_for)
{
    cr_expect_eq(check(fixture_month(arena)), 0);
    cr_expect_eq(check(fixture_long_month(arena, 500)), 0);
}

Test(write_waterml, keeps_it_for_names_that_look_like_markup_and_west_of_greenwich)
{
    struct dataset *dataset = fixture_month(arena);
    struct station station = *dataset->station;
    struct config config = *dataset->config;
    station.name = "Heron & <Creek> \"A\"";
    station.utc_offset = -(3 * HOUR_MS + 30 * MINUTE_MS);
    config.public_url = "";
    dataset->station = &station;
    dataset->config = &config;
    cr_expect_eq(check(dataset), 0);
    write_waterml(dataset, &text);
    cr_expect_not_null(strstr(text.bytes, "<wml2:zoneOffset>-03:30</wml2:zoneOffset>"));
    cr_expect_not_null(strstr(text.bytes, "Heron &amp; &lt;Creek&gt;"));
}

Test(write_waterml, gives_the_most_frequent_flag_once_and_the_others_where_they_stand)
{
    struct dataset *dataset = fixture_month(arena);
    dataset->record.flag[QUANTITY_TEMPERATURE][1] = FLAG_FAIL;
    write_waterml(dataset, &text);
    const char *series = strstr(text.bytes, "gml:id=\"series2\"");
    cr_assert_not_null(series);
    const char *good = strstr(series, "quality/good"), *poor = strstr(series, "quality/poor");
    cr_assert(good && poor);
    cr_expect_lt(good, strstr(series, "<wml2:point>"));
    cr_expect_gt(poor, strstr(series, "18.220"));
}

Test(write_waterml, says_why_a_value_is_missing)
{
    write_waterml(fixture_month(arena), &text);
    cr_expect_not_null(strstr(text.bytes, "<wml2:time>2026-03-01T00:00:00Z</wml2:time><wml2:value xsi:nil=\"true\"/>"
                                          "<wml2:metadata><wml2:TVPMeasurementMetadata><wml2:nilReason "));
}

Test(write_waterml, writes_the_same_bytes_twice)
{
    write_waterml(fixture_month(arena), &text);
    char *first = arena_strdup(arena, text.bytes);
    text_clear(&text);
    write_waterml(fixture_month(arena), &text);
    cr_expect_str_eq(text.bytes, first);
}
