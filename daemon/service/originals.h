/* SPDX-License-Identifier: MIT */
/* What the archive alone still knows: originals, manifests and histories, for a database that knows less. */
#ifndef RILLWARD_SERVICE_ORIGINALS_H
#define RILLWARD_SERVICE_ORIGINALS_H

#include "archive/archive.h"
#include "service/pipeline.h"

/* One folder of the archive. */
struct archive_owner {
    enum archive_place kind;
    const char *id;
    uint32_t place; /* 0: the network */
};

/* An original that the database does not know. */
struct unknown_original {
    struct drop_fact_row drop; /* number 0: not known either */
    bool is_listed;            /* in the history; else name and time of arrival are guessed */
};

/* Hears what a person should know: `path` below the archive. */
struct teller_of_findings {
    void (*tell)(void *context, const char *path, const char *what);
    void *context;
};

/* Adds to `list` (x_grow) what stands in the owner's folder and is unknown. All text in `arena`. */
bool originals_find(struct pipeline *pipeline, const struct archive_owner *owner, struct arena *arena,
                    struct unknown_original **list, size_t *n, const struct teller_of_findings *findings,
                    struct error *error);

/* What the owner's manifest and history say was published, into a database that does not know it; within a transaction.
 * Only files that are as the manifest says count. */
bool originals_restore_products(struct pipeline *pipeline, const struct archive_owner *owner,
                                const struct teller_of_findings *findings, struct error *error);

/* Bytes of an original, which must have this fingerprint. free() them. INPUT error where it has another or is gone. */
bool originals_read(const struct pipeline *pipeline, const struct drop_fact_row *drop, char **ret_bytes,
                    size_t *ret_length, struct error *error);

/* The owner's folder below the archive, without a slash at its end. */
char *originals_folder(const struct archive_owner *owner, char ret[ARCHIVE_PATH_SIZE]);

#endif
