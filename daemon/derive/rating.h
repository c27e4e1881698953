/* SPDX-License-Identifier: MIT */
/* How good a day's values are: excellent, good, fair or poor, by the size of the corrections for fouling and drift,
 * after USGS Techniques and Methods 1-D3 (science/correction.h). Each sample is rated by the share of the correction
 * that falls on it, whether it was large enough to be applied or not; a day, by the station's standard time, takes its
 * lowest rating. Stretches that no later check closes are not rated.
 *
 * That table does not have the level, and no other scale of four words is published for it. Its days are held against
 * the accuracy that is asked of a stage record (0.01 ft or 0.2 % of the depth, whichever is greater: USGS Office of
 * Surface Water Technical Memorandum 96.05), by the share of the closing error that falls on each sample. */
#ifndef RILLWARD_DERIVE_RATING_H
#define RILLWARD_DERIVE_RATING_H

#include "derive/correct.h"
#include "derive/findings.h"
#include "derive/reference.h"

/* One finding for each rated day and quantity; the words are the same for the same rating. */
void rating_of_days(struct arena *arena, const struct record *record, size_t count,
                    const struct correction *corrections, int64_t utc_offset, struct findings *findings);

/* The same for the level: days between two hand readings of one stay in the water. `deployment` has the rows of the
 * record, which holds a depth; anchors by deployment, then time. */
void rating_of_level_days(struct arena *arena, const struct record *record, const uint32_t *deployment,
                          size_t anchor_count, const struct anchor *anchors, int64_t utc_offset,
                          struct findings *findings);

/* Of one sample with that (corrected) value. */
enum correction_rating rating_of_sample(const struct correction *correction, int64_t time, double value);

#endif
