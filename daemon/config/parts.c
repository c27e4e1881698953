/* SPDX-License-Identifier: MIT */
#include "config/parts.h"

#include "base/text.h"
#include "config/problems.h"

#include <string.h>

static const struct network_part *find_part(const struct config *config, const char *id);
static void check_stations(const struct config *config, struct config_problems *problems);
static void check_neighbours(const struct config *config, const struct station *station,
                             const struct network_part *part, struct config_problems *problems);
static void check_parts(const struct config *config, struct config_problems *problems);

void parts_check(const struct config *config, struct place where, struct config_problems *problems)
{
    if (config->part_count == 0 && config->part)
        problem_add(problems, where, "'part' is '%.60s', but there are no 'parts': name them, with their stations",
                    config->part);
    if (config->part_count == 0)
        return;
    if (!config->part)
        problem_add(problems, where, "there are 'parts': say by 'part' which one this service has");
    else if (!find_part(config, config->part))
        problem_add(problems, where, "'part' is '%.60s', which is none of the 'parts', expected such as '%s'",
                    config->part, config->parts[0].id);
    check_parts(config, problems);
    check_stations(config, problems);
}

void parts_divide(struct config *config)
{
    if (!config->part)
        return;
    struct station *own = arena_array(config->arena, config->station_count + 1, sizeof *own);
    struct station *elsewhere = arena_array(config->arena, config->station_count + 1, sizeof *elsewhere);
    size_t own_count = 0;
    for (size_t i = 0; i < config->station_count; i++) {
        const struct network_part *part = parts_of_station(config, config->stations[i].id);
        if (strcmp(part->id, config->part) == 0)
            own[own_count++] = config->stations[i];
        else
            elsewhere[config->elsewhere_count++] = config->stations[i];
    }
    config->stations = own;
    config->station_count = own_count;
    config->elsewhere = elsewhere;
    config->shared_archive = config->archive;
    config->archive = arena_printf(config->arena, "%s/%s", config->archive, config->part);
    config->network_id = arena_printf(config->arena, "%s-%s", config->network_id, config->part);
    if (*config->public_url)
        config->public_url = arena_printf(config->arena, "%s%s%s/", config->public_url,
                                          text_ends_with(config->public_url, "/") ? "" : "/", config->part);
}

const struct network_part *parts_of_station(const struct config *config, const char *station)
{
    for (size_t i = 0; i < config->part_count; i++)
        for (size_t k = 0; k < config->parts[i].stations.count; k++)
            if (text_matches(config->parts[i].stations.words[k], station, false))
                return &config->parts[i];
    return NULL;
}

bool parts_keeps_rest(const struct config *config)
{
    return !config->part || strcmp(config->part, config->parts[0].id) == 0;
}

static const struct network_part *find_part(const struct config *config, const char *id)
{
    for (size_t i = 0; i < config->part_count; i++)
        if (strcmp(config->parts[i].id, id) == 0)
            return &config->parts[i];
    return NULL;
}

static void check_parts(const struct config *config, struct config_problems *problems)
{
    for (size_t i = 0; i < config->part_count; i++) {
        const struct network_part *part = &config->parts[i];
        bool has_station = false;
        for (size_t k = 0; k < config->station_count && !has_station; k++)
            has_station = parts_of_station(config, config->stations[k].id) == part;
        if (find_part(config, part->id) != part)
            problem_add(problems, part->where, "the id of part '%s' is taken by a part at %s:%d:%d", part->id,
                        find_part(config, part->id)->where.file, find_part(config, part->id)->where.line,
                        find_part(config, part->id)->where.column);
        else if (!has_station)
            problem_add(problems, part->where,
                        "part '%s' has no station: its patterns fit none that an earlier part does not have", part->id);
    }
}

static void check_stations(const struct config *config, struct config_problems *problems)
{
    for (size_t i = 0; i < config->station_count; i++) {
        const struct station *station = &config->stations[i];
        const struct network_part *part = parts_of_station(config, station->id);
        if (part)
            check_neighbours(config, station, part, problems);
        else
            problem_add(problems, station->where,
                        "station '%s' is of no part: add it, or a pattern that fits, to 'stations' of one",
                        station->id);
    }
}

/* Its values come from facts that another service has. */
static void check_neighbours(const struct config *config, const struct station *station,
                             const struct network_part *part, struct config_problems *problems)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        struct quality_limits limits = config_quality(config, station, q);
        const struct network_part *other =
            limits.neighbour ? parts_of_station(config, limits.neighbour->station) : NULL;
        if (other && other != part)
            problem_add(problems, station->where,
                        "the neighbour '%s' of station '%s' (%s) is of part '%s', the station of '%s': put both into "
                        "one part",
                        limits.neighbour->station, station->id, quantity_info(q)->key, other->id, part->id);
    }
}
