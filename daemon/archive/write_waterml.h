/* SPDX-License-Identifier: MIT */
/* A station-month as WaterML 2.0 Part 1 (OGC 10-126r4): one observation for each finished quantity, its samples as
 * time-value pairs. The most frequent flag is the default quality; points with another one say so; a missing value is
 * nil with its reason. Flags map to the standard's words: 1 good, 2 unchecked, 3 suspect, 4 poor.
 *
 * Tests, uncertainty and readings before correction have no place in it: they stand in the other formats. The time of
 * generation is that of the last sample: the same dataset gives the same bytes. */
#ifndef RILLWARD_ARCHIVE_WRITE_WATERML_H
#define RILLWARD_ARCHIVE_WRITE_WATERML_H

#include "archive/dataset.h"
#include "base/text.h"

/* Appends to `ret`. */
void write_waterml(const struct dataset *dataset, struct text *ret);

#endif
