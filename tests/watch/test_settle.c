/* SPDX-License-Identifier: MIT */
#include "watch/settle.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>

#define WALL (1000 * DAY_MS)
#define SETTLE (5 * SECOND_MS)

struct sample {
    const char *what;
    struct settle_facts facts;
    enum settle_state state;
    int64_t wait;
};

static const struct sample samples[] = {
    {"lay there for long", {.size = 1, .changed = WALL - DAY_MS}, SETTLE_READY, 0},
    {"rested just long enough", {.size = 1, .changed = WALL - SETTLE}, SETTLE_READY, 0},
    {"one millisecond short", {.size = 1, .changed = WALL - SETTLE + 1}, SETTLE_CHANGING, 1},
    {"changed now", {.size = 1, .changed = WALL}, SETTLE_CHANGING, SETTLE},
    {"renamed in, no writer",
     {.size = 1, .changed = WALL, .was_renamed_in = true, .writer = WRITER_NONE},
     SETTLE_READY,
     0},
    {"renamed in, writers unknown",
     {.size = 1, .changed = WALL, .was_renamed_in = true, .writer = WRITER_UNKNOWN},
     SETTLE_CHANGING,
     SETTLE},
    {"renamed in while open",
     {.size = 1, .changed = WALL, .was_renamed_in = true, .writer = WRITER_OPEN},
     SETTLE_OPEN,
     SETTLE},
    {"no writer, but no rename either",
     {.size = 1, .changed = WALL, .writer = WRITER_NONE},
     SETTLE_CHANGING,
     SETTLE},
    {"old, but open", {.size = 1, .changed = WALL - DAY_MS, .writer = WRITER_OPEN}, SETTLE_OPEN, SETTLE},
    {"open for three looks",
     {.size = 1, .changed = WALL - DAY_MS, .writer = WRITER_OPEN, .tries = 3},
     SETTLE_OPEN,
     8 * SETTLE},
    {"open for ever",
     {.size = 1, .changed = WALL - DAY_MS, .writer = WRITER_OPEN, .tries = 4000000000u},
     SETTLE_OPEN,
     10 * MINUTE_MS},
    {"changed in the future, first seen", {.size = 1, .changed = WALL + DAY_MS}, SETTLE_CHANGING, SETTLE},
    {"changed in the future, seen for long enough",
     {.size = 1, .changed = WALL + DAY_MS, .seen_for = SETTLE},
     SETTLE_READY,
     0},
    {"the wall clock jumped ahead after we saw it change",
     {.size = 1, .changed = WALL - DAY_MS, .was_seen_changing = true, .seen_for = 1000},
     SETTLE_CHANGING,
     SETTLE - 1000},
    {"seen changing, then at rest",
     {.size = 1, .changed = WALL - SETTLE, .was_seen_changing = true, .seen_for = SETTLE},
     SETTLE_READY,
     0},
    {"empty", {.size = 0, .changed = WALL - DAY_MS}, SETTLE_EMPTY, TIME_FOREVER},
    {"empty and renamed in",
     {.size = 0, .changed = WALL, .was_renamed_in = true, .writer = WRITER_NONE},
     SETTLE_EMPTY,
     TIME_FOREVER},
    {"placeholder",
     {.size = 1, .changed = WALL - DAY_MS, .is_placeholder = true},
     SETTLE_PLACEHOLDER,
     TIME_FOREVER},
};

Test(settle, judges_by_the_table)
{
    for (size_t i = 0; i < COUNT_OF(samples); i++) {
        struct settle_verdict verdict = settle_judge(&samples[i].facts, WALL, SETTLE);
        cr_expect_eq(verdict.state, samples[i].state, "%s", samples[i].what);
        cr_expect_eq(verdict.wait, samples[i].wait, "%s", samples[i].what);
    }
}

Test(settle, no_settling_time_makes_any_closed_file_ready)
{
    const struct settle_facts facts = {.size = 1, .changed = WALL};
    cr_expect_eq(settle_judge(&facts, WALL, 0).state, SETTLE_READY);
    const struct settle_facts open = {.size = 1, .changed = WALL, .writer = WRITER_OPEN};
    cr_expect_eq(settle_judge(&open, WALL, 0).wait, SECOND_MS);
}

Test(settle, every_wait_has_its_reason)
{
    cr_expect_null(settle_reason(SETTLE_READY));
    for (int state = SETTLE_CHANGING; state <= SETTLE_PLACEHOLDER; state++)
        cr_expect_not_null(settle_reason((enum settle_state)state));
}
