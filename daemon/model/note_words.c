/* SPDX-License-Identifier: MIT */
#include "model/note_words.h"

#include "base/timestamp.h"

#include <math.h>
#include <string.h>

enum { HEIGHT_DECIMALS = 3 };

static void put_pair(const struct note *note, const char *when, const char *reference, struct text *text);
static void put_value(enum quantity quantity, double inside, struct text *text);
static void put_until(const struct note *note, const char *what, int64_t utc_offset, struct text *text);

void note_words(const struct note *note, int64_t utc_offset, struct text *text)
{
    switch (note->kind) {
    case NOTE_LEVEL:
        text_puts(text, "Water level by staff: ");
        put_value(QUANTITY_LEVEL, note->value, text);
        break;
    case NOTE_TAPE_DOWN:
        text_puts(text, "Tape down to the water: ");
        put_value(QUANTITY_DEPTH, note->value, text);
        break;
    case NOTE_OUT_OF_WATER: text_puts(text, "Logger out of the water"); break;
    case NOTE_IN_WATER: text_puts(text, "Logger into the water"); break;
    case NOTE_CHECK: put_pair(note, "as found", "meter", text); break;
    case NOTE_CHECK_CLEANED: put_pair(note, "after cleaning", "meter", text); break;
    case NOTE_STANDARD: put_pair(note, "in a standard", "standard", text); break;
    case NOTE_CLOCK:
        text_puts(text, "Clock check: the logger showed ");
        note_words_time(note->until, utc_offset, text);
        break;
    case NOTE_STRIKE: put_until(note, " struck out until ", utc_offset, text); break;
    case NOTE_RESTORE: put_until(note, " restored until ", utc_offset, text); break;
    case NOTE_REVIEWED:
        text_puts(text, "Reviewed until ");
        note_words_time(note->until, utc_offset, text);
        break;
    case NOTE_INSTRUMENT: text_puts(text, "Instrument from here on"); break;
    case NOTE_REMARK: text_puts(text, "Remark"); break;
    case NOTE_BATTERY: text_puts(text, "New batteries"); break;
    case NOTE_KIND_COUNT: break;
    }
}

static void put_pair(const struct note *note, const char *when, const char *reference, struct text *text)
{
    text_printf(text, "%s, %s: sensor ", quantity_info(note->quantity)->title, when);
    if (isnan(note->value))
        text_puts(text, "as the logger recorded it");
    else
        put_value(note->quantity, note->value, text);
    text_printf(text, ", %s ", reference);
    put_value(note->quantity, note->reference, text);
}

static void put_value(enum quantity quantity, double inside, struct text *text)
{
    const struct quantity_info *info = quantity_info(quantity);
    bool is_height = quantity == QUANTITY_LEVEL || quantity == QUANTITY_DEPTH;
    char number[TEXT_NUMBER_MAX];
    const char *end =
        text_print_number(number, quantity_to_written(quantity, inside), is_height ? HEIGHT_DECIMALS : info->decimals);
    while (!is_height && info->decimals > 0 && end > number && end[-1] == '0')
        end--;
    if (end > number && end[-1] == '.')
        end--;
    text_add(text, number, (size_t)(end - number));
    if (strcmp(info->unit, "1") != 0)
        text_printf(text, " %s", info->unit);
}

static void put_until(const struct note *note, const char *what, int64_t utc_offset, struct text *text)
{
    text_puts(text, note->quantity < QUANTITY_COUNT ? quantity_info(note->quantity)->title : "Everything");
    text_puts(text, what);
    note_words_time(note->until, utc_offset, text);
}

void note_words_time(int64_t time, int64_t utc_offset, struct text *text)
{
    struct civil local = timestamp_to_civil(time + utc_offset);
    text_printf(text, "%04d-%02d-%02d %02d:%02d", local.year, local.month, local.day, local.hour, local.minute);
    if (local.second != 0 || local.millisecond != 0)
        text_printf(text, ":%02d", local.second);
    if (local.millisecond != 0)
        text_printf(text, ".%03d", local.millisecond);
}
