/* SPDX-License-Identifier: MIT */
#include "service/account.h"

#include <pwd.h>
#include <stdlib.h>
#include <unistd.h>

const char *account_name(struct arena *arena)
{
    const char *asked = getenv("SUDO_USER");
    if (asked && *asked)
        return arena_strdup(arena, asked);
    struct passwd entry, *found = NULL;
    char buffer[4096];
    if (getpwuid_r(getuid(), &entry, buffer, sizeof buffer, &found) == 0 && found)
        return arena_strdup(arena, found->pw_name);
    return arena_printf(arena, "account %u", (unsigned)getuid());
}
