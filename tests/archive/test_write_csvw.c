/* SPDX-License-Identifier: MIT */
#include "archive/write_csvw.h"

#include "archive/write_csv.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static struct text text;

static void start(void)
{
    arena = arena_new();
    text_init(&text, 1 << 24);
}

static void finish(void)
{
    text_done(&text);
    arena_free(arena);
}

TestSuite(write_csvw, .init = start, .fini = finish);

/* Both files of the dataset in a folder; the exit status of the check over them. */
static int check(const struct dataset *dataset, const char *search, const char *replacement)
{
    char *folder = fixture_make_folder();
    write_csv(dataset, &text);
    char *csv = arena_strdup(arena, text.bytes);
    char *at = search ? strstr(csv, search) : NULL;
    if (at)
        memcpy(at, replacement, strlen(replacement));
    fixture_write(folder, "heron-creek_2026-03.csv", csv);
    text_clear(&text);
    write_csvw(dataset, &text);
    fixture_write(folder, "heron-creek_2026-03.csv-metadata.json", text.bytes);
    int status = fixture_run("python3 '%s/check_csvw.py' '%s/heron-creek_2026-03.csv' 2>%s", fixture_here(),
                             folder, search ? "/dev/null" : "&1");
    fixture_remove_folder(folder);
    return status;
}

Test(write_csvw, equals_the_golden_month_byte_by_byte)
{
    write_csvw(fixture_month(arena), &text);
    const char *golden = fixture_read(arena, fixture_here(), "golden/heron-creek_2026-03.csv-metadata.json");
    cr_assert_not_null(golden);
    cr_assert_str_eq(text.bytes, golden);
}

Test(write_csvw, writes_the_same_bytes_twice)
{
    write_csvw(fixture_month(arena), &text);
    char *first = arena_strdup(arena, text.bytes);
    text_clear(&text);
    write_csvw(fixture_month(arena), &text);
    cr_assert_str_eq(text.bytes, first);
}

Test(write_csvw, describes_the_small_month_truly)
{
    cr_assert_eq(check(fixture_month(arena), NULL, NULL), 0);
}

Test(write_csvw, describes_a_long_month_truly)
{
    cr_assert_eq(check(fixture_long_month(arena, 8640), NULL, NULL), 0);
}

Test(write_csvw, is_contradicted_by_a_record_that_was_tampered_with)
{
    cr_assert_eq(check(fixture_month(arena), "level_m", "level_x"), 1);
    text_clear(&text);
    cr_assert_eq(check(fixture_month(arena), "1.2012", "=1+201"), 1);
    text_clear(&text);
    cr_assert_eq(check(fixture_month(arena), "2026-03-01T00:00:00Z", "2026-02-28T23:55:00Z"), 1);
}

Test(write_csvw, keeps_markup_and_formulas_of_people_as_plain_text)
{
    struct dataset *dataset = fixture_month(arena);
    struct station station = *dataset->station;
    station.name = "=cmd|'/c calc'!A1 <img src=x onerror=\"x\">\r\n";
    dataset->station = &station;
    cr_assert_eq(check(dataset, NULL, NULL), 0);
    cr_assert_null(strchr(text.bytes, '<'));
    cr_assert_null(strchr(text.bytes, '\r'));
    cr_assert_not_null(
        strstr(text.bytes, "\"=cmd|'/c calc'!A1 \\u003cimg src=x onerror=\\\"x\\\">\\u000d\\u000a\""));
}

Test(write_csvw, stays_whole_json_for_names_too_long_for_the_title)
{
    struct dataset *dataset = fixture_month(arena);
    struct station station = *dataset->station;
    char name[1001];
    memset(name, 'n', sizeof name - 1);
    name[sizeof name - 1] = '\0';
    memcpy(name + 199, "\xC3\xA9", 2);
    station.name = name;
    dataset->station = &station;
    cr_assert_eq(check(dataset, NULL, NULL), 0);
}

Test(write_csvw, names_a_barometer_that_left_the_settings)
{
    write_csvw(fixture_month(arena), &text);
    cr_assert_not_null(strstr(text.bytes, "{\"id\": \"old-jetty\", \"rows\": 3}"));
}
