/* SPDX-License-Identifier: MIT */
/* One wait for the disk for many files.
 *
 * A disk that is asked to empty its cache does so for all who ask meanwhile: ten files that are synced at the same time
 * take about as long as one, ten that are synced one after another ten times as long. The kernel has no call for that,
 * so each descriptor but the first is synced on a short-lived thread. */
#ifndef RILLWARD_BASE_SYNC_H
#define RILLWARD_BASE_SYNC_H

#include <stddef.h>

#define SYNC_MOST 16 /* descriptors at once */

/* fsync of all n <= SYNC_MOST; 0, or the errno of one that failed. Where no thread can be had, one after another. */
int sync_descriptors(const int *fds, size_t n);

#endif
