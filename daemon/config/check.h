/* SPDX-License-Identifier: MIT */
/* Rules across sections: what can only be seen once everything is read. */
#ifndef RILLWARD_CONFIG_CHECK_H
#define RILLWARD_CONFIG_CHECK_H

#include "config/config.h"

/* Places of top-level values that the config itself does not keep; those of missing ones are never cited. */
struct top_places {
    const char *main_file;
    struct place url, inbox, archive, state, metrics, part;
};

/* Complain about everything that does not fit together. Stations, barometers, ... are in their arrays; fields whose
 * value was wrong have been complained of and may be NULL, NaN or 0. */
void config_check(const struct config *config, const struct top_places *places, struct config_problems *problems);

#endif
