/* SPDX-License-Identifier: MIT */
/* Daily values of a station-month as CSV (RFC 4180, as archive/write_csv.h), and its description as metadata for
 * tabular data (W3C CSVW) under the name that the standard looks for, NAME_daily.csv-metadata.json. One row for each
 * day of the month; how the values are made is told in archive/daily.h, and to the reader in the note "method". The
 * note "month" holds the same values over the whole month. */
#ifndef RILLWARD_ARCHIVE_WRITE_DAILY_H
#define RILLWARD_ARCHIVE_WRITE_DAILY_H

#include "archive/daily.h"
#include "base/text.h"

/* Append to `ret`. */
void write_daily_csv(const struct dataset *dataset, struct text *ret);
void write_daily_csvw(const struct dataset *dataset, struct text *ret);

/* How daily values are made, for people; paragraphs, NULL past the last. */
const char *write_daily_method(size_t index);

#endif
