/* SPDX-License-Identifier: MIT */
#include "derive/site.h"

#include "config/vocabulary.h"
#include "quality/quality.h"

#include <assert.h>
#include <math.h>

static struct barometer barometer_called(const char *id);

void site_init(struct site *site, struct arena *arena, size_t n, int64_t interval, uint32_t columns)
{
    *site = (struct site){.arena = arena, .interval = interval, .source_count = 1};
    site->station = (struct station){.id = "heron-creek",
                                     .name = "Heron Creek",
                                     .latitude = 45,
                                     .sensor_elevation = NAN,
                                     .tape_point = NAN,
                                     .reading_uncertainty = 0.002,
                                     .zero_limit = 500,
                                     .datum = "",
                                     .salinity_source = SALINITY_FRESH,
                                     .salinity = NAN,
                                     .conductance_coefficient = 0.0191,
                                     .oxygen_sensor_pressure = 101325,
                                     .position_reach = 500,
                                     .conductance_sensor_compensation = COMPENSATION_SAME,
                                     .conductance_sensor_coefficient = NAN,
                                     .oxygen_calibration = {NAN, NAN, NAN},
                                     .oxygen_thermometer = QUANTITY_TEMPERATURE};
    site->config = (struct config){.stations = &site->station,
                                   .station_count = 1,
                                   .barometers = site->barometers,
                                   .barometer_count = 2,
                                   .pairing_distance = 30000,
                                   .largest_air_gap = 4 * HOUR_MS,
                                   .good_air_gap = HOUR_MS};
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        site->config.quality[q] = default_limits(q);
    static const char *const ids[] = {"hill", "quay"};
    for (uint32_t k = 0; k < 2; k++) {
        site->barometers[k] = barometer_called(ids[k]);
        site->sources[k] = (struct air_source){.number = 7 + k, .barometer = &site->barometers[k]};
        site->sources[k].readings = site_air(arena, SITE_START - interval, n + 2, interval, SITE_AIR);
    }
    readings_init(&site->readings, arena, n, columns);
    for (size_t i = 0; i < n; i++)
        site->readings.time[i] = SITE_START + (int64_t)i * interval;
}

void site_fill(struct site *site, enum quantity quantity, double value)
{
    for (size_t i = 0; i < site->readings.n; i++)
        site->readings.value[quantity][i] = value;
}

struct readings site_air(struct arena *arena, int64_t from, size_t n, int64_t interval, double pressure)
{
    struct readings air;
    readings_init(&air, arena, n, 1u << QUANTITY_AIR_PRESSURE);
    for (size_t i = 0; i < n; i++) {
        air.time[i] = from + (int64_t)i * interval;
        air.value[QUANTITY_AIR_PRESSURE][i] = pressure;
    }
    return air;
}

int64_t site_row(const struct site *site, size_t i)
{
    return site->readings.time[i];
}

int64_t site_minute(double minute)
{
    return SITE_START + llround(minute * (double)MINUTE_MS);
}

struct note *site_note(struct site *site, enum note_kind kind, int64_t time, double value)
{
    assert(site->note_count < SITE_NOTES);
    size_t at = site->note_count++;
    for (; at > 0 && site->notes[at - 1].time > time; at--)
        site->notes[at] = site->notes[at - 1];
    site->notes[at] = (struct note){.id = (int64_t)site->note_count,
                                    .kind = kind,
                                    .time = time,
                                    .until = TIME_NONE,
                                    .quantity = QUANTITY_COUNT,
                                    .value = value,
                                    .reference = NAN,
                                    .text = "",
                                    .station = site->station.id};
    return &site->notes[at];
}

struct note *site_clock_check(struct site *site, int64_t time, int64_t shown)
{
    struct note *note = site_note(site, NOTE_CLOCK, time, NAN);
    note->until = shown;
    return note;
}

struct note *site_span_note(struct site *site, enum note_kind kind, struct span span, enum quantity quantity)
{
    struct note *note = site_note(site, kind, span.from, NAN);
    note->until = span.to;
    note->quantity = quantity;
    return note;
}

struct derive_input site_input(const struct site *site)
{
    return (struct derive_input){.config = &site->config,
                                 .station = &site->station,
                                 .readings = site->readings,
                                 .notes = site->notes,
                                 .note_count = site->note_count,
                                 .sources = site->sources,
                                 .source_count = site->source_count};
}

struct derived site_derive(const struct site *site)
{
    const struct derive_input input = site_input(site);
    return site_derive_input(site->arena, &input);
}

struct derived site_derive_input(struct arena *arena, const struct derive_input *input)
{
    struct record measured;
    struct derived derived;
    derive_begin(arena, input, &measured);
    quality_before(input->config, input->station, &measured);
    derive_finish(arena, input, &measured, &derived);
    quality_after(input->config, input->station, derived.interval, NULL, &derived.record);
    derive_to_datum(arena, input->station, &derived);
    return derived;
}

static struct barometer barometer_called(const char *id)
{
    return (struct barometer){.id = id, .name = id, .latitude = 45};
}
