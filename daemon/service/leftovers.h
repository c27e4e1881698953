/* SPDX-License-Identifier: MIT */
/* Half-written files that a killed run leaves in the archive, under their temporary names.
 *
 * To find them the whole archive is looked through, which takes the longer the more years it holds. So a run that ended
 * by itself, with nothing gone wrong in it, says so by a mark in the state folder ('tidy'), and the next one that finds
 * the mark need not look. The mark names the archive's folder by device and inode: another one that was put in its
 * place is looked through.
 *
 * No mark is trusted too much. It is taken away, durably, before a run writes anything, so neither a kill nor a power
 * cut brings it back; one that is not whole, or whose removal fails, counts as none, and so does one of an earlier
 * release. Both calls are for whoever holds the lock of the state folder: two services never share a mark. The worst
 * that a wrong one does is that a temporary stays until the next look, or until its file is written again: no reader,
 * manifest or `verify` takes it for a file of the archive. */
#ifndef RILLWARD_SERVICE_LEFTOVERS_H
#define RILLWARD_SERVICE_LEFTOVERS_H

#include "config/config.h"

#include <stdbool.h>
#include <stddef.h>

/* Before anything is written to the archive: removes them where they may be; returns how many. */
size_t leftovers_begin(const struct config *config);

/* After the last file was written, of a run that began and in which nothing failed. Failures are nobody's business:
 * then the next run looks. */
void leftovers_end(const struct config *config);

#endif
