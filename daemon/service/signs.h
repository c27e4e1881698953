/* SPDX-License-Identifier: MIT */
/* Signs of life: what others may know of the running service. The loop calls each of these once a turn and decides
 * nothing by them but its sleep.
 *
 *   who looks                 what they see                                       when
 *   service manager           ready, stopping, alive, one line of trouble         at the change; half its patience
 *   monitoring                the metrics file (metrics.h)                        after news, every 15 s at most
 *   whoever waits elsewhere   the heartbeat (heartbeat.h)                         as set, while all is well
 *   reader of the log         the inbox is ill, or well again                     once each
 *   who started `once`        a line of progress, and whether a person is needed  on a terminal; at the end
 *
 * No sign that cannot be given stops the service: of the metrics file that is logged once until it works again. */
#ifndef RILLWARD_SERVICE_SIGNS_H
#define RILLWARD_SERVICE_SIGNS_H

#include "base/error.h"
#include "base/memory.h"
#include "config/config.h"
#include "service/heartbeat.h"
#include "service/metrics.h"
#include "service/progress.h"
#include "service/taker.h"
#include "store/store.h"
#include "watch/watch.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Zeroed, then signs_open(); signs_stopping() ends what is drawn. It owns no memory. */
struct signs {
    struct metrics_run run; /* whoever does something counts it here */
    struct progress progress;
    int64_t scan_began, changed_since; /* monotonic; 0: no scan runs, nothing changed since the metrics were written */
    int64_t metrics_at;                /* monotonic: earliest next writing */
    size_t scans_seen;
    bool metrics_failed;
    char inbox_note[sizeof((struct watch_report *)NULL)->note]; /* last told */
    int64_t watchdog_interval, watchdog_due;                    /* ms, 0: nobody watches; monotonic */
};

/* The service at one moment. All of it is the caller's; what is gathered goes into the arena, which is reset. */
struct signs_view {
    const struct config *config;
    struct store *store;
    struct arena *arena;
    const struct watch *watch;
    const struct clocks *clocks;
    int64_t paused_until;    /* monotonic: after a failure of the machine */
    int64_t next_alarm_look; /* wall; TIME_NONE not known */
    size_t in_the_air;       /* notices begun and not yet answered */
};

/* `shows_progress`: somebody waits for the end of it (a terminal is needed, too). */
void signs_open(struct signs *ret, const struct clocks *clocks, bool shows_progress);
void signs_ready(const struct config *config);
void signs_stopping(struct signs *signs);

/* The settings are read again: between the two the service manager waits. `clocks`: of now, not of the turn. */
void signs_reloading(const struct clocks *clocks);
void signs_reloaded(struct signs *signs, const struct clocks *clocks, bool is_accepted);

/* Alive, where the manager wants to hear it by now. */
void signs_watchdog(struct signs *signs, const struct clocks *clocks);

/* The machine is in the way, and the work rests for `pause` ms: told, and counted. */
void signs_failure(struct signs *signs, const struct clocks *clocks, const struct error *error, int64_t pause);

/* What the turn did to what monitoring sees, and the inbox's word to the log. True where a scan has just ended and
 * found the inbox missing or parts of it unreadable. */
bool signs_take_in(struct signs *signs, const struct signs_view *view, bool worked);

/* Whether the metrics are worth writing now: at a rest, or when the work has lasted long. */
bool signs_metrics_due(const struct signs *signs, const struct clocks *clocks, bool worked);
/* False: the settings want no such file, and nothing was gathered. */
bool signs_write_metrics(struct signs *signs, const struct signs_view *view);

/* The heartbeat's call, where it is due. */
void signs_beat(const struct signs *signs, const struct signs_view *view, struct heart *heart, struct notify *notify);

/* The line of progress, where there is somebody to look. */
void signs_show(struct signs *signs, const struct signs_view *view);

/* Monotonic times by which the loop must have turned again; TIME_FOREVER. */
int64_t signs_watchdog_deadline(const struct signs *signs);
int64_t signs_metrics_deadline(const struct signs *signs, const struct config *config);

/* Whether anything waits for a person: drops that wait or were set aside, work that was left alone, notices that are
 * not delivered. Also where the store cannot be read. */
bool signs_need_hand(const struct signs_view *view);

#endif
