/* SPDX-License-Identifier: MIT */
/* Local hours: when somebody works, and when a time of day comes. Pure. */
#ifndef RILLWARD_ALARMS_HOURS_H
#define RILLWARD_ALARMS_HOURS_H

#include "config/config.h"

#include <stdint.h>

/* The first instant at or after `time` within the hours: `time` itself where they run. Without a zone there are no
 * hours, and every instant is within them. An end before the beginning lies on the next day, and so do hours that begin
 * on the evening before. A beginning that the clock skips or shows twice in spring and autumn is taken by its earlier
 * instant. */
int64_t hours_next_open(const struct hours *hours, int64_t time);

/* The first instant after `time` at which the zone's clock shows `minute` of the day. */
int64_t hours_next_minute(const struct zone *zone, int minute, int64_t time);

#endif
