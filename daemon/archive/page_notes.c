/* SPDX-License-Identifier: MIT */
/* What the crew wrote, in words. */
#include "archive/page_parts.h"
#include "archive/say.h"
#include "archive/summary.h"
#include "model/note_words.h"

#include <math.h>

enum { LONGEST_WORDS = 1000 };

const char *part_check_word(enum check_kind kind)
{
    switch (kind) {
    case CHECK_LEVEL: return "by staff";
    case CHECK_TAPE_DOWN: return "by tape";
    case CHECK_AS_FOUND: return "as found";
    case CHECK_CLEANED: return "after cleaning";
    case CHECK_STANDARD: return "in a standard";
    case CHECK_ZERO_IN_AIR: return "in air, against the barometer";
    case CHECK_BAROMETERS: return "one barometer against another";
    case CHECK_TWINS: return "two thermometers, week by week";
    case CHECK_DAILY_RANGE: return "daily range, week by week";
    case CHECK_NIGHT_VALUES: return "night values, week by week";
    }
    return "";
}

const char *part_finding_word(enum finding_kind kind)
{
    switch (kind) {
    case FINDING_READING_SET_ASIDE: return "Hand reading set aside";
    case FINDING_ZERO_IN_AIR: return "Pressure sensor in air";
    case FINDING_AIR_PRESSURE: return "Air pressure";
    case FINDING_AIR_HANDED_OVER: return "Another barometer";
    case FINDING_BAROMETER_DRIFTED: return "Barometer drifted";
    case FINDING_INSTRUMENT: return "Instrument";
    case FINDING_STRANGE_INSTRUMENT: return "Another instrument than noted";
    case FINDING_TWINS_PART: return "Two thermometers part";
    case FINDING_RANGE_FADES: return "Daily range of oxygen fades";
    case FINDING_NIGHTS_SINK: return "Night values of oxygen sink";
    case FINDING_DATUM: return "Datum of the level";
    case FINDING_RATING: return "Rating";
    case FINDING_CHECKS_DISORDERED: return "Checks out of order";
    case FINDING_CLOCK_LAG: return "Clock against the air pressure";
    case FINDING_MOVES_LAG: return "Clock against the noted moves";
    case FINDING_CLOCK_CHECK: return "Clock check";
    case FINDING_NOTED_IN_AIR: return "Under water, noted in air";
    case FINDING_KIND_COUNT: break;
    }
    return "";
}

void part_note(struct text *text, const struct note *note, int64_t offset)
{
    struct text words;
    text_init(&words, LONGEST_WORDS);
    note_words(note, offset, &words);
    say(text, words.bytes);
    text_done(&words);
}

void part_difference(struct text *text, enum quantity quantity, double inside)
{
    bool is_height = quantity == QUANTITY_LEVEL || quantity == QUANTITY_DEPTH;
    summary_add_difference(text, quantity, inside);
    if (isfinite(inside) && !is_height && *summary_unit(quantity)) {
        text_puts(text, "\u00a0");
        text_puts(text, summary_unit(quantity));
    }
}
