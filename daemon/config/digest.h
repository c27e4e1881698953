/* SPDX-License-Identifier: MIT */
/* Digests of settings: FNV-1a, 64 bit, over values. Places, order of files and layout of the YAML do not count. */
#ifndef RILLWARD_CONFIG_DIGEST_H
#define RILLWARD_CONFIG_DIGEST_H

#include "config/config.h"

/* Of the network's names, all stations with their limits, barometers, pairing and layouts. */
uint64_t config_digest(const struct config *config);

#endif
