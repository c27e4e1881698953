/* SPDX-License-Identifier: MIT */
#include "config/config.h"

#include "base/text.h"
#include "config/vocabulary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

const struct quality_limits quality_off = {.sensor_min = NAN,
                                           .sensor_max = NAN,
                                           .usual_min = NAN,
                                           .usual_max = NAN,
                                           .spike_suspect = NAN,
                                           .spike_fail = NAN,
                                           .rate = NAN};
const struct quality_limits quality_inherited = {.sensor_min = NAN,
                                                 .sensor_max = NAN,
                                                 .usual_min = NAN,
                                                 .usual_max = NAN,
                                                 .spike_suspect = NAN,
                                                 .spike_fail = NAN,
                                                 .rate = NAN,
                                                 .flat_tolerance = NAN,
                                                 .flat_suspect = -1,
                                                 .flat_fail = -1};
QUALITY_LIMITS_ARE(14); /* those that are no pointer stand in both */

static bool matches_any(const struct word_list *patterns, const char *id);
static int compare_station(const void *id, const void *station);
static int compare_barometer(const void *id, const void *barometer);
static void override(double *value, double by);

void config_free(struct config *config)
{
    if (!config)
        return;
    for (size_t i = 0; i < config->layout_count; i++)
        zone_free(config->layouts[i].zone);
    for (size_t i = 0; i < config->recipient_count; i++)
        zone_free(config->recipients[i].hours.zone);
    zone_free(config->digest_mail.zone);
    arena_free(config->arena);
    free(config);
}

/* Stations and barometers are sorted by id: there may be ten thousand. */
size_t config_find_station(const struct config *config, const char *id)
{
    const struct station *found = config->station_count == 0 ? NULL
                                                             : bsearch(id, config->stations, config->station_count,
                                                                       sizeof *config->stations, compare_station);
    return found ? (size_t)(found - config->stations) : config->station_count;
}

size_t config_find_barometer(const struct config *config, const char *id)
{
    const struct barometer *found =
        config->barometer_count == 0
            ? NULL
            : bsearch(id, config->barometers, config->barometer_count, sizeof *config->barometers, compare_barometer);
    return found ? (size_t)(found - config->barometers) : config->barometer_count;
}

size_t config_find_rule(const struct config *config, const char *id)
{
    size_t i = 0;
    while (i < config->rule_count && strcmp(config->rules[i].id, id) != 0)
        i++;
    return i;
}

size_t config_find_recipient(const struct config *config, const char *id)
{
    size_t i = 0;
    while (i < config->recipient_count && strcmp(config->recipients[i].id, id) != 0)
        i++;
    return i;
}

/* Each limit, from the station where it has its own. */
QUALITY_LIMITS_ARE(14);
struct quality_limits config_quality(const struct config *config, const struct station *station, enum quantity quantity)
{
    struct quality_limits limits = config->quality[quantity];
    for (size_t i = 0; i < station->quality_count; i++) {
        const struct quality_limits *own = &station->quality[i].limits;
        if (station->quality[i].quantity != quantity)
            continue;
        override(&limits.sensor_min, own->sensor_min);
        override(&limits.sensor_max, own->sensor_max);
        override(&limits.usual_min, own->usual_min);
        override(&limits.usual_max, own->usual_max);
        override(&limits.spike_suspect, own->spike_suspect);
        override(&limits.spike_fail, own->spike_fail);
        override(&limits.rate, own->rate);
        override(&limits.flat_tolerance, own->flat_tolerance);
        limits.flat_suspect = own->flat_suspect >= 0 ? own->flat_suspect : limits.flat_suspect;
        limits.flat_fail = own->flat_fail >= 0 ? own->flat_fail : limits.flat_fail;
        limits.months = own->months ? own->months : limits.months;
        limits.attenuated = own->attenuated ? own->attenuated : limits.attenuated;
        limits.related = own->related ? own->related : limits.related;
        limits.neighbour = own->neighbour ? own->neighbour : limits.neighbour;
    }
    limits_normalise(&limits);
    return limits;
}

bool rule_watches(const struct rule *rule, const char *id)
{
    return (rule->stations.count == 0 || matches_any(&rule->stations, id)) && !matches_any(&rule->except, id);
}

static bool matches_any(const struct word_list *patterns, const char *id)
{
    for (size_t i = 0; i < patterns->count; i++)
        if (text_matches(patterns->words[i], id, false))
            return true;
    return false;
}

static int compare_station(const void *id, const void *station)
{
    return strcmp(id, ((const struct station *)station)->id);
}

static int compare_barometer(const void *id, const void *barometer)
{
    return strcmp(id, ((const struct barometer *)barometer)->id);
}

static void override(double *value, double by)
{
    if (!isnan(by))
        *value = by;
}
