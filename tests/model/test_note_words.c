/* SPDX-License-Identifier: MIT */
#include "model/note_words.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>

TestSuite(note_words);

#define ON_6_APRIL_1950Z 1775505000000

static struct note note_of(enum note_kind kind, enum quantity quantity, double value, double reference)
{
    return (struct note){.kind = kind,
                         .time = ON_6_APRIL_1950Z,
                         .until = ON_6_APRIL_1950Z + HOUR_MS,
                         .quantity = quantity,
                         .value = value,
                         .reference = reference,
                         .text = "never shown",
                         .station = "heron-creek"};
}

static void expect(enum note_kind kind, enum quantity quantity, double value, double reference, const char *expected)
{
    struct note note = note_of(kind, quantity, value, reference);
    struct text text;
    text_init(&text, 4096);
    note_words(&note, -6 * HOUR_MS, &text);
    cr_expect_str_eq(text.bytes, expected, "%s", text.bytes);
    text_done(&text);
}

Test(note_words, says_heights_to_the_millimetre)
{
    expect(NOTE_LEVEL, QUANTITY_COUNT, 0.5563, NAN, "Water level by staff: 0.556 m");
    expect(NOTE_LEVEL, QUANTITY_COUNT, -0.25, NAN, "Water level by staff: -0.250 m");
    expect(NOTE_TAPE_DOWN, QUANTITY_COUNT, 1.25, NAN, "Tape down to the water: 1.250 m");
}

Test(note_words, says_checks_as_they_were_written)
{
    expect(NOTE_CHECK, QUANTITY_OXYGEN, NAN, 8.21,
           "Dissolved oxygen, as found: sensor as the logger recorded it, meter 8.21 mg/L");
    expect(NOTE_CHECK, QUANTITY_OXYGEN, 7.95, 8.0, "Dissolved oxygen, as found: sensor 7.95 mg/L, meter 8 mg/L");
    expect(NOTE_CHECK_CLEANED, QUANTITY_SALINITY, 12, 12.05,
           "Practical salinity, after cleaning: sensor 12, meter 12.05");
    expect(NOTE_STANDARD, QUANTITY_SPECIFIC_CONDUCTANCE, 1.4, 1.413,
           "Specific conductance at 25 °C, in a standard: sensor 1400 µS/cm, standard 1413 µS/cm");
}

Test(note_words, says_moments_by_the_station_s_clock)
{
    expect(NOTE_OUT_OF_WATER, QUANTITY_COUNT, NAN, NAN, "Logger out of the water");
    expect(NOTE_IN_WATER, QUANTITY_COUNT, NAN, NAN, "Logger into the water");
    expect(NOTE_CLOCK, QUANTITY_COUNT, NAN, NAN, "Clock check: the logger showed 2026-04-06 14:50");
    expect(NOTE_STRIKE, QUANTITY_COUNT, NAN, NAN, "Everything struck out until 2026-04-06 14:50");
    expect(NOTE_RESTORE, QUANTITY_LEVEL, NAN, NAN, "Water level restored until 2026-04-06 14:50");
    expect(NOTE_REVIEWED, QUANTITY_COUNT, NAN, NAN, "Reviewed until 2026-04-06 14:50");
}

Test(note_words, knows_every_kind)
{
    for (enum note_kind kind = 0; kind < NOTE_KIND_COUNT; kind++) {
        struct note note = note_of(kind, QUANTITY_TEMPERATURE, 1, 2);
        struct text text;
        text_init(&text, 4096);
        note_words(&note, 0, &text);
        cr_expect_gt(text.length, 5, "%s", note_kind_word(kind));
        text_done(&text);
    }
}

Test(note_words, prints_no_more_of_a_time_than_there_is)
{
    struct text text;
    text_init(&text, 100);
    note_words_time(ON_6_APRIL_1950Z + 7 * SECOND_MS, 0, &text);
    note_words_time(ON_6_APRIL_1950Z + 7 * SECOND_MS + 50, 0, &text);
    cr_expect_str_eq(text.bytes, "2026-04-06 19:50:072026-04-06 19:50:07.050", "%s", text.bytes);
    text_done(&text);
}
