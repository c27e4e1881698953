/* SPDX-License-Identifier: MIT */
/* Which samples of a long series must be drawn so that the line looks the same: of each column of the picture the
 * first, the lowest, the highest and the last. Nothing that stands out is lost, however many samples share a column. */
#ifndef RILLWARD_ARCHIVE_DECIMATE_H
#define RILLWARD_ARCHIVE_DECIMATE_H

#include "model/facts.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct kept_row {
    size_t row;
    bool begins; /* the line is broken before it: a value is missing, or the pause was too long */
};

/* `n` samples in ascending time; NaN is missing. Those outside `span` are left out. A pause longer than `pause` ms
 * breaks the line. `ret` has room for n entries; returns how many are kept, ascending. */
size_t decimate(const int64_t *time, const double *value, size_t n, struct span span, int columns, int64_t pause,
                struct kept_row *ret);

#endif
