/* SPDX-License-Identifier: MIT */
/* When a logger runs out of memory or battery, so that somebody is there before. Pure.
 *
 * Memory is empty when the logger is put in, and full when it has taken all the samples that it can keep.
 *
 * The battery is empty where new ones last no longer, or, where the logger writes its voltage, when a straight line
 * through the medians of its last days (Theil-Sen, SUPPLY_LOOKS_BACK) comes down to the limit; the earlier of the two.
 * Fewer than SUPPLY_DAYS_LEAST days since the batteries are new tell no line, nor do values that do not fall; a line is
 * not drawn out further than SUPPLY_LOOKS_AHEAD. Many kinds of cells keep their voltage and then fall fast: the line
 * tells of it late, and how long they last is worth stating too. */
#ifndef RILLWARD_ALARMS_SUPPLY_H
#define RILLWARD_ALARMS_SUPPLY_H

#include "base/memory.h"
#include "base/timestamp.h"
#include "model/facts.h"
#include "model/record.h"

#include <stdbool.h>

#define SUPPLY_LOOKS_BACK (30 * DAY_MS)
#define SUPPLY_LOOKS_AHEAD (365 * DAY_MS)
enum { SUPPLY_DAYS_LEAST = 5 };

/* What is known of a logger between two visits. */
struct supply_stock {
    int64_t memory_since;        /* it was put in; TIME_NONE: not known */
    int64_t memory_lasts;        /* ms; 0: not known */
    int64_t battery_since;       /* its batteries are this old; TIME_NONE: not known */
    int64_t battery_lasts;       /* ms; 0: not known */
    double battery_limit;        /* V; 0: not known */
    const struct record *record; /* its last days, ascending; NULL: no rows */
};

struct supply supply_reckon(const struct supply_stock *stock);

/* The time between samples by the middle one of the record's steps; 0: it has no two rows. */
int64_t supply_interval(struct arena *arena, const struct record *record);

/* The earlier of the two; TIME_FOREVER. */
int64_t supply_first(const struct supply *supply);

struct text;
/* "memory full about 2026-08-14, battery empty about 2026-10-01": the first first, days by the place's
 * standard time. Nothing where nothing is known. */
void supply_describe(const struct supply *supply, int64_t utc_offset, struct text *ret);

#endif
