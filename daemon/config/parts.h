/* SPDX-License-Identifier: MIT */
/* Several services over one inbox: each has the stations of its part, and knows those of the others by name. */
#ifndef RILLWARD_CONFIG_PARTS_H
#define RILLWARD_CONFIG_PARTS_H

#include "config/config.h"

/* Complain of stations that no part has, of parts without a station, of neighbours in different parts, and of a `part`
 * that is missing or unknown. `where`: of the key `part`. */
void parts_check(const struct config *config, struct place where, struct config_problems *problems);

/* Of sound settings: stations of other parts go to `elsewhere`; archive, address and id of the network become this
 * part's own. Nothing where there are no parts. */
void parts_divide(struct config *config);

/* The part that has a station; NULL where none has. */
const struct network_part *parts_of_station(const struct config *config, const char *station);

/* Drops that nobody can read or place are the first part's to tell of, so that people hear of each once. */
bool parts_keeps_rest(const struct config *config);

#endif
