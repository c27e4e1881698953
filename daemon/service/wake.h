/* SPDX-License-Identifier: MIT */
/* A bell in the state folder: a command that changed something rings it, and the service that sleeps there looks at
 * once. A named pipe; what is read from it means nothing. Where nobody sleeps, ringing does nothing, and a service that
 * starts looks by itself. */
#ifndef RILLWARD_SERVICE_WAKE_H
#define RILLWARD_SERVICE_WAKE_H

#include "base/error.h"

/* The service's end, non-blocking, readable when somebody rang; -1 with a SYSTEM error. close(2) it. */
int wake_open(const char *folder, struct error *error);
void wake_clear(int fd);
void wake_ring(const char *folder);

#endif
