/* SPDX-License-Identifier: MIT */
/* A station-month as netCDF-4, by the conventions CF-1.11 (discrete sampling geometry, one time series) and ACDD-1.3.
 *
 * For each finished quantity, by its key:
 *   level                the value as in the CSV, float, written unit, _FillValue -9999
 *   level_qc             the primary flag, bytes 1, 2, 3, 4, 9
 *   level_qc_tests       the tests that spoke up, bits of model/flags.h
 *   level_uncertainty    standard uncertainty (k = 1), where the record has it
 * and for all: barometer (0 none, else as named in flag_meanings), raw_time (only where a clock was corrected),
 * raw_level and its like (the reading before any correction), drop and line (where the row came from). Checks, field
 * notes and originals stand as lines of text in the global attributes of these names.
 *
 * date_created and history carry the time of the last sample: no clock is read, and the same dataset gives the same
 * bytes. */
#ifndef RILLWARD_ARCHIVE_WRITE_NETCDF_H
#define RILLWARD_ARCHIVE_WRITE_NETCDF_H

#include "archive/dataset.h"
#include "base/text.h"

/* Writes to `ret`, which is empty. */
void write_netcdf(const struct dataset *dataset, struct text *ret);

#endif
