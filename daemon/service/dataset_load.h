/* SPDX-License-Identifier: MIT */
/* All that a station's month is made of, from the store; between the files of service/. */
#ifndef RILLWARD_SERVICE_DATASET_LOAD_H
#define RILLWARD_SERVICE_DATASET_LOAD_H

#include "archive/dataset.h"
#include "service/pipeline.h"

/* `station` is an index in the settings, `month` as in page_fact. Without finished values ret->record.n is 0 and the
 * rest need not be there. Everything lives in `arena`, but for the settings; the revision is the caller's to set. */
bool dataset_load(struct pipeline *pipeline, size_t station, int32_t month, struct arena *arena, struct dataset *ret,
                  struct error *error);

/* The same of the twelve months from `month` on. */
bool dataset_load_year(struct pipeline *pipeline, size_t station, int32_t month, struct arena *arena,
                       struct dataset *ret, struct error *error);

#endif
