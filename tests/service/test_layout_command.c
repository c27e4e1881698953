/* SPDX-License-Identifier: MIT */
#include "service/layout_command.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <string.h>

TestSuite(layout_command);

static int64_t now(void)
{
    int64_t time;
    cr_assert(timestamp_parse("2026-06-01T00:00:00Z", 20, &time));
    return time;
}

Test(layout_command, drafts_a_layout_and_shows_what_it_reads)
{
    char path[] = RILLWARD_SOURCE_ROOT "/samples/drops/east-water.csv", *paths[] = {path};
    struct text text;
    struct error error;
    bool has_questions = false;
    text_init(&text, 1 << 20);
    cr_assert(layout_command_run(paths, 1, now(), &text, &has_questions, &error), "%s", error.text);
    cr_expect(has_questions);
    cr_expect_not_null(strstr(text.bytes, "layouts:\n  east-water:"));
    cr_expect_not_null(strstr(text.bytes, "36 of 36 rows, 2026-03-25T09:45:00Z to 2026-03-25T12:40:00Z\n"));
    cr_expect_not_null(strstr(text.bytes,
                              "#   first: temperature 15.940 °C, oxygen 9.900 mg/L, conductivity 0.0004 mS/cm, "
                              "water_pressure 101.8610 kPa\n"));
    cr_expect_null(strstr(text.bytes, "trial-"));
    text_done(&text);
}

Test(layout_command, names_a_file_that_is_not_there)
{
    char path[] = "/nonexistent/heron.csv", *paths[] = {path};
    struct text text;
    struct error error;
    bool has_questions;
    text_init(&text, 1 << 20);
    cr_expect_not(layout_command_run(paths, 1, now(), &text, &has_questions, &error));
    cr_expect_eq(error.kind, ERROR_SYSTEM);
    cr_expect_not_null(strstr(error.text, "/nonexistent/heron.csv"));
    text_done(&text);
}
