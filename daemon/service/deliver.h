/* SPDX-License-Identifier: MIT */
/* What leaves the house, a turn of the loop at a time: due notices are gathered and begun, with a chart where it is
 * mail; what came of them is written down; the heartbeat is called while all is well. */
#ifndef RILLWARD_SERVICE_DELIVER_H
#define RILLWARD_SERVICE_DELIVER_H

#include "service/heartbeat.h"
#include "service/pipeline.h"

struct deliverer {
    struct notify *notify;
    struct heart heart;
    int64_t due;       /* wall time of the next notice to send */
    size_t in_the_air; /* notices begun and not yet answered */
    bool may_wait;     /* false: nobody will look again soon, so nothing is held to be gathered */
};

/* Begins what is due. In transactions of its own. */
bool deliver_begin(struct deliverer *deliverer, struct pipeline *pipeline, int64_t wall, bool *ret_worked,
                   struct error *error);
/* Writes down what came back. In a transaction of its own. */
bool deliver_collect(struct deliverer *deliverer, struct pipeline *pipeline, int64_t wall, bool *ret_worked,
                     struct error *error);

#endif
