/* SPDX-License-Identifier: MIT */
/* Once a day the database forgets what the settings keep for a while only ('retention'): notices that are done, of
 * alarms that are over; and names of files that the inbox has no more. Everything else is kept for good, originals and
 * notes above all. */
#ifndef RILLWARD_SERVICE_RETAIN_H
#define RILLWARD_SERVICE_RETAIN_H

#include "service/pipeline.h"

#include <limits.h>

/* All zero at the start. */
struct retainer {
    int64_t due;          /* monotonic: of the next look */
    char after[PATH_MAX]; /* names up to this one were looked at; "" at the beginning */
};

/* Some of it, in a transaction of its own; ret_worked where more may be left. Where files of the inbox cannot be seen
 * (`inbox_is_there` false), names are kept. */
bool retain_some(struct retainer *retainer, struct pipeline *pipeline, bool inbox_is_there, int64_t wall,
                 int64_t monotonic, bool *ret_worked, struct error *error);

/* At the start: the database is written anew where much of it is empty, and the settings allow it. */
bool retain_compact(const struct config *config, struct store *store, struct error *error);

#endif
