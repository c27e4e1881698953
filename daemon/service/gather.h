/* SPDX-License-Identifier: MIT */
/* Before notices are sent: what waits for a recipient's hours, what is told together, one summary in place of a flood.
 */
#ifndef RILLWARD_SERVICE_GATHER_H
#define RILLWARD_SERVICE_GATHER_H

#include "service/tell.h"

/* May a notice to this recipient begin now? One in the air is left alone. */
struct gather_room {
    bool (*has_room)(const void *context, const char *recipient);
    const void *context;
};

/* In transactions of its own, where there is anything to change. `may_wait`: false where nobody will look again soon.
 */
bool gather_notices(const struct teller *teller, const struct gather_room *room, bool may_wait, int64_t now,
                    struct error *error);

#endif
