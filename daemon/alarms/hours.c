/* SPDX-License-Identifier: MIT */
#include "alarms/hours.h"

#include "base/timestamp.h"
#include "base/zone.h"

enum { MONDAY_OF_1970 = 3 }; /* 1970 began on a Thursday */

static int64_t local_day(const struct zone *zone, int64_t time);
static int64_t instant(const struct zone *zone, int64_t day, int minute);

int64_t hours_next_open(const struct hours *hours, int64_t time)
{
    if (!hours->zone)
        return time;
    int64_t today = local_day(hours->zone, time);
    for (int64_t day = today - 1; day <= today + 8; day++) {
        int weekday = (int)(((day + MONDAY_OF_1970) % 7 + 7) % 7);
        if (!(hours->days >> weekday & 1))
            continue;
        bool is_over_midnight = hours->to <= hours->from;
        int64_t from = instant(hours->zone, day, hours->from);
        int64_t to = instant(hours->zone, day + is_over_midnight, hours->to);
        if (time < to)
            return time > from ? time : from;
    }
    return time; /* no day at all: better told than never */
}

int64_t hours_next_minute(const struct zone *zone, int minute, int64_t time)
{
    int64_t day = local_day(zone, time) - 1, next;
    do
        next = instant(zone, day++, minute);
    while (next <= time);
    return next;
}

static int64_t local_day(const struct zone *zone, int64_t time)
{
    return timestamp_floor(time + zone_offset(zone, time), DAY_MS) / DAY_MS;
}

static int64_t instant(const struct zone *zone, int64_t day, int minute)
{
    int64_t both[2];
    zone_to_utc(zone, day * DAY_MS + minute * MINUTE_MS, both);
    return both[0] < both[1] ? both[0] : both[1];
}
