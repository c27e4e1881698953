/* SPDX-License-Identifier: MIT */
#include "config/digest.h"

#include <math.h>
#include <string.h>

#define FNV_START 0xCBF29CE484222325u
#define FNV_PRIME 0x100000001B3u

static uint64_t own_digest(const struct config *config, const struct station *station);
static void add_bytes(uint64_t *digest, const void *bytes, size_t length);
static void add_text(uint64_t *digest, const char *text);
static void add_number(uint64_t *digest, double value);
static void add_whole(uint64_t *digest, int64_t value);
static void add_words(uint64_t *digest, const struct word_list *list);
static void add_limits(uint64_t *digest, const struct quality_limits *limits);
static void add_claims(uint64_t *digest, const struct word_list *drops, const struct word_list *serials,
                       const struct word_list *labels);
static void add_position(uint64_t *digest, const struct barometer *barometer);
static void add_barometers(uint64_t *digest, const struct config *config, const struct station *station);
static void add_oxygen_limits(uint64_t *digest, const struct config *config, const struct station *station);
static bool may_be_near(const struct config *config, const struct station *station, const struct barometer *barometer);
static void add_layout(uint64_t *digest, const struct layout *layout);
static void add_meanings(uint64_t *digest, const struct word_meaning *list, size_t count);

uint64_t config_digest(const struct config *config)
{
    uint64_t digest = FNV_START;
    add_text(&digest, RILLWARD_VERSION); /* another program may read what this one sets aside */
    add_text(&digest, config->network_id);
    add_text(&digest, config->network_name);
    add_text(&digest, config->operator_name);
    add_text(&digest, config->contact);
    add_text(&digest, config->public_url);
    add_whole(&digest, config->largest_drop);
    add_words(&digest, &config->answers);
    for (size_t i = 0; i < config->barometer_count; i++) {
        const struct barometer *barometer = &config->barometers[i];
        add_position(&digest, barometer);
        add_whole(&digest, barometer->utc_offset);
        add_claims(&digest, &barometer->drops, &barometer->serials, &barometer->labels);
    }
    for (size_t i = 0; i < config->layout_count; i++)
        add_layout(&digest, &config->layouts[i]);
    for (size_t i = 0; i < config->station_count; i++) {
        const struct station *station = &config->stations[i];
        add_whole(&digest, (int64_t)config_station_digest(config, station));
        add_claims(&digest, &station->drops, &station->serials, &station->labels);
    }
    if (config->part)
        add_text(&digest, config->part);
    for (size_t i = 0; i < config->elsewhere_count; i++) {
        const struct station *station = &config->elsewhere[i];
        add_text(&digest, station->id);
        add_claims(&digest, &station->drops, &station->serials, &station->labels);
    }
    return digest;
}

/* A neighbour's settings shape its values, and so what is said of this station's. */
uint64_t config_station_digest(const struct config *config, const struct station *station)
{
    uint64_t digest = own_digest(config, station);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        struct quality_limits limits = config_quality(config, station, q);
        size_t other =
            limits.neighbour ? config_find_station(config, limits.neighbour->station) : config->station_count;
        if (limits.neighbour)
            add_text(&digest, limits.neighbour->station);
        if (other < config->station_count)
            add_whole(&digest, (int64_t)own_digest(config, &config->stations[other]));
    }
    return digest;
}

static uint64_t own_digest(const struct config *config, const struct station *station)
{
    uint64_t digest = FNV_START;
    add_text(&digest, station->id);
    add_text(&digest, station->name); /* name and datum stand in the record's own metadata */
    add_text(&digest, station->datum);
    const double numbers[] = {station->latitude,
                              station->longitude,
                              station->elevation,
                              station->sensor_elevation,
                              station->tape_point,
                              station->reading_uncertainty,
                              station->reading_limit,
                              station->zero_limit,
                              (double)station->zero_correction,
                              station->salinity,
                              station->conductance_coefficient,
                              station->oxygen_sensor_salinity,
                              station->oxygen_sensor_pressure,
                              station->position_reach,
                              station->conductance_sensor_coefficient,
                              station->oxygen_calibration.temperature,
                              station->oxygen_calibration.air_pressure,
                              station->oxygen_calibration.told,
                              config->pairing_distance};
    for (size_t i = 0; i < COUNT_OF(numbers); i++)
        add_number(&digest, numbers[i]);
    const int64_t wholes[] = {station->utc_offset,
                              (int64_t)station->salinity_source,
                              station->interval,
                              station->settling,
                              config->largest_air_gap,
                              config->good_air_gap,
                              config->hand_over,
                              (int64_t)station->conductance_compensation,
                              (int64_t)station->conductance_sensor_compensation,
                              (int64_t)station->oxygen_thermometer};
    for (size_t i = 0; i < COUNT_OF(wholes); i++)
        add_whole(&digest, wholes[i]);
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        struct quality_limits limits = config_quality(config, station, q);
        add_limits(&digest, &limits);
    }
    for (size_t i = 0; i < station->datum_change_count; i++) {
        add_whole(&digest, station->datum_changes[i].from);
        add_number(&digest, station->datum_changes[i].offset);
        add_text(&digest, station->datum_changes[i].datum);
    }
    add_words(&digest, &station->barometers);
    add_barometers(&digest, config, station);
    add_whole(&digest, config->archive_formats);
    add_whole(&digest, config->netcdf_year_begins);
    add_oxygen_limits(&digest, config, station);
    return digest;
}

uint64_t config_barometer_digest(const struct config *config)
{
    uint64_t digest = FNV_START;
    add_number(&digest, config->barometer_limit);
    add_number(&digest, config->pairing_distance);
    add_whole(&digest, config->largest_air_gap);
    for (size_t i = 0; i < config->barometer_count; i++)
        add_position(&digest, &config->barometers[i]);
    return digest;
}

uint64_t config_pages_digest(const struct config *config)
{
    uint64_t digest = FNV_START;
    const char *const texts[] = {RILLWARD_VERSION,      config->network_id, config->network_name,
                                 config->operator_name, config->contact,    config->public_url};
    for (size_t i = 0; i < COUNT_OF(texts); i++)
        add_text(&digest, texts[i]);
    add_whole(&digest, config->keep_revisions);
    add_whole(&digest, config->revision_formats);
    for (size_t i = 0; i < config->barometer_count; i++) {
        add_text(&digest, config->barometers[i].id);
        add_text(&digest, config->barometers[i].name);
        add_position(&digest, &config->barometers[i]);
    }
    for (size_t i = 0; i < config->station_count; i++) {
        const struct station *station = &config->stations[i];
        add_whole(&digest, station->memory_samples);
        add_whole(&digest, station->battery_lasts);
        add_number(&digest, station->battery_limit);
    }
    for (size_t i = 0; i < config->rule_count; i++) {
        const struct rule *rule = &config->rules[i];
        const int64_t wholes[] = {rule->kind, rule->quantity, rule->priority, rule->window};
        add_text(&digest, rule->id);
        add_text(&digest, rule->title);
        for (size_t k = 0; k < COUNT_OF(wholes); k++)
            add_whole(&digest, wholes[k]);
        add_number(&digest, rule->limit);
        add_words(&digest, &rule->stations);
        add_words(&digest, &rule->except);
        add_words(&digest, &rule->tell);
    }
    for (size_t i = 0; i < config->recipient_count; i++)
        add_text(&digest, config->recipients[i].id);
    return digest;
}

/* Daily values tell for how long oxygen was below the limits of these rules, in whatever order they stand. */
static void add_oxygen_limits(uint64_t *digest, const struct config *config, const struct station *station)
{
    uint64_t sum = 0;
    for (size_t i = 0; i < config->rule_count; i++) {
        const struct rule *rule = &config->rules[i];
        if (rule->kind != RULE_BELOW || rule->quantity != QUANTITY_OXYGEN || !rule_watches(rule, station->id))
            continue;
        uint64_t limit = FNV_START;
        add_number(&limit, rule->limit);
        sum += limit;
    }
    add_bytes(digest, &sum, sizeof sum);
}

static void add_bytes(uint64_t *digest, const void *bytes, size_t length)
{
    const unsigned char *byte = bytes;
    for (size_t i = 0; i < length; i++)
        *digest = (*digest ^ byte[i]) * FNV_PRIME;
}

/* With its end, so that "ab" "c" and "a" "bc" differ; none and "" differ too. */
static void add_text(uint64_t *digest, const char *text)
{
    if (text)
        add_bytes(digest, text, strlen(text) + 1);
    else
        add_bytes(digest, "\xFF", 1);
}

static void add_number(uint64_t *digest, double value)
{
    double canonical = isnan(value) ? (double)NAN : value == 0 ? 0.0 : value; /* one NaN, one zero */
    add_bytes(digest, &canonical, sizeof canonical);
}

static void add_whole(uint64_t *digest, int64_t value)
{
    add_bytes(digest, &value, sizeof value);
}

static void add_words(uint64_t *digest, const struct word_list *list)
{
    add_whole(digest, (int64_t)list->count);
    for (size_t i = 0; i < list->count; i++)
        add_text(digest, list->words[i]);
}

/* All of them, or a reload with another one derives nothing again. */
QUALITY_LIMITS_ARE(14);
static void add_limits(uint64_t *digest, const struct quality_limits *limits)
{
    const double numbers[] = {limits->sensor_min,    limits->sensor_max, limits->usual_min, limits->usual_max,
                              limits->spike_suspect, limits->spike_fail, limits->rate,      limits->flat_tolerance};
    for (size_t i = 0; i < COUNT_OF(numbers); i++)
        add_number(digest, numbers[i]);
    add_whole(digest, limits->flat_suspect);
    add_whole(digest, limits->flat_fail);
    for (int i = 0; limits->months && i < 24; i++)
        add_number(digest, limits->months->range[i / 2][i % 2]);
    const struct attenuation *attenuated = limits->attenuated;
    const struct companion *related = limits->related;
    const struct neighbour_limits *neighbour = limits->neighbour;
    const double more[] = {attenuated ? attenuated->suspect : 0, attenuated ? attenuated->fail : 0,
                           related ? related->suspect : 0,       related ? related->fail : 0,
                           related ? related->rate : 0,          related ? related->steady : 0,
                           neighbour ? neighbour->suspect : 0,   neighbour ? neighbour->fail : 0};
    for (size_t i = 0; i < COUNT_OF(more); i++)
        add_number(digest, more[i]);
    add_whole(digest, attenuated ? attenuated->window : 0);
    add_whole(digest, related ? related->window : 0);
    add_whole(digest, related ? (int64_t)related->quantity : -1);
    add_whole(digest, neighbour ? neighbour->reach : 0);
}

/* Which drops belong to a place. */
static void add_claims(uint64_t *digest, const struct word_list *drops, const struct word_list *serials,
                       const struct word_list *labels)
{
    add_words(digest, drops);
    add_words(digest, serials);
    add_words(digest, labels);
}

static void add_position(uint64_t *digest, const struct barometer *barometer)
{
    add_text(digest, barometer->id);
    add_number(digest, barometer->latitude);
    add_number(digest, barometer->longitude);
    add_number(digest, barometer->elevation);
}

/* Those that may be used, so that a new barometer far away changes nothing here. */
static void add_barometers(uint64_t *digest, const struct config *config, const struct station *station)
{
    for (size_t i = 0; i < station->barometers.count; i++) {
        size_t at = config_find_barometer(config, station->barometers.words[i]);
        if (at < config->barometer_count)
            add_position(digest, &config->barometers[at]);
    }
    for (size_t i = 0; station->barometers.count == 0 && i < config->barometer_count; i++)
        if (may_be_near(config, station, &config->barometers[i]))
            add_position(digest, &config->barometers[i]);
}

/* A little generous: the exact distance is the business of the pairing. */
static bool may_be_near(const struct config *config, const struct station *station, const struct barometer *barometer)
{
    const double radians = acos(-1.0) / 180, radius = 6371008.8, margin = 1.001;
    double angle = config->pairing_distance * margin / radius;
    double north = (station->latitude - barometer->latitude) * radians;
    if (fabs(north) > angle)
        return false;
    double s = sin(north / 2), t = sin((station->longitude - barometer->longitude) * radians / 2);
    double h = s * s + cos(station->latitude * radians) * cos(barometer->latitude * radians) * t * t;
    return 2 * asin(fmin(1, sqrt(h))) <= angle;
}

static void add_layout(uint64_t *digest, const struct layout *layout)
{
    const char *const texts[] = {layout->id,
                                 layout->comment,
                                 layout->sheet,
                                 layout->serial_label,
                                 layout->station_label,
                                 layout->time_columns[0],
                                 layout->time_columns[1],
                                 layout->time_format,
                                 layout->zone_name};
    for (size_t i = 0; i < COUNT_OF(texts); i++)
        add_text(digest, texts[i]);
    const int64_t wholes[] = {(int64_t)layout->holds,
                              layout->delimiter,
                              layout->decimal,
                              layout->may_end_open,
                              (int64_t)layout->repeated_hour,
                              (int64_t)layout->missing_hour,
                              (int64_t)layout->column_count};
    for (size_t i = 0; i < COUNT_OF(wholes); i++)
        add_whole(digest, wholes[i]);
    add_words(digest, &layout->files);
    add_words(digest, &layout->missing);
    add_words(digest, &layout->end_marks);
    for (size_t i = 0; i < layout->column_count; i++) {
        const struct column *column = &layout->columns[i];
        add_text(digest, column->header);
        add_text(digest, column->unit);
        add_whole(digest, (int64_t)column->role);
        add_whole(digest, (int64_t)column->quantity);
        add_whole(digest, (int64_t)column->note_kind);
        add_whole(digest, column->is_reference * 2 + column->is_optional);
    }
    add_meanings(digest, layout->kinds, layout->kind_count);
    add_meanings(digest, layout->quantities, layout->quantity_count);
}

static void add_meanings(uint64_t *digest, const struct word_meaning *list, size_t count)
{
    add_whole(digest, (int64_t)count);
    for (size_t i = 0; i < count; i++) {
        add_text(digest, list[i].word);
        add_whole(digest, list[i].meaning);
    }
}
