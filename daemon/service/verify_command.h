/* SPDX-License-Identifier: MIT */
/* `rillward verify`: whether the database is sound, and the archive what its manifests say. Works beside a running
 * service: manifests that it is about to write are waited for. */
#ifndef RILLWARD_SERVICE_VERIFY_COMMAND_H
#define RILLWARD_SERVICE_VERIFY_COMMAND_H

#include "base/error.h"
#include "config/config.h"

#include <stdbool.h>
#include <stdio.h>

/* Writes each finding to `out` as it is made (of a large archive it takes a while), then how many there were. False
 * where it could not look: the database is damaged or absent, or there is no archive. */
bool verify_command_run(const struct config *config, FILE *out, bool *ret_needs_hand, struct error *error);

#endif
