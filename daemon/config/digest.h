/* SPDX-License-Identifier: MIT */
/* Digests of settings: FNV-1a, 64 bit, over values. Places, order of files and layout of the YAML do not count. */
#ifndef RILLWARD_CONFIG_DIGEST_H
#define RILLWARD_CONFIG_DIGEST_H

#include "config/config.h"

/* Of all that decides whether and how a drop is read: the network's names, stations with their limits, barometers, what
 * they claim, pairing, layouts, the largest drop. A drop that was set aside is tried again when it changes. */
uint64_t config_digest(const struct config *config);

#endif
