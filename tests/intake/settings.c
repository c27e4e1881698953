/* SPDX-License-Identifier: MIT */
#include "settings.h"

#include "base/timestamp.h"
#include "base/zone.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#ifndef RILLWARD_SOURCE_ROOT
#define RILLWARD_SOURCE_ROOT "."
#endif

#define WORDS(...)                                                                                                     \
    {                                                                                                                  \
        (const char *[]){__VA_ARGS__}, sizeof((const char *[]){__VA_ARGS__}) / sizeof(const char *)                    \
    }

static struct column north_crew_columns[] = {
    {.header = "Abs*Press*", .role = COLUMN_QUANTITY, .quantity = QUANTITY_WATER_PRESSURE},
    {.header = "Water Temp*", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE, .unit = "degF"},
    {.header = "Remarks", .role = COLUMN_IGNORED},
    {.header = "Battery*", .role = COLUMN_QUANTITY, .quantity = QUANTITY_BATTERY, .unit = "V", .is_optional = true},
};
static struct column sonde_columns[] = {
    {.header = "Temp*", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE},
    {.header = "DO (mg/L)", .role = COLUMN_QUANTITY, .quantity = QUANTITY_OXYGEN},
    {.header = "Cond*", .role = COLUMN_QUANTITY, .quantity = QUANTITY_CONDUCTIVITY, .is_optional = true},
    {.header = "Logger", .role = COLUMN_SERIAL, .is_optional = true},
    {.header = "Station", .role = COLUMN_STATION, .is_optional = true},
};
static struct column comma_columns[] = {
    {.header = "Warmth", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE},
    {.header = "Pressure", .role = COLUMN_QUANTITY, .quantity = QUANTITY_WATER_PRESSURE},
};
static struct column air_columns[] = {
    {.header = "Baro", .role = COLUMN_QUANTITY, .quantity = QUANTITY_AIR_PRESSURE},
    {.header = "Air temp", .role = COLUMN_QUANTITY, .quantity = QUANTITY_AIR_TEMPERATURE, .is_optional = true},
};
static struct column local_columns[] = {
    {.header = "Salinity", .role = COLUMN_QUANTITY, .quantity = QUANTITY_SALINITY},
};
static struct column north_book_columns[] = {
    {.header = "Site", .role = COLUMN_STATION},
    {.header = "Staff (ft)", .role = COLUMN_NOTE, .note_kind = NOTE_LEVEL, .is_optional = true},
    {.header = "Tape down (ft)", .role = COLUMN_NOTE, .note_kind = NOTE_TAPE_DOWN, .is_optional = true},
    {.header = "Logger out", .role = COLUMN_NOTE, .note_kind = NOTE_OUT_OF_WATER, .is_optional = true},
    {.header = "Logger in", .role = COLUMN_NOTE, .note_kind = NOTE_IN_WATER, .is_optional = true},
    {.header = "Logger no", .role = COLUMN_SERIAL, .is_optional = true},
    {.header = "DO logger (mg/L)",
     .role = COLUMN_NOTE,
     .note_kind = NOTE_CHECK,
     .quantity = QUANTITY_OXYGEN,
     .is_optional = true},
    {.header = "DO meter (mg/L)",
     .role = COLUMN_NOTE,
     .note_kind = NOTE_CHECK,
     .quantity = QUANTITY_OXYGEN,
     .is_reference = true,
     .is_optional = true},
    {.header = "Logger clock", .role = COLUMN_NOTE, .note_kind = NOTE_CLOCK, .is_optional = true},
    {.header = "Remarks", .role = COLUMN_TEXT, .is_optional = true},
};
static struct column east_book_columns[] = {
    {.header = "site", .role = COLUMN_STATION, .is_optional = true},
    {.header = "what", .role = COLUMN_KIND},
    {.header = "of", .role = COLUMN_QUANTITY_NAME, .is_optional = true},
    {.header = "value", .role = COLUMN_VALUE},
    {.header = "unit", .role = COLUMN_UNIT, .is_optional = true},
    {.header = "meter", .role = COLUMN_REFERENCE, .is_optional = true},
    {.header = "until", .role = COLUMN_UNTIL, .is_optional = true},
    {.header = "remark", .role = COLUMN_TEXT, .is_optional = true},
};
static struct word_meaning kinds[] = {{"stage", NOTE_LEVEL},
                                      {"pulled out", NOTE_OUT_OF_WATER},
                                      {"put back", NOTE_IN_WATER},
                                      {"side by side", NOTE_CHECK}};
static struct word_meaning quantities[] = {{"DO", QUANTITY_OXYGEN}, {"SpC", QUANTITY_SPECIFIC_CONDUCTANCE}};

#define COLUMNS(list) .columns = list, .column_count = sizeof(list) / sizeof(list[0])

static const struct layout layouts[] = {
    {
        .id = "north-crew",
        .holds = LAYOUT_READINGS,
        .decimal = '.',
        .missing = WORDS("---", "-9999"),
        .end_marks = WORDS("END OF FILE"),
        .comment = "#",
        .serial_label = "Serial",
        .station_label = "Site",
        .time_columns = {"Date", "Time"},
        .time_format = "MM/DD/YYYY hh:mm:ss AM",
        .zone_name = "America/Los_Angeles",
        COLUMNS(north_crew_columns),
    },
    {
        .id = "sonde",
        .holds = LAYOUT_READINGS,
        .decimal = '.',
        .comment = "",
        .missing = WORDS("NA"),
        .time_columns = {"Time"},
        .time_format = "YYYY-MM-DD hh:mm",
        .zone_name = "station",
        COLUMNS(sonde_columns),
    },
    {
        .id = "decimal-comma",
        .holds = LAYOUT_READINGS,
        .delimiter = ';',
        .decimal = ',',
        .comment = "",
        .time_columns = {"Stamp"},
        .time_format = "D.M.YYYY h:mm",
        .zone_name = "station",
        COLUMNS(comma_columns),
    },
    {
        .id = "air",
        .holds = LAYOUT_READINGS,
        .decimal = '.',
        .comment = "",
        .serial_label = "S/N",
        .time_columns = {"When"},
        .time_format = "iso",
        .zone_name = "station",
        COLUMNS(air_columns),
    },
    {
        .id = "local",
        .holds = LAYOUT_READINGS,
        .decimal = '.',
        .comment = "",
        .time_columns = {"Local time"},
        .time_format = "YYYY-MM-DD hh:mm:ss",
        .zone_name = "America/Los_Angeles",
        COLUMNS(local_columns),
    },
    {
        .id = "north-book",
        .holds = LAYOUT_NOTES,
        .decimal = '.',
        .comment = "",
        .missing = WORDS("n/a"),
        .time_columns = {"When"},
        .time_format = "MM/DD/YYYY hh:mm",
        .zone_name = "station",
        COLUMNS(north_book_columns),
    },
    {
        .id = "east-book",
        .holds = LAYOUT_NOTES,
        .decimal = '.',
        .comment = "",
        .time_columns = {"date", "time"},
        .time_format = "YYYY-MM-DD hh:mm",
        .zone_name = "station",
        COLUMNS(east_book_columns),
        .kinds = kinds,
        .kind_count = 4,
        .quantities = quantities,
        .quantity_count = 2,
    },
};
static struct station stations[] = {
    {.id = "heron-creek",
     .name = "Heron Creek at the footbridge",
     .utc_offset = -8 * HOUR_MS,
     .drops = WORDS("**heron*"),
     .serials = WORDS("SN-20417"),
     .labels = WORDS("Heron Cr", "HC-1")},
    {.id = "mill-pond",
     .name = "Mill Pond outlet",
     .utc_offset = -8 * HOUR_MS,
     .drops = WORDS("**mill*"),
     .serials = WORDS("SN-30001", "SN-30002"),
     .labels = WORDS("Mill Pd")},
};
static struct barometer barometers[] = {
    {.id = "hill", .name = "Hill mast", .utc_offset = -8 * HOUR_MS, .drops = WORDS("**hill*"), .serials = WORDS("B-7")},
};

static void print_readings(const struct readings *readings, struct text *ret);
static void print_notes(const struct batch *batch, struct text *ret);

struct config *settings_make(struct arena *arena)
{
    static struct zone *zone; /* one for the process: zones are not in the arena */
    if (!zone && settings_has_zones())
        zone = zone_load("America/Los_Angeles", NULL);
    struct config *config = arena_alloc(arena, sizeof *config);
    config->stations = stations;
    config->station_count = COUNT_OF(stations);
    config->barometers = barometers;
    config->barometer_count = COUNT_OF(barometers);
    config->layout_count = COUNT_OF(layouts);
    config->layouts = arena_alloc(arena, sizeof layouts);
    memcpy(config->layouts, layouts, sizeof layouts);
    for (size_t i = 0; i < config->layout_count; i++)
        if (strcmp(config->layouts[i].zone_name, "station") != 0)
            config->layouts[i].zone = zone;
    return config;
}

struct layout *settings_layout(struct config *config, const char *id)
{
    for (size_t i = 0; i < config->layout_count; i++)
        if (strcmp(config->layouts[i].id, id) == 0)
            return &config->layouts[i];
    abort();
}

int64_t settings_time(const char *printed)
{
    int64_t time;
    if (!timestamp_parse(printed, strlen(printed), &time))
        abort();
    return time;
}

int64_t settings_now(void)
{
    return settings_time("2026-06-01T00:00:00Z");
}

bool settings_has_zones(void)
{
    struct zone *zone = zone_load("America/Los_Angeles", NULL);
    zone_free(zone);
    return zone != NULL;
}

bool settings_read(struct arena *arena, const struct config *config, const char *path, const char *text,
                   struct batch *ret, struct error *error)
{
    return intake_read(arena, config, path, text, strlen(text), settings_now(), false, ret, error);
}

void settings_print(const struct config *config, const struct batch *batch, const struct error *error, struct text *ret)
{
    if (error->kind != ERROR_NONE) {
        text_printf(ret, "error: %s\n", error->text);
        return;
    }
    if (batch->ends_open) {
        text_puts(ret, "waits: the end is open\n");
        return;
    }
    text_printf(ret, "layout: %s\n", batch->layout->id);
    if (batch->place_kind != PLACE_NONE)
        text_printf(ret, "place: %s %s (%s)\n", batch->place_kind == PLACE_STATION ? "station" : "barometer",
                    batch->place_kind == PLACE_STATION ? config->stations[batch->place_index].id
                                                       : config->barometers[batch->place_index].id,
                    batch->evidence);
    text_printf(ret, "rows: %zu, refused %zu, folded %zu\n", batch->rows, batch->refused_rows, batch->folded_rows);
    for (size_t i = 0; i < batch->complaint_count; i++)
        text_printf(ret, "complaint: %s\n", batch->complaints[i].text);
    if (batch->complaint_total != batch->complaint_count)
        text_printf(ret, "complaints in all: %zu\n", batch->complaint_total);
    if (batch->is_notes)
        print_notes(batch, ret);
    else
        print_readings(&batch->readings, ret);
}

const char *settings_root(void)
{
    const char *root = getenv("RILLWARD_SOURCE_ROOT");
    return root && *root ? root : RILLWARD_SOURCE_ROOT;
}

static void print_readings(const struct readings *readings, struct text *ret)
{
    char time[TIMESTAMP_SIZE];
    for (size_t i = 0; i < readings->n; i++) {
        text_printf(ret, "%s line %u", timestamp_print(readings->time[i], time), readings->line[i]);
        for (unsigned q = 0; q < QUANTITY_COUNT; q++) {
            bool is_unread = readings->unread && readings->unread[i] >> q & 1;
            if (!readings->value[q])
                continue;
            if (isnan(readings->value[q][i]))
                text_printf(ret, " %s=%s", quantity_info((enum quantity)q)->key, is_unread ? "unread" : "-");
            else
                text_printf(ret, " %s=%.9g", quantity_info((enum quantity)q)->key, readings->value[q][i]);
        }
        text_putc(ret, '\n');
    }
}

static void print_notes(const struct batch *batch, struct text *ret)
{
    char time[TIMESTAMP_SIZE];
    for (size_t i = 0; i < batch->note_count; i++) {
        const struct note *note = &batch->notes[i];
        text_printf(ret, "%s line %u %s %s", timestamp_print(note->time, time), note->line, note->station,
                    note_kind_word(note->kind));
        if (note->quantity < QUANTITY_COUNT)
            text_printf(ret, " of %s", quantity_info(note->quantity)->key);
        if (!isnan(note->value))
            text_printf(ret, " value=%.9g", note->value);
        if (!isnan(note->reference))
            text_printf(ret, " reference=%.9g", note->reference);
        if (note->until != TIME_NONE)
            text_printf(ret, " until=%s", timestamp_print(note->until, time));
        if (*note->text)
            text_printf(ret, " \"%s\"", note->text);
        text_putc(ret, '\n');
    }
}
