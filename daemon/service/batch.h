/* SPDX-License-Identifier: MIT */
/* Files of the archive that are written together; between the files of service/ that publish. */
#ifndef RILLWARD_SERVICE_BATCH_H
#define RILLWARD_SERVICE_BATCH_H

#include "archive/archive.h"
#include "service/pipeline.h"

struct batch_of_files {
    struct archive_file *files; /* moves when one is added */
    uint32_t *places;           /* whose they are; 0: the network's */
    size_t count, capacity;
};

/* Empty, at the end of the batch; valid until the next one is added. A manifest belongs after what it lists. */
struct archive_file *batch_add(struct batch_of_files *batch, const char *path, uint32_t place);
/* The last one was not to be written after all. */
void batch_drop_last(struct batch_of_files *batch);
/* NULL where the batch does not hold the path. */
const struct archive_file *batch_find(const struct batch_of_files *batch, const char *path);
/* Puts the files of `more` behind; it is empty then. */
void batch_join(struct batch_of_files *batch, struct batch_of_files *more);
/* Appends the manifest over all files of the batch and over `files`, by path, that it does not write again; but for
 * `own`, the manifest's own path below the archive, whose folder the lines are relative to. Nothing where there are no
 * files. */
void batch_list(struct batch_of_files *batch, const struct file_fact *files, size_t n, const char *own,
                struct text *ret);
void batch_done(struct batch_of_files *batch);

/* Whether we wrote something under that path. */
bool batch_is_known(struct pipeline *pipeline, const char *path, bool *ret, struct error *error);
/* Fingerprint of what we wrote under that path last; "" where we did not. */
bool batch_look_up(struct pipeline *pipeline, const char *path, char ret[SHA256_HEX_SIZE], struct error *error);
/* To disk, but for what stands there already. */
bool batch_write(struct pipeline *pipeline, struct batch_of_files *batch, struct error *error);
/* Within a transaction: what stands in the archive now. */
bool batch_put_facts(struct pipeline *pipeline, const struct batch_of_files *batch, struct error *error);

#endif
