/* SPDX-License-Identifier: MIT */
/* Figures for monitoring, as a text file in the Prometheus exposition format 0.0.4 (for the textfile collector of a
 * node exporter or anything else that reads it). Times are exported as times, never as ages. Label values are ids of
 * the settings or words of fixed lists, so their number is bounded by the settings. */
#ifndef RILLWARD_SERVICE_METRICS_H
#define RILLWARD_SERVICE_METRICS_H

#include "base/error.h"
#include "base/memory.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "config/config.h"
#include "model/facts.h"
#include "store/store.h"
#include "watch/watch.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define METRICS_PAUSE (15 * SECOND_MS) /* at least between two writings */

struct metrics_place {
    const char *id;
    int64_t last_time; /* ms UTC; TIME_NONE: nothing came yet, no sample is written */
};

/* What the service itself counts, since it started. */
struct metrics_run {
    int64_t started, last_turn, last_scan; /* ms UTC of this machine's clock; TIME_NONE: not yet */
    double scan_seconds;                   /* of the last whole scan, taking its drops included; NaN: none yet */
    uint64_t drops_taken, drops_repeated, drops_set_aside; /* each try counts */
    uint64_t failures, settings_refused;
    bool is_sandboxed;
    struct watch_report inbox;
};

struct metrics {
    struct metrics_run run;
    struct metrics_place *stations, *barometers;
    size_t station_count, barometer_count;
    int64_t alarms_active[PRIORITY_COUNT], alarms_unacknowledged[PRIORITY_COUNT];
    struct outbox_line *outbox;
    size_t outbox_count;
    struct store_counts counts;
};

/* All but `run` from the store, into the arena. Alarms of rules that the settings do not have any more count as medium;
 * recipients that they do not have any more are left out. */
bool metrics_gather(const struct config *config, struct store *store, struct arena *arena, struct metrics *ret,
                    struct error *error);

/* Appends the whole file. Pure. */
void metrics_render(const struct metrics *metrics, struct text *ret);

/* Whole and readable by everybody, whatever the umask: temporary name, rename. Not durable: after a power cut it is
 * written anew. The folder must exist. SYSTEM error. */
bool metrics_write(const char *path, const struct text *text, struct error *error);

#endif
