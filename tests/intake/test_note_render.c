/* SPDX-License-Identifier: MIT */
#include "intake/note_render.h"

#include "base/timestamp.h"
#include "settings.h"

#include <criterion/criterion.h>
#include <math.h>

TestSuite(note_render);

static struct note note_of(enum note_kind kind)
{
    return (struct note){.kind = kind,
                         .time = settings_time("2026-04-06T19:50:00Z"),
                         .until = TIME_NONE,
                         .quantity = QUANTITY_COUNT,
                         .value = NAN,
                         .reference = NAN,
                         .text = "",
                         .station = "heron-creek"};
}

static void expect(const struct note *note, const char *expected)
{
    struct station station = {.id = "heron-creek", .utc_offset = -6 * HOUR_MS};
    struct text text;
    text_init(&text, 4096);
    note_render(note, &station, &text);
    cr_expect_str_eq(text.bytes, expected, "%s", text.bytes);
    text_done(&text);
}

#define WHEN "2026-04-06 13:50 -06:00 heron-creek: "

Test(note_render, says_when_where_and_what)
{
    struct note note = note_of(NOTE_LEVEL);
    note.value = 0.5563;
    expect(&note, WHEN "Water level by staff: 0.556 m");
    note.text = "waves";
    expect(&note, WHEN "Water level by staff: 0.556 m \"waves\"");
    note = note_of(NOTE_OUT_OF_WATER);
    note.time += 5 * SECOND_MS;
    expect(&note, "2026-04-06 13:50:05 -06:00 heron-creek: Logger out of the water");
}

Test(note_render, shows_what_a_remark_would_hide)
{
    struct note note = note_of(NOTE_REMARK);
    note.text = "dead shrimp\x1B[31m";
    expect(&note, WHEN "Remark \"dead shrimp\\x1B[31m\"");
    note.kind = NOTE_INSTRUMENT;
    note.text = "SN-2";
    expect(&note, WHEN "Instrument from here on \"SN-2\"");
}
