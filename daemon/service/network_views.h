/* SPDX-License-Identifier: MIT */
/* Stations as the network sees them, kept in memory between two writings of its files: of ten thousand stations only
 * those whose pages were written since are read again. */
#ifndef RILLWARD_SERVICE_NETWORK_VIEWS_H
#define RILLWARD_SERVICE_NETWORK_VIEWS_H

#include "archive/network_json.h"
#include "service/pipeline.h"

/* One station as it is in the database now, its alarms left out. In the arena. */
bool network_view_load(struct pipeline *pipeline, size_t station, struct arena *arena, struct network_station *ret,
                       struct error *error);

/* All stations of the settings. `alarms`: the open ones, those of one station in one stretch; the views point to them.
 * *ret_stations and *ret_has_page (whether the station's page stands) are the pipeline's, and valid until the next call
 * of these functions. */
bool network_views_refresh(struct pipeline *pipeline, const struct alarm *alarms, size_t alarm_count,
                           const struct network_station **ret_stations, const bool **ret_has_page, struct error *error);

/* The view that a station's page, which stands now, was drawn with, so that it need not be read again. Copied, its
 * alarms left out. */
void network_views_keep(struct pipeline *pipeline, size_t station, const struct network_station *view);
/* What is known of the place has changed: whoever makes its page due says so by that, and whoever writes the page calls
 * this. */
void network_views_forget(struct pipeline *pipeline, uint32_t place);

/* NULL is fine. */
void network_views_free(struct network_views *views);

#endif
