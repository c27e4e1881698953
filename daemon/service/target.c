/* SPDX-License-Identifier: MIT */
#include "service/target.h"

#include "base/memory.h"
#include "config/path.h"

#include <stdlib.h>
#include <string.h>

bool target_check(const struct config *config, const char *target, const char *what, struct error *error)
{
    const char *const own[] = {config->inbox, config->archive, config->state}, *end = strrchr(target, '/');
    CLEANUP(cleanup_free) char *folder = end ? x_strndup(target, (size_t)(end - target) + 1) : x_strdup(".");
    CLEANUP(cleanup_free) char *real = realpath(folder, NULL);
    for (size_t i = 0; real && i < COUNT_OF(own); i++) {
        CLEANUP(cleanup_free) char *other = realpath(own[i], NULL);
        if (other && path_is_inside(real, other))
            return fail(error, ERROR_INPUT, "name a %s outside of inbox, archive and state, not '%.200s'", what,
                        target);
    }
    return true;
}
