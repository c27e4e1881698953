/* SPDX-License-Identifier: MIT */
/* What is being done right now: a drop that is read, a span that is derived, records that are written. One that ends
 * the process is not tried for ever.
 *
 * A small file in the state folder holds them meanwhile: one entry for the loop, which does one thing at a time, and
 * one for each record that workers are at. It outlives the process and not a power cut, which is nobody's fault: so
 * nothing waits for the disk. What the next start finds there was begun and not ended; that is counted in the database,
 * durably, before anything is done again: with the path of a drop, else as store_unfinished_add() says. */
#ifndef RILLWARD_SERVICE_ATTEMPT_H
#define RILLWARD_SERVICE_ATTEMPT_H

#include "base/error.h"
#include "store/store.h"
#include "watch/watch.h"

#include <stdbool.h>
#include <stddef.h>

enum { ATTEMPTS_MOST = 3 }; /* of a drop; then it is set aside until the file, the settings or the program change */
enum { ATTEMPT_SLOTS = 256 };

struct attempts {
    int fd;              /* -1: nothing is written down */
    bool left_drop;      /* the run before ended while it read */
    bool records_alone;  /* it ended while it wrote: who else was at it is counted, too, so each is written alone */
    bool counts_records; /* some place's were counted: of one that gets through it is forgotten */
};

/* Count what an earlier run began and did not end, tell of it, and open the file. False: nothing to close. */
bool attempts_open(struct attempts *ret, const char *state, struct store *store, uint64_t settings, int64_t now,
                   struct error *error);
void attempts_close(struct attempts *attempts);

/* NULL does nothing in all that follow. A failure to write it down is nobody's business: the worst is a count too few.
 */

/* Around each reading, and each derivation. */
void attempt_begin(const struct attempts *attempts, const struct candidate *candidate);
void attempt_begin_span(const struct attempts *attempts, uint32_t place, struct span span);
void attempt_end(const struct attempts *attempts);

/* Around each large record. Each has a slot of its own meanwhile, from 1; one past the last is not counted. */
void attempt_begin_record(const struct attempts *attempts, size_t slot, uint32_t place);
void attempt_end_record(const struct attempts *attempts, size_t slot);
/* A record got through. In the caller's transaction. */
bool attempt_succeeded(const struct attempts *attempts, struct store *store, uint32_t place, struct error *error);

/* Whether records are written one at a time: until all are done, and none is on its way. */
bool attempts_work_alone(const struct attempts *attempts);
void attempts_rest(struct attempts *attempts);

#endif
