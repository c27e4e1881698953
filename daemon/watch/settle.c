/* SPDX-License-Identifier: MIT */
#include "watch/settle.h"

#include "base/timestamp.h"

#include <stddef.h>

#define LONGEST_WAIT (10 * MINUTE_MS)

static int64_t quiet_time(const struct settle_facts *facts, int64_t wall);
static int64_t writer_wait(int64_t settle_ms, unsigned tries);

struct settle_verdict settle_judge(const struct settle_facts *facts, int64_t wall, int64_t settle_ms)
{
    if (facts->is_placeholder)
        return (struct settle_verdict){.state = SETTLE_PLACEHOLDER, .wait = TIME_FOREVER};
    if (facts->size == 0)
        return (struct settle_verdict){.state = SETTLE_EMPTY, .wait = TIME_FOREVER};
    if (facts->writer == WRITER_OPEN)
        return (struct settle_verdict){.state = SETTLE_OPEN, .wait = writer_wait(settle_ms, facts->tries)};
    int64_t quiet = quiet_time(facts, wall);
    if (quiet >= settle_ms || (facts->was_renamed_in && facts->writer == WRITER_NONE))
        return (struct settle_verdict){.state = SETTLE_READY, .wait = 0};
    return (struct settle_verdict){.state = SETTLE_CHANGING, .wait = settle_ms - quiet};
}

const char *settle_reason(enum settle_state state)
{
    switch (state) {
    case SETTLE_READY:
        return NULL;
    case SETTLE_CHANGING:
        return "still changing";
    case SETTLE_OPEN:
        return "open by a writer";
    case SETTLE_EMPTY:
        return "empty";
    case SETTLE_PLACEHOLDER:
        return "placeholder: the file is not downloaded";
    }
    return NULL;
}

static int64_t quiet_time(const struct settle_facts *facts, int64_t wall)
{
    int64_t by_wall = wall - facts->changed;
    if (by_wall < 0)
        return facts->seen_for;
    return facts->was_seen_changing && facts->seen_for < by_wall ? facts->seen_for : by_wall;
}

static int64_t writer_wait(int64_t settle_ms, unsigned tries)
{
    int64_t wait = settle_ms > SECOND_MS ? settle_ms : SECOND_MS;
    for (unsigned i = 0; i < tries && wait < LONGEST_WAIT; i++)
        wait *= 2;
    return wait < LONGEST_WAIT ? wait : LONGEST_WAIT;
}
