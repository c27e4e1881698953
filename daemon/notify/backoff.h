/* SPDX-License-Identifier: MIT */
/* When to try again, and when to stop. Pure. */
#ifndef RILLWARD_NOTIFY_BACKOFF_H
#define RILLWARD_NOTIFY_BACKOFF_H

#include <stdbool.h>
#include <stdint.h>

/* ms to wait after `attempts` (from 1) tries failed: 5 s, 30 s, 2 min, 5 min, 15 min, 1 h, then 3 h each,
 * within 20 % either way so that notices put off together do not come back together. The same arguments
 * give the same delay. */
int64_t backoff_delay(int64_t attempts, uint64_t seed);

/* Is a notice from `created` too old at `now` to be tried again? After five days. A clock set back never
 * gives up. */
bool backoff_gives_up(int64_t created, int64_t now);

/* A seed that is the same for every attempt of one notice (FNV-1a). */
uint64_t backoff_seed(const char *uid);

#endif
