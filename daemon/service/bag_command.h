/* SPDX-License-Identifier: MIT */
/* `rillward bag`: a finished month of a station as a package for a repository: its files, the originals that its rows
 * and notes came from, and what the files mean. */
#ifndef RILLWARD_SERVICE_BAG_COMMAND_H
#define RILLWARD_SERVICE_BAG_COMMAND_H

#include "base/error.h"
#include "base/text.h"
#include "config/config.h"

#include <stdbool.h>
#include <stdint.h>

struct bag_options {
    const char *station, *month /* 2026-03 */, *target; /* a folder that is not there yet */
    int64_t now;
};

/* Appends what to print to `ret`. INPUT errors: no such station, month or record; a month that is not over, or whose
 * record is still being made. */
bool bag_command_run(const struct config *config, const struct bag_options *options, struct text *ret,
                     struct error *error);

#endif
