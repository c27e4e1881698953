/* SPDX-License-Identifier: MIT */
/* `rillward rebuild`: what can be made again is dropped and made again from originals and notes, to the same bytes.
 *
 * Of each place in one transaction: readings from its originals in the order of their arrival, then values, then the
 * rules over them; after all places the files of the archive. A place with an original that is gone, damaged or not
 * readable by the settings of now stays as it is, and each such original is named. With a lost or damaged database
 * (moved aside) the originals, histories and manifests of the archive come first: they give back drops, notes, and
 * which revisions stand.
 *
 * A SIGINT or SIGTERM ends it between two pieces of work, and a kill at any moment loses no more than the piece; the
 * same command goes on from there. It holds the lock of the state folder: beside a running service it is refused. No
 * notice is sent; what it makes is sent when the service runs. */
#ifndef RILLWARD_SERVICE_REBUILD_H
#define RILLWARD_SERVICE_REBUILD_H

#include "base/error.h"
#include "config/config.h"
#include "store/store.h"

struct rebuild_options {
    char **places; /* ids of stations and barometers; none: all */
    int place_count;
    int64_t now;
    void (*tell)(void *context, const char *path, const char *what);              /* findings: path below the archive */
    void (*progress)(void *context, const char *what, size_t done, size_t total); /* NULL: nobody looks */
    void *context;
};

struct rebuild_report {
    enum store_condition condition; /* of the database as it was found */
    size_t places;                  /* made again */
    size_t kept;                    /* of those asked for: left as they are, because of findings */
    size_t restored;                /* drops that only the archive knew */
    size_t findings;                /* told */
    bool was_stopped;               /* by a signal: the same command goes on */
};

/* False: error filled, CONFIG where another service holds the lock or a place is not configured. */
bool rebuild_run(const struct config *config, const struct rebuild_options *options, struct rebuild_report *ret,
                 struct error *error);

#endif
