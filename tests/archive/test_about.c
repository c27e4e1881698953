/* SPDX-License-Identifier: MIT */
#include "archive/about.h"

#include "archive/archive.h"
#include "fixture.h"
#include "model/flags.h"

#include <criterion/criterion.h>
#include <string.h>

static struct arena *arena;
static struct text text;

static void start(void)
{
    arena = arena_new();
    text_init(&text, 65536);
}

static void finish(void)
{
    text_done(&text);
    arena_free(arena);
}

TestSuite(about, .init = start, .fini = finish);

Test(about, names_the_network_every_flag_and_every_test)
{
    about_render(fixture_month(arena)->config, &text);
    cr_expect(text_starts_with(text.bytes, "Sallow estuary water watch\nkept by Sallow Water Trust\n"));
    cr_expect_not_null(strstr(text.bytes, "  9  missing\n"));
    for (unsigned bit = 0; bit < TEST_COUNT; bit++)
        cr_expect_not_null(strstr(text.bytes, test_info(bit)->meaning));
    cr_expect_not_null(strstr(text.bytes, "sha256sum -c manifest-sha256.txt"));
}

Test(about, names_every_format_of_a_month)
{
    size_t n;
    const struct archive_writer *writers = archive_writers(&n);
    about_render(fixture_month(arena)->config, &text);
    for (size_t i = 0; i < n; i++) {
        const char *beside = strstr(writers[i].extension, "-metadata.json"); /* is told of with what it describes */
        int length = beside ? (int)(beside - writers[i].extension) : (int)strlen(writers[i].extension);
        cr_expect_not_null(strstr(text.bytes, arena_printf(arena, "ID_YYYY-MM%.*s ", length, writers[i].extension)),
                           "about.txt does not say what '%s' is", writers[i].extension);
    }
}

Test(about, has_lines_that_fit_a_terminal)
{
    about_render(fixture_month(arena)->config, &text);
    for (const char *line = text.bytes; *line; line += strcspn(line, "\n") + 1)
        cr_expect_lt(strcspn(line, "\n"), 120, "%.40s", line);
}

Test(about, keeps_a_line_end_in_a_name_from_starting_a_line)
{
    struct config config = *fixture_month(arena)->config;
    config.network_name = "x\nFLAGS\n\x1B[31m";
    about_render(&config, &text);
    cr_assert(text_starts_with(text.bytes, "x\\x0AFLAGS\\x0A\\x1B[31m\n"));
}

Test(about, leaves_out_what_the_settings_leave_out)
{
    struct config config = *fixture_month(arena)->config;
    config.operator_name = config.contact = config.public_url = "";
    about_render(&config, &text);
    cr_assert(text_starts_with(text.bytes, "Sallow estuary water watch\n\nPLEASE READ\n"));
}

Test(about, says_who_reviewed_what_in_every_format)
{
    static const struct dataset_review review = {
        {1772200800000, 1772323200001}, "Ines \u202eHale", "all <checks> close", 1777600000000};
    struct dataset *dataset = fixture_month(arena);
    dataset->reviews = &review;
    dataset->review_count = 1;
    dataset->state = RECORD_REVIEWED;
    about_add_state(dataset, &text);
    cr_expect_str_eq(text.bytes, "Reviewed from 2026-02-27T14:00:00Z to 2026-03-01T00:00:00.001Z by Ines \\u{202E}Hale,"
                                 " said on 2026-05-01: all <checks> close.");
    dataset->state = RECORD_PARTLY_REVIEWED;
    text_clear(&text);
    about_add_state(dataset, &text);
    cr_expect(text_starts_with(text.bytes, about_provisional()) && strstr(text.bytes, " Reviewed from "));
    char *folder = fixture_make_folder();
    dataset->state = RECORD_REVIEWED;
    ((struct config *)(uintptr_t)dataset->config)->archive_formats = (1u << FORMAT_COUNT) - 1;
    fixture_write_month(dataset, folder);
    const char *const said[] = {"_daily.csv-metadata.json", ".csv-metadata.json", ".xml"};
    for (size_t k = 0; k < COUNT_OF(said); k++) {
        const char *path = fixture_month_path(arena, dataset, folder, said[k]);
        const char *bytes = fixture_read(arena, folder, strrchr(path, '/') + 1);
        cr_assert_not_null(bytes);
        cr_expect_not_null(strstr(bytes, "Hale, said on 2026-05-01: all "), "%s", said[k]);
    }
    cr_expect_eq(fixture_run("ncdump -h '%s' | grep -q 'corrected, flagged, reviewed'",
                             fixture_month_path(arena, dataset, folder, ".nc")),
                 0);
    cr_expect_eq(fixture_run("unzip -p '%s' | grep -q 'said on 2026-05-01'",
                             fixture_month_path(arena, dataset, folder, ".xlsx")),
                 0);
    cr_expect_not_null(strstr(fixture_read(arena, folder, "heron-creek_2026-03.svg"), "revision 2 \u00b7 reviewed"));
    fixture_remove_folder(folder);
}
