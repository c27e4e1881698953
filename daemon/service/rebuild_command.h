/* SPDX-License-Identifier: MIT */
/* `rillward rebuild`: runs rebuild.h, tells each finding as it is made and at the end what became of it. */
#ifndef RILLWARD_SERVICE_REBUILD_COMMAND_H
#define RILLWARD_SERVICE_REBUILD_COMMAND_H

#include "base/error.h"
#include "config/config.h"

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

/* `places`: ids; none: all. ret_needs_hand: there were findings, it was stopped, or the database was lost. False as
 * rebuild_run(). */
bool rebuild_command_run(const struct config *config, char **places, int place_count, int64_t now, FILE *out,
                         bool *ret_needs_hand, struct error *error);

#endif
