/* SPDX-License-Identifier: MIT */
/* A station-month as a workbook (XLSX, ISO/IEC 29500), for people who open records in an office program. Sheets:
 *
 *   data          finished values and flags, column names as in the CSV, times as dates
 *   daily         daily values (archive/daily.h), and a chart of level and oxygen below them
 *   corrections   hand readings and checks: reference, record, difference
 *   notes         what the crew wrote
 *   about         cautions, station, flags, tests, units, how daily values are made, the month as a whole
 *
 * Missing values are empty cells. Its time of creation is that of the last sample: the same dataset gives the same
 * bytes. */
#ifndef RILLWARD_ARCHIVE_WRITE_XLSX_H
#define RILLWARD_ARCHIVE_WRITE_XLSX_H

#include "archive/dataset.h"
#include "base/text.h"

/* Writes to `ret`, which is empty. A sheet holds 1048575 rows of data; more samples are left out of it, and 'about'
 * says so. */
void write_xlsx(const struct dataset *dataset, struct text *ret);

#endif
