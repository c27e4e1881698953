/* SPDX-License-Identifier: MIT */
/* Where a command may write what somebody asked for. */
#ifndef RILLWARD_SERVICE_TARGET_H
#define RILLWARD_SERVICE_TARGET_H

#include "base/error.h"
#include "config/config.h"

/* The folder that `target` is to stand in is looked up, links and all. INPUT error where that is inside of inbox,
 * archive or state, which are read only, listed in manifests, and our own. `what` it is, for people: "file". */
bool target_check(const struct config *config, const char *target, const char *what, struct error *error);

#endif
