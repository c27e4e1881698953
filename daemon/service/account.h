/* SPDX-License-Identifier: MIT */
/* Who runs a command, where nobody says who answers. */
#ifndef RILLWARD_SERVICE_ACCOUNT_H
#define RILLWARD_SERVICE_ACCOUNT_H

#include "base/memory.h"

/* Who asked root to do it, where somebody did; else the account's name, or its number. In the arena. */
const char *account_name(struct arena *arena);

#endif
