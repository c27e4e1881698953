/* SPDX-License-Identifier: MIT */
/* Never a flood: which of the notices that are ready for one recipient go out alone, wait, or are told together. Pure.
 *
 * In this order, where `gather` 0 leaves only 2, 3, and 5 for what a flood held back:
 * 1. Of one alarm only the last word is sent; it says all that an earlier one would have said.
 * 2. Outside the recipient's hours all but high priority waits for them to begin.
 * 3. Flood (ISA-18.2, IEC 62682): begins with more than 10 new alarms in 10 min, ends with fewer than 5 in 10 min.
 * While it lasts, everything that is ready goes into one summary every 10 min; where a new alarm of high priority is
 * ready, after 1 min.
 * 4. New alarms of one rule are one message. One more within `gather` of the last such message waits until that time is
 *    over, so that what comes by and by is gathered too.
 * 5. More than 4 messages at once (after a night, or after a receiver was down) are one summary. */
#ifndef RILLWARD_ALARMS_GATHER_H
#define RILLWARD_ALARMS_GATHER_H

#include "base/memory.h"
#include "config/config.h"
#include "model/facts.h"

#include <stddef.h>

enum { FLOOD_BEGINS = 10, FLOOD_ENDS = 5, MESSAGES_AT_ONCE = 4 };
#define FLOOD_WINDOW (INT64_C(600000)) /* ms */

struct gather_item {
    int64_t alarm;
    const char *rule;
    enum notice_event event;
    enum priority priority;
    int64_t last_of_rule; /* when the last message about new alarms of the rule was sent; TIME_NONE: long ago */
};

struct gather_input {
    const struct gather_item *items; /* ready, of one recipient, oldest first */
    size_t n;
    const struct hours *hours;
    int64_t gather;        /* ms; 0: every notice is a message of its own, but for a flood */
    int64_t raised_lately; /* new alarms of this recipient in the last FLOOD_WINDOW, these included */
    int64_t flood_since;   /* TIME_NONE: no flood so far */
    int64_t summary_at;    /* last summary of the flood; TIME_NONE */
    int64_t now;
};

enum gather_fate {
    GATHER_SEND,     /* alone, now */
    GATHER_BY_LATER, /* told by the later one of the same alarm: `with` is its index */
    GATHER_HOLD,     /* until `until` */
    GATHER_GROUP,    /* with those of the same number in `with` */
    GATHER_SUMMARY,
};

struct gather_plan {
    enum gather_fate *fates; /* of each item */
    size_t *with;
    int64_t *until;
    size_t group_count;
    bool is_flood;                   /* why there is a summary, where there is one */
    int64_t flood_since, summary_at; /* to be kept for the next time */
};

struct gather_plan gather_plan(struct arena *arena, const struct gather_input *input);

#endif
