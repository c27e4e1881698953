/* SPDX-License-Identifier: MIT */
/* When the heartbeat's address is called: every so often, and only while the whole loop is well. Whoever waits there
 * for the calls hears of the death of this machine, too, which nothing on it can tell. */
#ifndef RILLWARD_SERVICE_HEARTBEAT_H
#define RILLWARD_SERVICE_HEARTBEAT_H

#include "notify/notify.h"
#include "service/metrics.h"

struct heart {
    int64_t due;                 /* monotonic: the next call */
    bool is_pausing, is_refused; /* only changes are told in the log */
};

struct heart_facts {
    int64_t wall, disk_wall, monotonic;
    int64_t paused_until;    /* monotonic: after a failure of the machine */
    int64_t next_alarm_look; /* wall; TIME_NONE not known */
    const struct metrics_run *run;
};

/* NULL while all is well; else why not, for people (arena). Well: nothing failed lately; the inbox was looked through
 * within two scans' time, is there and can be read; rules that time alone can meet were looked at; no notice that was
 * tried waits for longer than an hour. */
const char *heart_trouble(const struct config *config, struct store *store, struct arena *arena,
                          const struct heart_facts *facts);

/* Calls where it is time. Does nothing where the settings name no heartbeat. */
void heart_beat(struct heart *heart, struct notify *notify, const struct config *config, struct store *store,
                struct arena *arena, const struct heart_facts *facts);
/* What came of a call. */
void heart_hear(struct heart *heart, const struct delivery *delivery);
/* Monotonic time of the next call; TIME_FOREVER without one. */
int64_t heart_deadline(const struct heart *heart, const struct config *config);

#endif
