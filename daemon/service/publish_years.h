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

/* Of the yearly file: rises with that of each of its months; 0 where none is published. */
int64_t publish_years_revision(const struct config *config, const char *station, const char *path,
                               const struct page_fact *pages, size_t n);
/* Of the year that the month lies in; years must be asked for. Returns ret. */
char *publish_years_path(const struct config *config, const char *station, int32_t month, char ret[ARCHIVE_PATH_SIZE]);

/* Whether the settings ask for a yearly file of this path. */
bool publish_years_wants(const struct config *config, const char *station, const char *path);

#endif
