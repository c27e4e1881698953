/* SPDX-License-Identifier: MIT */
/* The logger's clock: its checks, and the true time of each row. */
#ifndef RILLWARD_DERIVE_LOGGER_CLOCK_H
#define RILLWARD_DERIVE_LOGGER_CLOCK_H

#include "base/memory.h"
#include "model/facts.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* True times of rows that the logger stamped `raw` (ascending). The error is linear between two clock checks
 * (NOTE_CLOCK) and constant after the last. Where the logger entered the water without a check within two hours, its
 * clock is taken to have been set right then; the error before that is not drawn towards it. A check whose error is
 * small against the interval (below 30 s and a twentieth of it) counts as no error; an error of CLOCK_SLIP or more is
 * no drift but a wrong zone or a daylight-saving slip, and is never spread over time: that check is left out. Two
 * checks at one visit tell that the clock was set between them. ret ascends strictly. `notes` ascending by time. */
#define CLOCK_SLIP ((int64_t)10 * 60 * 1000)
void logger_clock_correct(struct arena *arena, size_t n, const int64_t *raw, size_t note_count,
                          const struct note *notes, int64_t interval, int64_t *ret_time);

/* Clock checks that are no drift of a crystal, in the order of the notes; in the arena. By clock_judge(): off by a
 * multiple of 15 min, which is a zone or daylight saving; or by more than half an interval, or at more than 100 ppm
 * since the clock was last known. Noted times are rounded to the minute: what is below CLOCK_ROUNDED is no doubt. */
#define CLOCK_ROUNDED ((int64_t)2 * 60 * 1000)
struct clock_doubt {
    int64_t time;  /* true time of the check */
    int64_t error; /* shown less true [ms] */
    bool is_zone;
    bool is_used; /* below CLOCK_SLIP: the rows were moved by it all the same */
};
size_t logger_clock_doubts(struct arena *arena, size_t note_count, const struct note *notes, int64_t interval,
                           struct clock_doubt **ret);

#endif
