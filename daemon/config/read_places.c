/* SPDX-License-Identifier: MIT */
#include "config/sections.h"

#include "config/value.h"
#include "config/vocabulary.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void take_station(struct reader *reader, const struct entry *entry, struct capacities *room);
static void read_salinity(struct reader *reader, const yaml_node_t *map, struct station *station);
static void read_station_quality(struct reader *reader, const yaml_node_t *map, struct station *station);
static void take_barometer(struct reader *reader, const struct entry *entry, struct capacities *room);
static bool read_limits_key(struct reader *reader, const yaml_node_pair_t *pair, uint32_t *seen, enum quantity *ret,
                            const yaml_node_t **ret_map);
static void read_limits(struct reader *reader, enum quantity quantity, const yaml_node_t *map,
                        struct quality_limits *limits);

void read_stations(struct reader *reader, const yaml_node_t *map, struct capacities *room)
{
    reader_entries(reader, map, "station", take_station, room);
}

void read_barometers(struct reader *reader, const yaml_node_t *map, struct capacities *room)
{
    reader_entries(reader, map, "barometer", take_barometer, room);
}

void read_network_quality(struct reader *reader, const yaml_node_t *map)
{
    if (!reader_is_map(reader, map, "'quality'"))
        return;
    uint32_t seen = 0;
    for (yaml_node_pair_t *pair = map->data.mapping.pairs.start; pair < map->data.mapping.pairs.top; pair++) {
        enum quantity quantity;
        const yaml_node_t *limits;
        if (read_limits_key(reader, pair, &seen, &quantity, &limits))
            read_limits(reader, quantity, limits, &reader->config->quality[quantity]);
    }
}

static void take_station(struct reader *reader, const struct entry *entry, struct capacities *room)
{
    struct config *config = reader->config;
    struct station station = {.id = entry->id,
                              .name = entry->id,
                              .sensor_elevation = NAN,
                              .tape_point = NAN,
                              .salinity = NAN,
                              .where = entry->where};
    reader_section(reader, &section_station, entry->map, entry->title, &station);
    if (entry->map->type == YAML_MAPPING_NODE) {
        read_salinity(reader, entry->map, &station);
        const yaml_node_t *quality = reader_find(reader, entry->map, "quality");
        if (quality)
            read_station_quality(reader, quality, &station);
    }
    config->stations = x_grow(config->stations, config->station_count, &room->stations, sizeof station);
    config->stations[config->station_count++] = station;
}

static void read_salinity(struct reader *reader, const yaml_node_t *map, struct station *station)
{
    const yaml_node_t *node = reader_find(reader, map, "salinity");
    const yaml_node_t *fallback = reader_find_key(reader, map, "salinity_if_missing");
    const char *text = node ? reader_text(reader, node, "salinity") : NULL;
    if (!text)
        return;
    if (strcmp(text, "measured") == 0) {
        station->salinity_source = SALINITY_MEASURED;
        return;
    }
    if (fallback)
        reader_complain(reader, fallback, "'salinity_if_missing' goes with 'salinity: measured' only, found '%.60s'",
                        text);
    if (strcmp(text, "fresh") == 0) {
        station->salinity_source = SALINITY_FRESH;
        station->salinity = 0;
        return;
    }
    struct error error;
    double salinity;
    bool is_read = value_quantity(text, strlen(text), UNIT_SALINITY, false, &salinity, NULL);
    if (!is_read)
        fail(&error, ERROR_CONFIG, "is 'measured', 'fresh', or practical salinity such as 13, found '%.60s'", text);
    else if (!(salinity >= 0 && salinity <= 42))
        is_read = fail(&error, ERROR_CONFIG, "must be between 0 and 42, found '%.60s'", text);
    if (!is_read) {
        reader_complain_value(reader, node, "salinity", &error);
        return;
    }
    station->salinity_source = SALINITY_STATED;
    station->salinity = salinity;
}

static void read_station_quality(struct reader *reader, const yaml_node_t *map, struct station *station)
{
    static const struct quality_limits inherited = {NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, -1, -1};
    char title[TITLE_SIZE + 16];
    snprintf(title, sizeof title, "'quality'%s", reader->about);
    if (!reader_is_map(reader, map, title))
        return;
    struct quality_override list[QUANTITY_COUNT];
    size_t count = 0;
    uint32_t seen = 0;
    for (yaml_node_pair_t *pair = map->data.mapping.pairs.start; pair < map->data.mapping.pairs.top; pair++) {
        enum quantity quantity;
        const yaml_node_t *limits;
        if (!read_limits_key(reader, pair, &seen, &quantity, &limits))
            continue;
        list[count] = (struct quality_override){.quantity = quantity, .limits = inherited};
        read_limits(reader, quantity, limits, &list[count++].limits);
    }
    station->quality = arena_array(reader->config->arena, count, sizeof list[0]);
    memcpy(station->quality, list, count * sizeof list[0]);
    station->quality_count = count;
}

static void take_barometer(struct reader *reader, const struct entry *entry, struct capacities *room)
{
    struct config *config = reader->config;
    struct barometer barometer = {.id = entry->id, .name = entry->id, .where = entry->where};
    reader_section(reader, &section_barometer, entry->map, entry->title, &barometer);
    config->barometers = x_grow(config->barometers, config->barometer_count, &room->barometers, sizeof barometer);
    config->barometers[config->barometer_count++] = barometer;
}

/* Each quantity comes at most once, so an array of QUANTITY_COUNT holds them all. */
static bool read_limits_key(struct reader *reader, const yaml_node_pair_t *pair, uint32_t *seen, enum quantity *ret,
                            const yaml_node_t **ret_map)
{
    const yaml_node_t *key = reader_node(reader, pair->key);
    *ret_map = reader_node(reader, pair->value);
    if (!key || !*ret_map)
        return false;
    int quantity = reader_choice(reader, key, "quality", quantity_choice);
    if (quantity < 0)
        return false;
    if (*seen & 1u << quantity) {
        reader_complain(reader, key, "'%s' stands twice in 'quality'%s", quantity_choice(quantity), reader->about);
        return false;
    }
    *seen |= 1u << quantity;
    *ret = (enum quantity)quantity;
    return true;
}

static void read_limits(struct reader *reader, enum quantity quantity, const yaml_node_t *map,
                        struct quality_limits *limits)
{
    char title[TITLE_SIZE];
    const char *about = reader->about;
    snprintf(title, sizeof title, "limits of %s", quantity_info(quantity)->key);
    char limits_about[TITLE_SIZE];
    snprintf(limits_about, sizeof limits_about, " of %s", quantity_info(quantity)->key);
    reader->about = limits_about;
    reader->quantity = quantity;
    reader_section(reader, &section_limits, map, title, limits);
    const yaml_node_t *flat = map->type == YAML_MAPPING_NODE ? reader_find(reader, map, "flat") : NULL;
    if (flat && flat->type == YAML_SCALAR_NODE && strcmp((const char *)flat->data.scalar.value, "none") == 0) {
        limits->flat_suspect = 0;
        limits->flat_fail = 0;
    } else if (flat) {
        snprintf(title, sizeof title, "'flat'%s", reader->about);
        reader_section(reader, &section_flat, flat, title, limits);
        if (limits->flat_suspect > 0 && limits->flat_fail > 0 && limits->flat_fail < limits->flat_suspect)
            reader_complain(reader, flat, "'flat'%s must not fail before it is suspect", reader->about);
    }
    reader->quantity = QUANTITY_COUNT;
    reader->about = about;
}
