/* SPDX-License-Identifier: MIT */
/* People's decisions: field notes that strike out or restore a stretch of one quantity, or of all, with a
 * reason.
 *
 * They outrank every test. Where two of them disagree about a sample, the one that was written later counts,
 * by arrival of its drop and then by line: not the one whose stretch begins later. So a mistaken strike is
 * taken back by a restore of the same stretch, whatever either begins with. */
#ifndef RILLWARD_DERIVE_DECISION_H
#define RILLWARD_DERIVE_DECISION_H

#include "base/memory.h"
#include "model/facts.h"
#include "model/record.h"

struct decisions {
    const struct note **list; /* in the order in which they were written */
    size_t count;
};

/* Those among the notes. In the arena, pointing into `notes`. */
struct decisions decisions_find(struct arena *arena, size_t note_count, const struct note *notes);

/* Struck values fail, restored ones pass; the mask tells the last decision only, beside the tests that
 * objected. What has no value stays missing. Doing it twice changes nothing. */
void decisions_apply(const struct decisions *decisions, struct record *record);

/* The one in force for the quantity at `time`; NULL without one. */
const struct note *decision_at(const struct decisions *decisions, enum quantity quantity, int64_t time);

#endif
