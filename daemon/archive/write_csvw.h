/* SPDX-License-Identifier: MIT */
/* The description beside a CSV record, NAME.csv-metadata.json: metadata for tabular data (W3C CSVW).
 *
 * The table description itself uses the standard's words: url, columns with titles, datatypes and units (QUDT
 * and UCUM), primary key. What no standard has a word for stands in "notes", a list of objects told apart by
 * "about":
 *
 *   record         month, [from, to), revision, rows
 *   station        name, position, datum, standard time, elevations
 *   flags, tests   meaning of every code and mask in the columns ..._flag and ..._tests
 *   settings       salinity and density, conductance, oxygen sensor, air pressure pairing
 *   limits         thresholds of the quality tests in force, for each quantity in the record
 *   barometers     those that gave air pressure, with the number of rows that used each
 *   checks         hand readings and side-by-side checks that corrections rest on, and what the record said
 *   field_notes    what the crew wrote; the value of a tape reading is the distance down to the water [m]
 *   originals      the files that rows came from: number (column "drop"), inbox path, sha256, place here
 *
 * Measured values are in the unit of their column, times in UTC, null is unknown or, of a limit, that the
 * test is off. No clock is read: the same dataset gives the same bytes. */
#ifndef RILLWARD_ARCHIVE_WRITE_CSVW_H
#define RILLWARD_ARCHIVE_WRITE_CSVW_H

#include "archive/dataset.h"
#include "base/text.h"

/* Appends to `ret`. */
void write_csvw(const struct dataset *dataset, struct text *ret);

#endif
