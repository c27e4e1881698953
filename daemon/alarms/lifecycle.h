/* SPDX-License-Identifier: MIT */
/* An alarm's life with people, as one table: (state, event) -> (next state, what to announce).
 *
 * Words of IEC 62682 / ISA-18.2. Pure: who stores the state and who sends the notice is not known here. The
 * table is whole: each event is legal in each state, and one that means nothing there changes and announces
 * nothing, so that a late, doubled or crossed event never loses or sticks an alarm. A caller that wants to
 * tell a person "there is nothing to acknowledge" compares the next state with the present one.
 *
 *                RAISED,    UPDATED    RETURNED      WITHDRAWN   ACKNOW-   SHELVED   UNSHELVED
 *                RECURRED                                        LEDGED
 * unacknowledged .          . !updated ret.una. !ret withdr. !wd acknowl.  shelved   .
 * acknowledged   .          . !updated normal !ret   withdr. !wd .         shelved   .
 * ret. unackn.   unack. !ra .          .             withdr. !wd normal    .         .
 * normal         unack. !ra .          .             withdr. !wd .         .         .
 * shelved        .          .          normal        withdr. !wd acknowl.  .         unack. !updated
 * withdrawn      unack. !ra .          .             .           .         .         .
 *
 * '.' stays as it is; '!' announces (raised, updated, returned, withdrawn).
 *
 * Choices: growth is announced only while the alarm is active. A shelved alarm is quiet when it grows or
 * returns, because a person asked for that; that it never was so is told all the same, because somebody may
 * have acted on it. When the time on the shelf is over and it is still active, it needs an answer again. */
#ifndef RILLWARD_ALARMS_LIFECYCLE_H
#define RILLWARD_ALARMS_LIFECYCLE_H

#include "model/facts.h"

enum alarm_event {
    ALARM_EVENT_RAISED,       /* an episode not known before; a new alarm begins from ALARM_NORMAL */
    ALARM_EVENT_UPDATED,      /* the worst value grew noticeably */
    ALARM_EVENT_RETURNED,     /* the episode ended */
    ALARM_EVENT_RECURRED,     /* withdrawn or ended by an earlier version of the data, and now so after all */
    ALARM_EVENT_WITHDRAWN,    /* later knowledge: it never was so */
    ALARM_EVENT_ACKNOWLEDGED, /* a person has seen it */
    ALARM_EVENT_SHELVED,      /* a person puts it aside for a time, with a reason */
    ALARM_EVENT_UNSHELVED,    /* the time is over, or a person takes it back */
    ALARM_EVENT_COUNT
};

#define ANNOUNCE_NOTHING NOTICE_EVENT_COUNT

struct step {
    enum alarm_state next;
    enum notice_event announce; /* ANNOUNCE_NOTHING: nobody is told */
};

struct step lifecycle_step(enum alarm_state state, enum alarm_event event);

/* The step written into an alarm: its state and `changed`; where it is announced, `sequence` and `told` too; and since
 * when people are asked to answer: from when it became unacknowledged, or was raised anew, until it is so no more.
 * lifecycle_settle does all but the step, for a caller that puts several steps or none into one change. */
enum notice_event lifecycle_take(struct alarm *alarm, enum alarm_event event, int64_t now);
void lifecycle_settle(struct alarm *alarm, enum notice_event announced, int64_t now);

/* Active: the condition still holds as far as the data go (unacknowledged, acknowledged or shelved). */
bool lifecycle_is_active(enum alarm_state state);

#endif
