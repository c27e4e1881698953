/* SPDX-License-Identifier: MIT */
/* What the crew wrote, in words. */
#include "archive/page_parts.h"
#include "archive/summary.h"
#include "base/timestamp.h"

#include <math.h>

static void add_pair(struct text *text, const struct note *note, const char *sensor, const char *reference);

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
    case FINDING_KIND_COUNT: break;
    }
    return "";
}

void part_note(struct text *text, const struct note *note, int64_t offset)
{
    const char *what = note->quantity < QUANTITY_COUNT ? quantity_info(note->quantity)->title : "Everything";
    switch (note->kind) {
    case NOTE_LEVEL:
        text_puts(text, "Water level by staff: ");
        summary_add_value(text, QUANTITY_LEVEL, note->value);
        break;
    case NOTE_TAPE_DOWN:
        text_puts(text, "Tape down to the water: ");
        summary_add_value(text, QUANTITY_DEPTH, note->value);
        break;
    case NOTE_OUT_OF_WATER: text_puts(text, "Logger out of the water"); break;
    case NOTE_IN_WATER: text_puts(text, "Logger into the water"); break;
    case NOTE_CHECK:
    case NOTE_CHECK_CLEANED: add_pair(text, note, "sensor", "meter"); break;
    case NOTE_STANDARD: add_pair(text, note, "sensor", "standard"); break;
    case NOTE_CLOCK:
        text_puts(text, "Clock check: the logger showed ");
        part_time(text, note->until, offset);
        break;
    case NOTE_STRIKE:
    case NOTE_RESTORE:
        text_puts(text, what);
        text_puts(text, note->kind == NOTE_STRIKE ? " struck out until " : " restored until ");
        part_time(text, note->until, offset);
        break;
    case NOTE_REVIEWED:
        text_puts(text, "Reviewed until ");
        part_time(text, note->until, offset);
        break;
    case NOTE_INSTRUMENT: text_puts(text, "Instrument from here on"); break;
    default: text_puts(text, "Remark"); break;
    }
}

static void add_pair(struct text *text, const struct note *note, const char *sensor, const char *reference)
{
    if (note->quantity >= QUANTITY_COUNT)
        return;
    text_puts(text, quantity_info(note->quantity)->title);
    text_printf(text, ", %s: %s ", part_check_word((enum check_kind)note->kind), sensor);
    if (isfinite(note->value))
        summary_add_value(text, note->quantity, note->value);
    else
        text_puts(text, "as the logger recorded it");
    text_printf(text, ", %s ", reference);
    summary_add_value(text, note->quantity, note->reference);
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
