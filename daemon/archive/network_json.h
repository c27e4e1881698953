/* SPDX-License-Identifier: MIT */
/* network.json, the whole network for machines, and network.schema.json, the JSON Schema that describes it.
 *
 *   schema     "network.schema.json"
 *   network    id, name, operator, contact, address
 *   cautions   provisional, caution: to be shown with the values
 *   flags      [{flag, meaning}]
 *   quantities [{quantity, title, unit, ucum, standard_name}] of those that some station has
 *   barometers [{id, name, latitude, longitude, elevation_m}]
 *   stations   [{id, name, latitude, longitude, elevation_m, level_datum, standard_time, first, last,
 *                latest  [{quantity, time, value, unit, flag}],
 *                months, records [{month, revision, state, path, sha256}],
 *                waiting [{from, to, reason, reviewed}],
 *                alarms  [{rule, title, quantity, state, start, raised, end, worst, worst_time, last,
 *                          last_time, unit, detail}]}]
 *
 * Times are UTC or null, values are in the written unit of their quantity or null; an alarm's unit is null
 * where its rule has no quantity. Order is the caller's. No clock is read: same view, same bytes. */
#ifndef RILLWARD_ARCHIVE_NETWORK_JSON_H
#define RILLWARD_ARCHIVE_NETWORK_JSON_H

#include "base/text.h"
#include "config/config.h"
#include "model/facts.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct network_value { /* the last finished value of one quantity */
    enum quantity quantity;
    int64_t time;
    double value; /* inside unit */
    uint8_t flag;
};

struct network_record { /* one published station-month */
    int year, month;
    int64_t revision;
    const char *path;   /* of the CSV, below the archive */
    const char *sha256; /* of the CSV */
    enum record_state state;
};

struct network_waiting { /* readings that cannot be finished yet */
    struct span span;
    const char *reason; /* for people: "no air pressure" */
    bool is_held;       /* finished and reviewed, and later facts would change it: a person's word is asked for */
};

/* Everything is the caller's and only read. */
struct network_station {
    const struct station *station;
    int64_t first, last; /* finished data, TIME_NONE without */
    const struct network_value *values;
    size_t value_count;
    size_t month_count;                   /* published months in all */
    const struct network_record *records; /* all of them, or the newest */
    size_t record_count;
    const struct network_waiting *waiting;
    size_t waiting_count;
    const struct alarm *alarms; /* open ones */
    size_t alarm_count;
    struct supply supply; /* what its logger runs out of */
};

struct network_view {
    const struct config *config;
    const struct network_station *stations;
    size_t station_count;
};

/* Both append to `ret`. */
void network_json_render(const struct network_view *view, struct text *ret);
void network_json_render_schema(struct text *ret);

#endif
