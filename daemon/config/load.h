/* SPDX-License-Identifier: MIT */
/* Loading from memory; config_load() of config.h does the same for a file and its includes. */
#ifndef RILLWARD_CONFIG_LOAD_H
#define RILLWARD_CONFIG_LOAD_H

#include "config/config.h"

/* As config_load(), from bytes that complaints call `name`. An include is refused: memory has no folder. */
struct config *config_load_bytes(const char *name, const char *bytes, size_t length, struct config_problems *problems);

#endif
