/* SPDX-License-Identifier: MIT */
/* How good a day's values are: excellent, good, fair or poor, by the size of the corrections for fouling and drift,
 * after USGS Techniques and Methods 1-D3 (science/correction.h). Each sample is rated by the share of the correction
 * that falls on it, whether it was large enough to be applied or not; a day, by the station's standard time, takes its
 * lowest rating. Stretches that no later check closes are not rated, and neither is the level, which that table does
 * not have. */
#ifndef RILLWARD_DERIVE_RATING_H
#define RILLWARD_DERIVE_RATING_H

#include "derive/correct.h"
#include "derive/findings.h"

/* One finding for each rated day and quantity; the words are the same for the same rating. */
void rating_of_days(struct arena *arena, const struct record *record, size_t count,
                    const struct correction *corrections, int64_t utc_offset, struct findings *findings);

/* Of one sample with that (corrected) value. */
enum correction_rating rating_of_sample(const struct correction *correction, int64_t time, double value);

#endif
