/* SPDX-License-Identifier: MIT */
/* What people have reviewed stays as they saw it: a later fact, another setting or formula changes nothing there, but
 * is held, and asks for a hand, until a person says so again. */
#ifndef RILLWARD_SERVICE_REVIEW_H
#define RILLWARD_SERVICE_REVIEW_H

#include "service/pipeline.h"

/* A person's word on a station and span: reviewed, or provisional again. It holds for the rows that there are: the span
 * is cut to the data, if any came yet, and review->span says so; without any row it does nothing, with span.from ==
 * span.to. Within a transaction. INPUT error for a missing or overlong name or reason. */
bool review_say(struct store *store, struct arena *arena, const char *station, struct review_fact *review,
                struct error *error);

/* What a note of kind 'reviewed' says: "name: reason". */
bool review_say_note(struct pipeline *pipeline, size_t station, const struct note *note, int64_t now,
                     struct error *error);

/* Behind the derived rows of `span`, which stand in the store: those that a review is new of are kept; where other rows
 * are kept, these take their place again, and the difference is held. */
bool review_keep(struct pipeline *pipeline, uint32_t place, struct span span, struct error *error);

/* The state of the rows of a record; spans ascending. */
enum record_state review_state(const struct record *record, const struct reviewed_span *spans, size_t n);

#endif
