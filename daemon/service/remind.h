/* SPDX-License-Identifier: MIT */
/* Reminders of alarms that nobody answered, and passing them on. In the caller's transaction. */
#ifndef RILLWARD_SERVICE_REMIND_H
#define RILLWARD_SERVICE_REMIND_H

#include "service/tell.h"

/* Put what is due into the outbox; ret_next: when to look again if nothing changes, TIME_FOREVER. */
bool remind_people(const struct teller *teller, int64_t now, int64_t *ret_next, struct error *error);

#endif
