/* SPDX-License-Identifier: MIT */
/* Any bytes as a page of a notebook. The first byte chooses the wide or the long form; the rest is the file. Whatever
 * comes, each note has what its kind needs and names a station of the settings. */
#include "base/timestamp.h"
#include "intake/intake.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define NOW ((int64_t)1780000000000)

static struct column wide[] = {
    {.header = "Site", .role = COLUMN_STATION, .is_optional = true},
    {.header = "Staff (ft)", .role = COLUMN_NOTE, .note_kind = NOTE_LEVEL, .is_optional = true},
    {.header = "Out", .role = COLUMN_NOTE, .note_kind = NOTE_OUT_OF_WATER, .is_optional = true},
    {.header = "Clock", .role = COLUMN_NOTE, .note_kind = NOTE_CLOCK, .is_optional = true},
    {.header = "Strike",
     .role = COLUMN_NOTE,
     .note_kind = NOTE_STRIKE,
     .quantity = QUANTITY_COUNT,
     .is_optional = true},
    {.header = "DO (mg/L)",
     .role = COLUMN_NOTE,
     .note_kind = NOTE_CHECK,
     .quantity = QUANTITY_OXYGEN,
     .is_optional = true},
    {.header = "Meter",
     .role = COLUMN_NOTE,
     .note_kind = NOTE_CHECK,
     .quantity = QUANTITY_OXYGEN,
     .is_reference = true,
     .unit = "mg/L",
     .is_optional = true},
    {.header = "Remarks", .role = COLUMN_TEXT, .is_optional = true},
};
static struct column longer[] = {
    {.header = "Site", .role = COLUMN_STATION, .is_optional = true},
    {.header = "what", .role = COLUMN_KIND},
    {.header = "of", .role = COLUMN_QUANTITY_NAME, .is_optional = true},
    {.header = "value*", .role = COLUMN_VALUE, .is_optional = true},
    {.header = "unit", .role = COLUMN_UNIT, .is_optional = true},
    {.header = "meter", .role = COLUMN_REFERENCE, .is_optional = true},
    {.header = "until", .role = COLUMN_UNTIL, .is_optional = true},
    {.header = "remark", .role = COLUMN_TEXT, .is_optional = true},
};

static void check(const struct batch *batch)
{
    if (batch->ends_open && batch->note_count > 0)
        abort();
    for (size_t i = 0; i < batch->note_count; i++) {
        const struct note *note = &batch->notes[i];
        bool is_length = note->kind == NOTE_LEVEL || note->kind == NOTE_TAPE_DOWN;
        bool is_check = note->kind == NOTE_CHECK || note->kind == NOTE_CHECK_CLEANED || note->kind == NOTE_STANDARD;
        if (note->kind >= NOTE_KIND_COUNT || !note->text || !note->station || note->line < 2)
            abort();
        if (note->time < 0 || note->time > NOW + INTAKE_NOTE_SLACK || isinf(note->value) || isinf(note->reference))
            abort();
        if ((is_length && isnan(note->value)) ||
            (is_check && (isnan(note->reference) || note->quantity >= QUANTITY_COUNT)))
            abort();
        if ((note->kind == NOTE_STRIKE || note->kind == NOTE_RESTORE) && note->until <= note->time)
            abort();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size == 0)
        return 0;
    struct word_meaning kinds[] = {{"stage", NOTE_LEVEL}}, quantities[] = {{"DO", QUANTITY_OXYGEN}};
    const char *labels[] = {"A b"}, *drops[] = {"**"};
    bool is_long = data[0] & 1;
    struct layout layout = {.id = "fuzz",
                            .holds = LAYOUT_NOTES,
                            .decimal = data[0] & 2 ? ',' : '.',
                            .comment = "",
                            .time_columns = {"When"},
                            .time_format = data[0] & 4 ? "iso" : "M/D/YYYY h:mm",
                            .zone_name = "station",
                            .columns = is_long ? longer : wide,
                            .column_count = is_long ? COUNT_OF(longer) : COUNT_OF(wide),
                            .kinds = kinds,
                            .kind_count = 1,
                            .quantities = quantities,
                            .quantity_count = 1};
    struct station stations[] = {{.id = "a", .name = "A", .drops = {drops, data[0] >> 3 & 1}, .labels = {labels, 1}},
                                 {.id = "b", .name = "B", .utc_offset = -8 * HOUR_MS}};
    struct config config = {.stations = stations, .station_count = 2, .layouts = &layout, .layout_count = 1};
    struct arena *arena = arena_new();
    for (int open_end_is_fine = 0; open_end_is_fine < 2; open_end_is_fine++) {
        struct batch batch;
        struct error error = {0};
        if (intake_read(arena, &config, "a.csv", (const char *)data + 1, size - 1, NOW, open_end_is_fine, &batch,
                        &error))
            check(&batch);
        else if (error.kind == ERROR_NONE || !*error.text)
            abort();
    }
    arena_free(arena);
    return 0;
}
