/* SPDX-License-Identifier: MIT */
/* No step in the level where one barometer takes over from another.
 *
 * Two barometers differ a little: by their calibration, their distance, the air between their elevations. Where a
 * preferred one ends, the next begins at its level: what they differ by there (the median over HAND_OVER_LOOK of the
 * preferred one's last readings) is added, and fades out linearly over the time set. Where the preferred one is back,
 * the same runs backwards. A pause that is shorter than two such times is bridged by a straight line between both
 * differences. The preferred one itself is never changed. Where the two never stood side by side there is nothing to go
 * by, and the step stays. Pure: a sample's answer depends on the barometers' readings alone, not on the samples beside
 * it. */
#ifndef RILLWARD_DERIVE_HAND_OVER_H
#define RILLWARD_DERIVE_HAND_OVER_H

#include "derive/air.h"

#define HAND_OVER_LOOK ((int64_t)3600 * 1000)

struct hand_over_input {
    size_t source_count;
    const struct air_source *sources;
    double elevation, gravity;
    int64_t largest_gap; /* as for air_pressure_at() */
    int64_t fade;        /* ms; 0: nothing is done */
};

/* ret_shift[i]: what to add to the air pressure of row i [Pa], 0 where its barometer is the preferred one. `barometer`
 * as from air_pressure_at(). How far from a row readings may act: hand_over_reach(). */
void hand_over_shifts(const struct hand_over_input *input, size_t n, const int64_t *time, const uint32_t *barometer,
                      double *ret_shift);
int64_t hand_over_reach(int64_t fade);

#endif
