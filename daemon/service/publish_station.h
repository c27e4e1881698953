/* SPDX-License-Identifier: MIT */
/* What a station's page and its field sheet show, from the database. */
#ifndef RILLWARD_SERVICE_PUBLISH_STATION_H
#define RILLWARD_SERVICE_PUBLISH_STATION_H

#include "archive/page.h"
#include "service/month_facts.h"
#include "service/pipeline.h"

/* What stands in the archive of a station. */
struct station_files {
    const struct file_fact *files; /* by path; those that the settings ask for */
    size_t file_count;
    const struct page_fact *months; /* ascending */
    size_t month_count;
};

/* All but `years` of *ret. Everything is in the arena of the pipeline or was passed in, and nothing changes any more
 * while that lives: a worker may draw it. What is
 * `known` of the newest month stands for its rows. */
bool publish_station_load(struct pipeline *pipeline, size_t station, const struct station_files *stand,
                          struct known_months *known, struct page_station *ret, struct error *error);

#endif
