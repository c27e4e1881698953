/* SPDX-License-Identifier: MIT */
#include "config/sections.h"

#include "base/timestamp.h"
#include "config/value.h"
#include "config/vocabulary.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void take_station(struct reader *reader, const struct entry *entry, struct capacities *room);
static void read_datum_changes(struct reader *reader, const yaml_node_t *list, struct station *station);
static void read_salinity(struct reader *reader, const yaml_node_t *map, struct station *station);
static void read_told(struct reader *reader, const yaml_node_t *map, struct station *station);
static void read_told_value(struct reader *reader, const yaml_node_t *map, const char *key, int dimension,
                            const double bounds[2], double *ret);
static void read_station_quality(struct reader *reader, const yaml_node_t *map, struct station *station);
static void take_barometer(struct reader *reader, const struct entry *entry, struct capacities *room);
static void take_part(struct reader *reader, const struct entry *entry, struct capacities *room);
static bool read_limits_key(struct reader *reader, const yaml_node_pair_t *pair, uint32_t *seen, enum quantity *ret,
                            const yaml_node_t **ret_map);
static void read_limits(struct reader *reader, enum quantity quantity, const yaml_node_t *map,
                        struct quality_limits *limits);

static const yaml_node_t *find_test(struct reader *reader, const yaml_node_t *map, const char *key, char *title,
                                    bool *ret_is_off);
static const void *kept(struct reader *reader, const void *test, size_t size);
static void read_months(struct reader *reader, const yaml_node_t *map, struct quality_limits *limits);
static void read_attenuated(struct reader *reader, const yaml_node_t *map, struct quality_limits *limits);
static void read_related(struct reader *reader, const yaml_node_t *map, struct quality_limits *limits);
static void read_neighbour(struct reader *reader, const yaml_node_t *map, struct quality_limits *limits);

void read_stations(struct reader *reader, const yaml_node_t *map, struct capacities *room)
{
    reader_entries(reader, map, "station", take_station, room);
}

void read_barometers(struct reader *reader, const yaml_node_t *map, struct capacities *room)
{
    reader_entries(reader, map, "barometer", take_barometer, room);
}

void read_parts(struct reader *reader, const yaml_node_t *map, struct capacities *room)
{
    reader_entries(reader, map, "part", take_part, room);
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
                              .conductance_sensor_coefficient = NAN,
                              .oxygen_sensor_pressure = 101325,
                              .oxygen_calibration = {NAN, NAN, NAN},
                              .oxygen_thermometer = QUANTITY_TEMPERATURE,
                              .where = entry->where};
    reader_section(reader, &section_station, entry->map, entry->title, &station);
    if (entry->map->type == YAML_MAPPING_NODE) {
        read_salinity(reader, entry->map, &station);
        read_told(reader, entry->map, &station);
        const yaml_node_t *changes = reader_find(reader, entry->map, "datum_changes");
        const yaml_node_t *quality = reader_find(reader, entry->map, "quality");
        if (changes)
            read_datum_changes(reader, changes, &station);
        if (quality)
            read_station_quality(reader, quality, &station);
    }
    config->stations = x_grow(config->stations, config->station_count, &room->stations, sizeof station);
    config->stations[config->station_count++] = station;
}

static void take_part(struct reader *reader, const struct entry *entry, struct capacities *room)
{
    struct config *config = reader->config;
    struct network_part part = {.id = entry->id, .where = entry->where};
    reader_section(reader, &section_part, entry->map, entry->title, &part);
    config->parts = x_grow(config->parts, config->part_count, &room->parts, sizeof part);
    config->parts[config->part_count++] = part;
}

static void read_datum_changes(struct reader *reader, const yaml_node_t *list, struct station *station)
{
    enum { MOST_CHANGES = 100 };
    if (!reader_is_list(reader, list, "'datum_changes'"))
        return;
    const yaml_node_item_t *items = list->data.sequence.items.start;
    size_t count = (size_t)(list->data.sequence.items.top - items);
    if (count > MOST_CHANGES) {
        reader_complain(reader, list, "'datum_changes'%s has %zu entries, more than the limit of %d", reader->about,
                        count, MOST_CHANGES);
        return;
    }
    station->datum_changes = arena_array(reader->config->arena, count, sizeof *station->datum_changes);
    for (size_t i = 0; i < count; i++) {
        const yaml_node_t *map = reader_node(reader, items[i]);
        struct datum_change change = {.from = TIME_NONE, .offset = NAN, .datum = ""};
        if (!map)
            return;
        reader_section(reader, &section_datum_change, map, "a change of the datum", &change);
        const yaml_node_t *node = map->type == YAML_MAPPING_NODE ? reader_find(reader, map, "from") : NULL;
        const char *text = node ? reader_text(reader, node, "from") : NULL;
        if (!text)
            continue;
        if (!timestamp_parse(text, strlen(text), &change.from))
            reader_complain(reader, node, "'from'%s is a time such as 2026-05-01T18:00:00Z, found '%.60s'",
                            reader->about, text);
        else if (station->datum_change_count > 0 &&
                 change.from <= station->datum_changes[station->datum_change_count - 1].from)
            reader_complain(reader, node, "'from'%s must be later than that of the change before, found '%.60s'",
                            reader->about, text);
        else
            station->datum_changes[station->datum_change_count++] = change;
    }
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

/* What the oxygen sensor was told: a value, or what was measured at the time. */
static void read_told(struct reader *reader, const yaml_node_t *map, struct station *station)
{
    static const double salinities[2] = {0, 42}, pressures[2] = {50600, 111500};
    read_told_value(reader, map, "oxygen_sensor_salinity", UNIT_SALINITY, salinities, &station->oxygen_sensor_salinity);
    read_told_value(reader, map, "oxygen_sensor_pressure", UNIT_PRESSURE, pressures, &station->oxygen_sensor_pressure);
    if (isnan(station->oxygen_sensor_salinity) && station->salinity_source != SALINITY_MEASURED)
        reader_complain(reader, reader_find(reader, map, "oxygen_sensor_salinity"),
                        "'oxygen_sensor_salinity: measured' goes with 'salinity: measured' only");
    if (station->oxygen_thermometer != QUANTITY_TEMPERATURE &&
        station->oxygen_thermometer != QUANTITY_SECOND_TEMPERATURE)
        reader_complain(reader, reader_find(reader, map, "oxygen_thermometer"),
                        "'oxygen_thermometer'%s is 'temperature' or 'second_temperature'", reader->about);
}

static void read_told_value(struct reader *reader, const yaml_node_t *map, const char *key, int dimension,
                            const double bounds[2], double *ret)
{
    const yaml_node_t *node = reader_find(reader, map, key);
    const char *text = node ? reader_text(reader, node, key) : NULL;
    struct error error;
    double value = NAN;
    if (!text)
        return;
    bool is_measured = strcmp(text, "measured") == 0;
    bool is_read = is_measured || value_quantity(text, strlen(text), dimension, false, &value, &error);
    if (is_read && !is_measured && !(value >= bounds[0] && value <= bounds[1]))
        is_read = fail(&error, ERROR_CONFIG, "must be 'measured', or between %.10g and %.10g %s, found '%.60s'",
                       bounds[0], bounds[1], unit_base((enum unit_dimension)dimension)->name, text);
    if (is_read)
        *ret = value;
    else
        reader_complain_value(reader, node, key, &error);
}

static void read_station_quality(struct reader *reader, const yaml_node_t *map, struct station *station)
{
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
        list[count] = (struct quality_override){.quantity = quantity, .limits = quality_inherited};
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
    if (map->type == YAML_MAPPING_NODE) {
        read_months(reader, map, limits);
        read_attenuated(reader, map, limits);
        read_related(reader, map, limits);
        read_neighbour(reader, map, limits);
    }
    reader->quantity = QUANTITY_COUNT;
    reader->about = about;
}

/* The map of a test that has its own, its title in `title`; NULL where it is absent, or `none`: then *ret_is_off. */
static const yaml_node_t *find_test(struct reader *reader, const yaml_node_t *map, const char *key, char *title,
                                    bool *ret_is_off)
{
    const yaml_node_t *node = reader_find(reader, map, key);
    *ret_is_off = node && node->type == YAML_SCALAR_NODE && strcmp((const char *)node->data.scalar.value, "none") == 0;
    snprintf(title, TITLE_SIZE, "'%s'%s", key, reader->about);
    return *ret_is_off ? NULL : node;
}

static const void *kept(struct reader *reader, const void *test, size_t size)
{
    return memcpy(arena_alloc(reader->config->arena, size), test, size);
}

static void read_months(struct reader *reader, const yaml_node_t *map, struct quality_limits *limits)
{
    char title[TITLE_SIZE];
    struct climatology months = {.is_off = false};
    const yaml_node_t *node = find_test(reader, map, "months", title, &months.is_off);
    if (!node && !months.is_off)
        return;
    for (size_t i = 0; i < COUNT_OF(months.range); i++) {
        months.range[i][0] = -INFINITY;
        months.range[i][1] = INFINITY;
    }
    if (node)
        reader_section(reader, &section_months, node, title, &months);
    limits->months = kept(reader, &months, sizeof months);
}

static void read_attenuated(struct reader *reader, const yaml_node_t *map, struct quality_limits *limits)
{
    char title[TITLE_SIZE];
    bool is_off;
    struct attenuation test = {.window = 0};
    const yaml_node_t *node = find_test(reader, map, "attenuated", title, &is_off);
    if (node)
        reader_section(reader, &section_attenuated, node, title, &test);
    if (node && test.fail > 0 && test.suspect > 0 && test.fail > test.suspect)
        reader_complain(reader, node, "'attenuated'%s must fail at less than what is suspect", reader->about);
    if (node && test.window > 0 && !(test.fail > 0) && !(test.suspect > 0))
        reader_complain(reader, node, "'attenuated'%s has neither 'suspect' nor 'fail'", reader->about);
    if (node || is_off)
        limits->attenuated = kept(reader, &test, sizeof test);
}

static void read_related(struct reader *reader, const yaml_node_t *map, struct quality_limits *limits)
{
    char title[TITLE_SIZE];
    bool is_off;
    struct companion test = {.quantity = QUANTITY_COUNT};
    const yaml_node_t *node = find_test(reader, map, "related", title, &is_off);
    if (!node && !is_off)
        return;
    limits->related = kept(reader, &test, sizeof test);
    if (!node)
        return;
    reader_section(reader, &section_related, node, title, &test);
    if (test.quantity == QUANTITY_COUNT)
        return;
    const yaml_node_t *steady = reader_find(reader, node, "steady");
    const char *text = steady ? reader_text(reader, steady, "steady") : NULL;
    struct error error;
    if (text && !value_quantity(text, strlen(text), (int)quantity_dimension(test.quantity), true, &test.steady, &error))
        reader_complain_value(reader, steady, "steady", &error);
    bool is_same = quantity_dimension(test.quantity) == quantity_dimension(reader->quantity);
    if (test.quantity == reader->quantity)
        reader_complain(reader, node, "'related'%s must name another quantity", reader->about);
    else if ((test.suspect > 0 || test.fail > 0) && !is_same)
        reader_complain(reader, node, "'difference'%s needs two quantities of one kind: for %s use 'rate' and 'steady'",
                        reader->about, quantity_info(test.quantity)->key);
    else if (!(test.suspect > 0) && !(test.fail > 0) && !(test.rate > 0))
        reader_complain(reader, node, "'related'%s has neither 'difference' nor 'rate'", reader->about);
    else if (test.rate > 0 && !text)
        reader_complain(reader, node, "'related'%s has a 'rate' and no 'steady'", reader->about);
    limits->related = kept(reader, &test, sizeof test);
}

static void read_neighbour(struct reader *reader, const yaml_node_t *map, struct quality_limits *limits)
{
    char title[TITLE_SIZE];
    bool is_off;
    struct neighbour_limits test = {.station = NULL};
    const yaml_node_t *node = find_test(reader, map, "neighbour", title, &is_off);
    if (node)
        reader_section(reader, &section_neighbour, node, title, &test);
    if (node || is_off)
        limits->neighbour = kept(reader, &test, sizeof test);
}
