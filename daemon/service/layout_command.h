/* SPDX-License-Identifier: MIT */
/* `rillward layout FILE...`: a layout drafted for files never seen, and what it makes of them. */
#ifndef RILLWARD_SERVICE_LAYOUT_COMMAND_H
#define RILLWARD_SERVICE_LAYOUT_COMMAND_H

#include "base/error.h"
#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { LAYOUT_LARGEST_FILE = 64 * 1024 * 1024 /* as the settings have it for drops */ };

/* Draft a layout from the files. `ret` gets YAML that the settings take, with its questions, and as further comments
 * what the draft reads in each file of readings, so that a wrong unit or date is seen at once. `now`: ms UTC. False
 * with an INPUT error where no table is found, SYSTEM where a file cannot be read. */
bool layout_command_run(char *const *paths, size_t count, int64_t now, struct text *ret, bool *ret_has_questions,
                        struct error *error);

#endif
