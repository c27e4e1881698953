/* SPDX-License-Identifier: MIT */
/* A station-month as CSV by RFC 4180: UTF-8 without mark, CRLF, one header line, the columns of
 * archive/month_table.h. An empty cell is a missing value. Values have the fixed decimals of their quantity;
 * times are UTC with 'Z'. No cell holds free text, so none can be taken for a formula. */
#ifndef RILLWARD_ARCHIVE_WRITE_CSV_H
#define RILLWARD_ARCHIVE_WRITE_CSV_H

#include "archive/dataset.h"
#include "base/text.h"

/* Appends to `ret`. Every number in record.barometer must be in dataset.barometers. */
void write_csv(const struct dataset *dataset, struct text *ret);

#endif
