/* SPDX-License-Identifier: MIT */
/* Which drop is being read, or which span derived, right now: one that ends the process is not tried for ever.
 *
 * A small file in the state folder holds the drop while it is read. It outlives the process and not a power cut, which
 * is no drop's fault: so nothing waits for the disk. What the next start finds there was begun and not ended; that is
 * counted with the path in the database, durably, before anything is read again. */
#ifndef RILLWARD_SERVICE_ATTEMPT_H
#define RILLWARD_SERVICE_ATTEMPT_H

#include "base/error.h"
#include "store/store.h"
#include "watch/watch.h"

enum { ATTEMPTS_MOST = 3 }; /* then it is set aside until the file, the settings or the program change */

/* Count what an earlier run began and did not end (ret_was_left), and open the file. The caller closes the descriptor;
 * -1: failed. */
int attempt_open(const char *state, struct store *store, uint64_t settings, int64_t now, bool *ret_was_left,
                 struct error *error);

/* The same around a derivation. What it leaves behind is counted with the span (store_ended_add). */
void attempt_begin_span(int fd, uint32_t place, struct span span);

/* Around each reading; `fd` -1 does nothing. Failures are nobody's business: the worst is a count too few. */
void attempt_begin(int fd, const struct candidate *candidate);
void attempt_end(int fd);

#endif
