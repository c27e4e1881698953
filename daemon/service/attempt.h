/* SPDX-License-Identifier: MIT */
/* What is being done right now: a drop that is read, a span that is derived, a record that is written. One that ends
 * the process is not tried for ever.
 *
 * Two small files in the state folder hold them meanwhile. They outlive the process and not a power cut, which is
 * nobody's fault: so nothing waits for the disk. What the next start finds there was begun and not ended; that is
 * counted with the path, or with the place, in the database, durably, before anything is done again. */
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

/* The same of the places whose large records are being written. Each record has a slot of its own meanwhile, from 1;
 * one past the last is not counted. Who else was at it when the process ended is counted, too: so after that each is
 * written alone until one gets through. */
enum { ATTEMPT_SLOTS = 256 };
int attempt_open_places(const char *state, struct store *store, uint64_t settings, int64_t now, bool *ret_was_left,
                        struct error *error);
void attempt_begin_place(int fd, size_t slot, uint32_t place);
void attempt_end_place(int fd, size_t slot);

#endif
