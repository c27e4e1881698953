/* SPDX-License-Identifier: MIT */
/* How many alarms a recipient gets: the figures by which the trade judges whether a person can still answer them
 * (ISA-18.2, IEC 62682: some 150 new alarms a day and one or two in 10 min can be answered, more than 10 in 10 min
 * cannot; alarms that stand for longer than a day, and those that chatter, should be few). */
#ifndef RILLWARD_SERVICE_FIGURES_H
#define RILLWARD_SERVICE_FIGURES_H

#include "archive/page.h"
#include "config/config.h"
#include "store/store.h"

/* What one person can take in, after ISA-18.2 / IEC 62682 (from memory): so many a day are acceptable, twice as many
 * still manageable; a peak above FLOOD_BEGINS in 10 minutes is a flood; fewer than so many stand longer than a day; and
 * none chatters. */
#define ALARMS_A_DAY_ACCEPTABLE 150
#define ALARMS_STANDING_BELOW 5

struct figures {
    int64_t day;            /* new alarms in the last 24 h */
    int64_t most_in_10_min; /* of these */
    int64_t chattering;     /* of these */
    int64_t standing;       /* active, and known for longer than 24 h */
    bool is_flood;          /* now */
};

/* `open` are the open alarms. */
bool figures_load(const struct config *config, struct store *store, struct arena *arena, const char *recipient,
                  const struct alarm *open, size_t open_count, int64_t now, struct figures *ret, struct error *error);

/* Of the FIGURES_DAYS up to the newest alarm of the recipient: from alarms and notices alone, whatever the clock says,
 * so that the page is the same when it is made again. Days are those of `utc_offset`. */
enum { FIGURES_DAYS = 30 };
bool figures_load_month(const struct config *config, struct store *store, struct arena *arena, const char *recipient,
                        const struct alarm *open, size_t open_count, int64_t utc_offset, struct page_recipient *ret,
                        struct error *error);

#endif
