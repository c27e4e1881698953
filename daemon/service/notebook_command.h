/* SPDX-License-Identifier: MIT */
/* `rillward notebook`: an empty file for a crew's field notes, as a layout of the settings reads it. */
#ifndef RILLWARD_SERVICE_NOTEBOOK_COMMAND_H
#define RILLWARD_SERVICE_NOTEBOOK_COMMAND_H

#include "base/error.h"
#include "base/text.h"
#include "config/config.h"

#include <stdbool.h>

/* Writes `target`, a workbook or CSV by its ending, whole. Appends what to print to `ret`. INPUT error where the layout
 * holds no notes that an empty file can be made for, or the target is of no such kind or in a folder of the service;
 * SYSTEM where it cannot be written. */
bool notebook_command_run(const struct config *config, const char *layout, const char *target, struct text *ret,
                          struct error *error);

#endif
