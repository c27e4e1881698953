/* SPDX-License-Identifier: MIT */
/* What the logger of a station runs out of, and when (alarms/supply.h), from field notes, readings and settings.
 *
 * Memory counts from the note that the logger was put in (in_water, instrument), and where there is none, from the
 * visit. The battery is as old as the newest note of it (battery, instrument), and where there is none, as the first
 * reading. */
#ifndef RILLWARD_SERVICE_SUPPLIES_H
#define RILLWARD_SERVICE_SUPPLIES_H

#include "service/pipeline.h"

/* Do the settings say of anything that it runs out? */
bool supplies_are_known(const struct station *station);

/* Between a visit and the next (TIME_NONE: none yet), by all that is known of that time now. */
bool supplies_between(struct pipeline *pipeline, size_t station, int64_t visit, int64_t next, struct supply *ret,
                      struct error *error);
/* Since the newest visit. Remembered until the station's values change, as every page and every look at the time asks
 * for it. Without a visit nothing is known. */
bool supplies_now(struct pipeline *pipeline, size_t station, struct supply *ret, struct error *error);

/* The place's values changed: what is remembered of it is void. */
void supplies_forget(struct pipeline *pipeline, const char *id);
void supplies_done(struct pipeline *pipeline);

#endif
