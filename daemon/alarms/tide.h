/* SPDX-License-Identifier: MIT */
/* The stage of the tide at each sample, from the station's own finished level: rising, falling, near high or near low
 * water. Our own plain method; it predicts nothing, and needs no harmonic constants.
 *
 * Turning points. A high water is a sample that no other within TIDE_TURN_REACH before and behind it exceeds, and that
 * stands TIDE_SMALLEST_RANGE or more above the lowest level of that time on one side at least; low water is its mirror.
 * On one side, because a creek with a sill stands still at its low water for hours. Of equal samples the last is the
 * turning point. So a pond, which moves by centimetres in such a time, has none, nor has a tide that is too small: with
 * two high waters a day one of less than about 0.2 m, with one a day of about 0.75 m. A short flood of a stream makes a
 * high water: ask for tides only where there are some.
 *
 * Stages. Near high (low) water: within TIDE_NEAR of such a point, or behind one while the level has not yet left it by
 * TIDE_STAND. Else falling behind a high water and rising behind a low one, for no longer than TIDE_LONGEST (that of a
 * tide with one high water a day, 12.4 h, and something over).
 *
 * Not known: within TIDE_AHEAD before the newest sample or a pause (a turning point could still show there), before the
 * first turning point behind one, and where the last turning point is older than TIDE_LONGEST. A pause is one of more
 * than TIDE_LONGEST_PAUSE between two levels that count; missing, failed and suspect ones do not.
 *
 * What a sample's stage is made of lies between TIDE_BEHIND before and TIDE_AHEAD_OF_ALL behind it. */
#ifndef RILLWARD_ALARMS_TIDE_H
#define RILLWARD_ALARMS_TIDE_H

#include "base/timestamp.h"
#include "config/config.h"
#include "model/record.h"

#define TIDE_TURN_REACH (3 * HOUR_MS)
#define TIDE_SMALLEST_RANGE 0.10 /* m */
#define TIDE_NEAR HOUR_MS
#define TIDE_STAND 0.03 /* m */
#define TIDE_LONGEST (14 * HOUR_MS)
#define TIDE_LONGEST_PAUSE HOUR_MS
#define TIDE_AHEAD (TIDE_NEAR + TIDE_TURN_REACH)
#define TIDE_AHEAD_OF_ALL (TIDE_AHEAD + TIDE_LONGEST_PAUSE)
#define TIDE_BEHIND (TIDE_LONGEST + TIDE_TURN_REACH + TIDE_LONGEST_PAUSE)

/* One stage (bit of enum tide_stage in config.h) for each row, 0 where it is not known. In the arena. */
const uint8_t *tide_stages(struct arena *arena, const struct record *record);

/* Does the rule ask for a stage? */
bool tide_is_asked(const struct rule *rule);

#endif
