/* SPDX-License-Identifier: MIT */
/* history.csv of a place, from the database: what a lost one would take along. */
#ifndef RILLWARD_SERVICE_PUBLISH_HISTORY_H
#define RILLWARD_SERVICE_PUBLISH_HISTORY_H

#include "archive/history.h"
#include "service/pipeline.h"

/* In the arena of the pipeline. A place without drops has none: then drop_count is 0. */
bool publish_history_load(struct pipeline *pipeline, uint32_t place, enum archive_place kind, const char *id,
                          struct history *ret, struct error *error);

#endif
