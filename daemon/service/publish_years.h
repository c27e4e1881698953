/* SPDX-License-Identifier: MIT */
/* Files of whole years, where the settings ask for them: written again when a month of theirs got another revision. */
#ifndef RILLWARD_SERVICE_PUBLISH_YEARS_H
#define RILLWARD_SERVICE_PUBLISH_YEARS_H

#include "service/batch.h"

/* A yearly file that a batch holds, and what to enter when it stands. */
struct year_due {
    const char *path, *records;
};

/* Add to the batch what is behind: at most one for each year of `pages`, the station's months in order. *ret in the
 * arena of the pipeline. */
bool publish_years(struct pipeline *pipeline, size_t station, const struct page_fact *pages, size_t n,
                   struct batch_of_files *batch, struct year_due **ret, size_t *ret_n, struct error *error);

/* Whether the settings ask for a yearly file of this path. */
bool publish_years_wants(const struct config *config, const char *station, const char *path);

#endif
