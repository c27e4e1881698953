/* SPDX-License-Identifier: MIT */
/* One turn of the loop at the inbox: a batch of drops, each by pipeline_take(), made durable together. A drop that
 * fails is given back and waits alone; the rest of its batch stands. */
#ifndef RILLWARD_SERVICE_TAKER_H
#define RILLWARD_SERVICE_TAKER_H

#include "base/error.h"
#include "service/held.h"
#include "service/metrics.h"
#include "service/pipeline.h"
#include "watch/watch.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct clocks {
    int64_t wall, disk_wall; /* ms UTC: for facts; for times of files */
    int64_t monotonic;       /* ms */
    int64_t shift;           /* wall - disk_wall: not 0 where the wall clock is held for a rehearsal */
};
/* All but `shift`, which says what they are. */
void clocks_read(struct clocks *clocks);

struct taker {
    struct held held;
    int64_t took_since; /* monotonic: first of the turns in a row that took drops; 0: the last one took none */
    bool is_careful;    /* an earlier run ended while it read: each drop is committed alone until the inbox is quiet */
};
void taker_done(struct taker *taker);

/* At most a fifth of a second and 64 drops, in one transaction. Reads the clocks between drops, and counts into `run`.
 * ret_count: drops about which there was anything new. False: nothing of the turn counts as taken, the inbox is looked
 * through again, and the machine is in the way. */
bool taker_turn(struct taker *taker, struct pipeline *pipeline, struct watch *watch, struct clocks *clocks,
                struct metrics_run *run, size_t *ret_count, struct error *error);

#endif
