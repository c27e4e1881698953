/* SPDX-License-Identifier: MIT */
/* From inotify events to hints. Events are never counted, paired or believed: a name in an event is a reason
 * to look. A folder that moves loses its watches and is read again where it arrives. */
#ifndef RILLWARD_WATCH_EVENTS_H
#define RILLWARD_WATCH_EVENTS_H

#include "watch/folders.h"
#include "watch/hints.h"
#include "watch/ignore.h"

struct events {
    int inotify; /* borrowed, non-blocking */
    struct folders *folders;
    struct hints *hints;
    const struct ignore_list *ignore;
};

struct events_seen {
    size_t count;     /* all */
    size_t overflows; /* the queue was full: events were lost, a scan is wanted */
};

/* Drain the queue at `now` (monotonic ms). */
struct events_seen events_receive(const struct events *events, int64_t now);

#endif
