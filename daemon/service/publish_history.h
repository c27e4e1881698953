/* SPDX-License-Identifier: MIT */
/* history.csv of a place, from the database. */
#ifndef RILLWARD_SERVICE_PUBLISH_HISTORY_H
#define RILLWARD_SERVICE_PUBLISH_HISTORY_H

#include "service/batch.h"

/* What a lost database would take along, into the batch. A place without drops has none. */
bool publish_history(struct pipeline *pipeline, uint32_t place, enum archive_place kind, const char *id,
                     struct batch_of_files *batch, struct error *error);

#endif
