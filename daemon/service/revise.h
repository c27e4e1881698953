/* SPDX-License-Identifier: MIT */
/* What a revision of a record changed, and why: on a worker's thread, without the database. */
#ifndef RILLWARD_SERVICE_REVISE_H
#define RILLWARD_SERVICE_REVISE_H

#include "archive/archive.h"
#include "store/store.h"

/* What a record is made of, one line each, for changes_of_facts(): program, settings, drops, notes, barometers,
 * reviews. In the arena. */
const char *revise_facts(const struct dataset *dataset, struct arena *arena);

/* Lines for people. `page` is of what was published before, `csv` is what will be, known_sha256 of what stands there.
 * Values are compared only where that stands untouched: elsewise it says that they were not. What stood there is kept
 * in the state folder until revise_forget(), so that a revision that was cut off tells the same when it is made again.
 * In the arena. */
const char *revise_changes(const struct dataset *dataset, const struct page_fact *page, const struct archive_file *csv,
                           const char *known_sha256, struct arena *arena);

/* The revision of the file `path` of the archive stands in the database. */
void revise_forget(const struct config *config, const char *path);

enum { REVISE_HISTORY_MAX = 20 }; /* revisions that a record tells of */

/* `history` and one line more: "revision 2: 3 rows came; ...", changes without their line ends, the first ones where
 * there are many. Nothing more where nothing was told. In the arena. */
const char *revise_history(const char *history, int64_t revision, const char *changes, struct arena *arena);

#endif
