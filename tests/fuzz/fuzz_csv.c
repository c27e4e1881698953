/* SPDX-License-Identifier: MIT */
/* Any bytes as a drop of readings. The first byte chooses the layout's settings; the rest is the file. Whatever comes,
 * intake returns, keeps its counts, gives ascending times within its bounds, and never an infinite value. */
#include "base/timestamp.h"
#include "intake/intake.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const char *const formats[] = {"YYYY-MM-DD hh:mm", "iso", "D/M/YY h:mm:ss.s AM", "D MON YYYY hh:mmZ"};
static const char delimiters[] = {0, ',', ';', '\t'};

#define NOW ((int64_t)1780000000000)

static void check(const struct batch *batch)
{
    const struct readings *readings = &batch->readings;
    if (batch->complaint_count > INTAKE_MOST_COMPLAINTS || batch->complaint_count > batch->complaint_total)
        abort();
    if (batch->ends_open && readings->n > 0)
        abort();
    if (readings->n + batch->refused_rows + batch->folded_rows > batch->rows)
        abort();
    for (size_t i = 0; i < readings->n; i++) {
        if (readings->time[i] < 0 || readings->time[i] > NOW + INTAKE_READING_SLACK)
            abort();
        if (i > 0 && readings->time[i] <= readings->time[i - 1])
            abort();
        for (unsigned q = 0; q < QUANTITY_COUNT; q++)
            if (readings->value[q] && isinf(readings->value[q][i]))
                abort();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct zone *zone;
    if (!zone)
        zone = zone_load("America/Los_Angeles", NULL);
    if (size == 0)
        return 0;
    struct column columns[] = {
        {.header = "Temp*",
         .role = COLUMN_QUANTITY,
         .quantity = QUANTITY_TEMPERATURE,
         .unit = data[0] & 1 ? "degC" : NULL},
        {.header = "P", .role = COLUMN_QUANTITY, .quantity = QUANTITY_WATER_PRESSURE, .is_optional = true},
        {.header = "Logger", .role = COLUMN_SERIAL, .is_optional = true},
        {.header = "Station", .role = COLUMN_STATION, .is_optional = true},
        {.header = "x*", .role = COLUMN_IGNORED, .is_optional = true},
    };
    const char *missing[] = {"NA", "-9999"}, *marks[] = {"END"}, *drops[] = {"**"}, *serials[] = {"S1"},
               *labels[] = {"A b"};
    struct layout layout = {.id = "fuzz",
                            .decimal = data[0] & 2 ? ',' : '.',
                            .delimiter = delimiters[data[0] >> 2 & 3],
                            .comment = "#",
                            .missing = {missing, 2},
                            .end_marks = {marks, 1},
                            .serial_label = "Serial",
                            .station_label = "Site",
                            .time_columns = {"Time", data[0] & 128 ? "Hour" : NULL},
                            .time_format = formats[data[0] >> 4 & 3],
                            .zone_name = "America/Los_Angeles",
                            .zone = data[0] & 64 ? zone : NULL,
                            .columns = columns,
                            .column_count = 5};
    struct station stations[] = {
        {.id = "a", .name = "A", .drops = {drops, 1}, .serials = {serials, 1}, .labels = {labels, 1}},
        {.id = "b", .name = "B", .serials = {&serials[0], 0}}};
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
