/* SPDX-License-Identifier: MIT */
#include "intake/draft_words.h"

#include <criterion/criterion.h>

TestSuite(draft_words);

static void expect(const char *header, enum quantity quantity)
{
    cr_expect_eq(draft_quantity(draft_clues(cell_from(header))), quantity, "%s", header);
}

Test(draft_words, knows_quantities_in_several_languages)
{
    expect("Abs Pressure", QUANTITY_WATER_PRESSURE);
    expect("Wasserdruck", QUANTITY_WATER_PRESSURE);
    expect("Presión", QUANTITY_WATER_PRESSURE);
    expect("Pression de l'eau", QUANTITY_WATER_PRESSURE);
    expect("Baro", QUANTITY_AIR_PRESSURE);
    expect("Luftdruck", QUANTITY_AIR_PRESSURE);
    expect("Presión atmosférica", QUANTITY_AIR_PRESSURE);
    expect("Water Temp", QUANTITY_TEMPERATURE);
    expect("Temperatura del agua", QUANTITY_TEMPERATURE);
    expect("Lufttemperatur", QUANTITY_AIR_TEMPERATURE);
    expect("DO", QUANTITY_OXYGEN);
    expect("Oxígeno disuelto", QUANTITY_OXYGEN);
    expect("Sauerstoffsättigung", QUANTITY_OXYGEN_SATURATION);
    expect("O\xE2\x82\x82", QUANTITY_OXYGEN);
    expect("Leitfähigkeit", QUANTITY_CONDUCTIVITY);
    expect("Spec Cond", QUANTITY_SPECIFIC_CONDUCTANCE);
    expect("SpC", QUANTITY_SPECIFIC_CONDUCTANCE);
    expect("Conductivité", QUANTITY_CONDUCTIVITY);
    expect("Salinidad", QUANTITY_SALINITY);
    expect("Batt", QUANTITY_BATTERY);
    expect("Turbidity", QUANTITY_COUNT);
    expect("", QUANTITY_COUNT);
}

Test(draft_words, knows_what_crews_do)
{
    const struct {
        const char *word;
        enum note_kind kind;
    } words[] = {{"staff", NOTE_LEVEL},
                 {"stage", NOTE_LEVEL},
                 {"Pegel", NOTE_LEVEL},
                 {"tape down", NOTE_TAPE_DOWN},
                 {"pulled", NOTE_OUT_OF_WATER},
                 {"out of water", NOTE_OUT_OF_WATER},
                 {"put back", NOTE_IN_WATER},
                 {"eingebaut", NOTE_IN_WATER},
                 {"side by side", NOTE_CHECK},
                 {"as found", NOTE_CHECK},
                 {"after cleaning", NOTE_CHECK_CLEANED},
                 {"calibration", NOTE_STANDARD},
                 {"clock", NOTE_CLOCK},
                 {"comment", NOTE_REMARK},
                 {"new batteries", NOTE_BATTERY},
                 {"Batteriewechsel", NOTE_BATTERY},
                 {"lunch", NOTE_KIND_COUNT}};
    for (size_t i = 0; i < COUNT_OF(words); i++)
        cr_expect_eq(draft_note_kind(draft_clues(cell_from(words[i].word))), words[i].kind, "%s", words[i].word);
}

Test(draft_words, takes_words_whole)
{
    cr_expect_eq(draft_clues(cell_from("inside")) & CLUE_IN, 0);
    cr_expect_eq(draft_clues(cell_from("Router")) & CLUE_OUT, 0);
    cr_expect_neq(draft_clues(cell_from("Logger in")) & CLUE_IN, 0);
    cr_expect_neq(draft_clues(cell_from("S/N")) & CLUE_SERIAL, 0);
}
