/* SPDX-License-Identifier: MIT */
/* Any bytes as a workbook. Whatever the archive holds, intake returns, writes nothing, and keeps to its limits. */
#include "base/timestamp.h"
#include "intake/intake.h"
#include "intake/source.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define NOW ((int64_t)1780000000000)

static void check(const struct batch *batch)
{
    const struct readings *readings = &batch->readings;
    if (batch->ends_open || batch->complaint_count > INTAKE_MOST_COMPLAINTS)
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
    struct column columns[] = {
        {.header = "Temp*", .role = COLUMN_QUANTITY, .quantity = QUANTITY_TEMPERATURE, .unit = "degC"},
        {.header = "DO*", .role = COLUMN_QUANTITY, .quantity = QUANTITY_OXYGEN, .is_optional = true},
    };
    const char *drops[] = {"**"};
    struct layout layout = {.id = "fuzz",
                            .decimal = '.',
                            .comment = "#",
                            .time_columns = {"Time"},
                            .time_format = "YYYY-MM-DD hh:mm",
                            .zone_name = "station",
                            .columns = columns,
                            .column_count = 2};
    struct station station = {.id = "a", .name = "A", .drops = {drops, 1}};
    struct config config = {.stations = &station, .station_count = 1, .layouts = &layout, .layout_count = 1};
    struct arena *arena = arena_new();
    struct batch batch;
    struct error error = {0};
    if (size >= 4 && memcmp(data, "PK\3\4", 4) == 0) {
        if (intake_read(arena, &config, "a.xlsx", (const char *)data, size, NOW, false, &batch, &error))
            check(&batch);
        else if (error.kind == ERROR_NONE || !*error.text)
            abort();
    }
    arena_free(arena);
    return 0;
}
