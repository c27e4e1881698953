/* SPDX-License-Identifier: MIT */
/* Is the archive still what was written? Every file against its manifest, every manifest against the one
 * above it. */
#ifndef RILLWARD_ARCHIVE_VERIFY_H
#define RILLWARD_ARCHIVE_VERIFY_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>

enum verify_kind {
    VERIFY_MISSING,    /* in a manifest, not on disk */
    VERIFY_CHANGED,    /* other bytes than the manifest says, or no plain file any more */
    VERIFY_FOREIGN,    /* on disk, in no manifest; our own temporaries do not count */
    VERIFY_UNREADABLE, /* a file or folder that the machine refuses, or a manifest that is none */
    VERIFY_KIND_COUNT
};
const char *verify_kind_word(enum verify_kind kind); /* "missing", "changed", "foreign", "unreadable" */

struct verify_finding {
    enum verify_kind kind;
    const char *path;   /* below the root; raw bytes where foreign. Valid during the call */
    const char *detail; /* why, where the kind does not say it all; may be "" */
};

struct verify_report {
    /* Hears each finding as it is made; may be NULL. */
    void (*tell)(void *context, const struct verify_finding *finding);
    /* Hears, after each file, how many were looked at; may be NULL. */
    void (*progress)(void *context, size_t files);
    void *context;
    size_t files;                       /* out: looked at, as the manifests list them */
    size_t findings[VERIFY_KIND_COUNT]; /* out */
};

/* Walk the archive at `root`. The caller sets tell, progress and context. True when the walk was made, whatever it
 * found: see verify_report_count. Memory follows the largest single manifest, not the archive. SYSTEM error
 * where there is no folder or no manifest at all at `root`. */
bool archive_verify(const char *root, struct verify_report *report, struct error *error);
size_t verify_report_count(const struct verify_report *report);

#endif
