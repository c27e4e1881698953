/* SPDX-License-Identifier: MIT */
#include "intake/note_render.h"

#include "base/timestamp.h"

#include <math.h>
#include <string.h>

static void put_time(int64_t time, const struct station *station, bool has_zone, struct text *text);
static void put_what(const struct note *note, const struct station *station, struct text *text);
static void put_check(const struct note *note, const char *sensor, const char *reference, struct text *text);
static void put_value(enum quantity quantity, double value, struct text *text);
static void put_span(const struct note *note, const struct station *station, const char *what, struct text *text);
static void put_remark(const char *remark, struct text *text);

void note_render(const struct note *note, const struct station *station, struct text *text)
{
    put_time(note->time, station, true, text);
    text_printf(text, " %s: ", station->id);
    put_what(note, station, text);
    bool is_said = note->kind == NOTE_REMARK || note->kind == NOTE_INSTRUMENT;
    if (*note->text && !is_said)
        put_remark(note->text, text);
}

static void put_time(int64_t time, const struct station *station, bool has_zone, struct text *text)
{
    struct civil local = timestamp_to_civil(time + station->utc_offset);
    text_printf(text, "%04d-%02d-%02d %02d:%02d", local.year, local.month, local.day, local.hour, local.minute);
    if (local.second != 0 || local.millisecond != 0)
        text_printf(text, ":%02d", local.second);
    if (local.millisecond != 0)
        text_printf(text, ".%03d", local.millisecond);
    int minutes = (int)((station->utc_offset < 0 ? -station->utc_offset : station->utc_offset) / MINUTE_MS);
    if (has_zone)
        text_printf(text, " %c%02d:%02d", station->utc_offset < 0 ? '-' : '+', minutes / 60, minutes % 60);
}

static void put_what(const struct note *note, const struct station *station, struct text *text)
{
    switch (note->kind) {
    case NOTE_LEVEL: text_printf(text, "staff reading %.3f m", note->value); break;
    case NOTE_TAPE_DOWN: text_printf(text, "tape down to the water %.3f m", note->value); break;
    case NOTE_OUT_OF_WATER: text_puts(text, "logger out of the water"); break;
    case NOTE_IN_WATER: text_puts(text, "logger in the water"); break;
    case NOTE_CHECK: put_check(note, "sensor", "meter", text); break;
    case NOTE_CHECK_CLEANED: put_check(note, "cleaned sensor", "meter", text); break;
    case NOTE_STANDARD: put_check(note, "sensor", "standard", text); break;
    case NOTE_CLOCK:
        text_puts(text, "the logger's clock showed ");
        put_time(note->until, station, false, text);
        break;
    case NOTE_STRIKE: put_span(note, station, "struck out", text); break;
    case NOTE_RESTORE: put_span(note, station, "restored", text); break;
    case NOTE_REVIEWED: put_span(note, station, "reviewed", text); break;
    case NOTE_INSTRUMENT:
        text_puts(text, "instrument");
        put_remark(note->text, text);
        break;
    case NOTE_REMARK:
        text_puts(text, "remark");
        put_remark(note->text, text);
        break;
    case NOTE_KIND_COUNT: break;
    }
}

/* "oxygen: sensor 7.950 mg/L, meter 8.210 mg/L". */
static void put_check(const struct note *note, const char *sensor, const char *reference, struct text *text)
{
    text_printf(text, "%s: %s ", quantity_info(note->quantity)->key, sensor);
    if (isnan(note->value))
        text_puts(text, "as it logged");
    else
        put_value(note->quantity, note->value, text);
    text_printf(text, ", %s ", reference);
    put_value(note->quantity, note->reference, text);
}

static void put_value(enum quantity quantity, double value, struct text *text)
{
    const struct quantity_info *info = quantity_info(quantity);
    text_printf(text, "%.*f", info->decimals, quantity_to_written(quantity, value));
    if (strcmp(info->unit, "1") != 0)
        text_printf(text, " %s", info->unit);
}

static void put_span(const struct note *note, const struct station *station, const char *what, struct text *text)
{
    text_printf(text, "%s %s until ", note->quantity < QUANTITY_COUNT ? quantity_info(note->quantity)->key : "all",
                what);
    put_time(note->until, station, false, text);
}

static void put_remark(const char *remark, struct text *text)
{
    char shown[400];
    text_make_visible(remark, shown, sizeof shown);
    text_printf(text, " \"%s\"", shown);
}
