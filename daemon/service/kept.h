/* SPDX-License-Identifier: MIT */
/* Former revisions of records that the settings ask to keep in the archive (archive_revision_path), with the bytes that
 * readers were told of. */
#ifndef RILLWARD_SERVICE_KEPT_H
#define RILLWARD_SERVICE_KEPT_H

#include "archive/archive.h"
#include "service/batch.h"
#include "store/store.h"

/* On a worker's thread, before the files of the month are replaced: what stands there as `revision`, into `batch`, to
 * be written first, so that a cut in between finds one or the other. `known`: fingerprints of what was published, by
 * archive_writers_wanted(). What is not there any more, or was changed by somebody, is not kept. */
void kept_collect(const struct dataset *dataset, uint32_t place, int64_t revision, char known[][SHA256_HEX_SIZE],
                  struct batch_of_files *batch);

/* Whether a kept file may stay: `pages` of its station. */
bool kept_is_wanted(const struct config *config, const char *path, const struct page_fact *pages, size_t n);

#endif
