/* SPDX-License-Identifier: MIT */
#include "archive/about.h"

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
