/* SPDX-License-Identifier: MIT */
/* Records and pages to the archive.
 *
 * Months are drawn up and written by worker threads ('workers' in the settings) while the owner's thread takes drops,
 * derives and announces: publishing never stands in the way of an alarm. Bytes and revisions are the same for any
 * number of workers. The settings that a pipeline was opened with must live until publisher_close(). */
#ifndef RILLWARD_SERVICE_PUBLISH_H
#define RILLWARD_SERVICE_PUBLISH_H

#include "service/pipeline.h"

struct publisher;

/* Starts the threads. SYSTEM error. */
struct publisher *publisher_open(const struct config *config, struct error *error);
/* Waits for what is on its way; that stays due and is written again, the same, by the next one. NULL is fine. */
void publisher_close(struct publisher *publisher);
/* Give back memory that the next months could use. */
void publisher_trim(struct publisher *publisher);

int publisher_fd(const struct publisher *publisher); /* readable while something may be there to enter */
bool publisher_is_busy(const struct publisher *publisher);
/* Until something may be there to enter; at once where nothing is on its way. */
void publisher_wait(const struct publisher *publisher);

/* Enter the months that were written, and give due ones to the workers; ret_worked false when there was neither. Files
 * first, then the transaction that says so. `with_dirty`: also months that will soon be derived again. */
bool publish_months(struct pipeline *pipeline, struct publisher *publisher, bool with_dirty, bool *ret_worked,
                    struct error *error);

enum published {
    PUBLISHED_NOTHING, /* there were none */
    PUBLISHED_STATIONS,
    PUBLISHED_NETWORK,
    PUBLISHED_NETWORK_LATER, /* the network's own files are due, and nothing else */
};
/* Some due pages and manifests, those of the network last and only `with_network`. Only while no month is due or on its
 * way: they link to the months' files. */
bool publish_pages(struct pipeline *pipeline, struct publisher *publisher, bool with_network, enum published *ret,
                   struct error *error);

#endif
