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

Test(note_render, says_heights_and_moments)
{
    struct note note = note_of(NOTE_LEVEL);
    note.value = 0.5563;
    expect(&note, WHEN "staff reading 0.556 m");
    note.text = "waves";
    expect(&note, WHEN "staff reading 0.556 m \"waves\"");
    note = note_of(NOTE_TAPE_DOWN);
    note.value = 1.25;
    expect(&note, WHEN "tape down to the water 1.250 m");
    note = note_of(NOTE_OUT_OF_WATER);
    note.time += 5 * SECOND_MS;
    expect(&note, "2026-04-06 13:50:05 -06:00 heron-creek: logger out of the water");
    note = note_of(NOTE_IN_WATER);
    expect(&note, WHEN "logger in the water");
}

Test(note_render, says_checks)
{
    struct note note = note_of(NOTE_CHECK);
    note.quantity = QUANTITY_OXYGEN;
    note.reference = 8.21;
    expect(&note, WHEN "oxygen: sensor as it logged, meter 8.210 mg/L");
    note.value = 7.95;
    expect(&note, WHEN "oxygen: sensor 7.950 mg/L, meter 8.210 mg/L");
    note.kind = NOTE_STANDARD;
    note.quantity = QUANTITY_SPECIFIC_CONDUCTANCE;
    note.value = 1.4;
    note.reference = 1.413;
    expect(&note, WHEN "specific_conductance: sensor 1400.0 µS/cm, standard 1413.0 µS/cm");
    note.kind = NOTE_CHECK_CLEANED;
    note.quantity = QUANTITY_SALINITY;
    note.value = note.reference = 12;
    expect(&note, WHEN "salinity: cleaned sensor 12.0000, meter 12.0000");
}

Test(note_render, says_spans_clocks_and_texts)
{
    struct note note = note_of(NOTE_STRIKE);
    note.until = note.time + HOUR_MS;
    note.text = "sediment";
    expect(&note, WHEN "all struck out until 2026-04-06 14:50 \"sediment\"");
    note.kind = NOTE_RESTORE;
    note.quantity = QUANTITY_LEVEL;
    expect(&note, WHEN "level restored until 2026-04-06 14:50 \"sediment\"");
    note = note_of(NOTE_CLOCK);
    note.until = note.time - 30 * SECOND_MS;
    expect(&note, WHEN "the logger's clock showed 2026-04-06 13:49:30");
    note = note_of(NOTE_REMARK);
    note.text = "dead shrimp\x1B[31m";
    expect(&note, WHEN "remark \"dead shrimp\\x1B[31m\"");
    note.kind = NOTE_INSTRUMENT;
    note.text = "SN-2";
    expect(&note, WHEN "instrument \"SN-2\"");
}
