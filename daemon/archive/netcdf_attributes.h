/* SPDX-License-Identifier: MIT */
/* The global attributes of a station-month as netCDF: what it is (CF-1.11, ACDD-1.3), where, when, from whom, and the
 * checks, field notes and originals behind it as lines of text. */
#ifndef RILLWARD_ARCHIVE_NETCDF_ATTRIBUTES_H
#define RILLWARD_ARCHIVE_NETCDF_ATTRIBUTES_H

#include "archive/dataset.h"
#include "archive/netcdf_file.h"

/* `interval` is the sampling interval in ms, 0 where it is not known. */
void netcdf_attributes_put(const struct dataset *dataset, int64_t interval, struct netcdf_file *file);

/* "org.example.water" of "https://water.example.org/"; `fallback` where the address has no host name. Returns ret. */
char *netcdf_naming_authority(const char *url, const char *fallback, char *ret, size_t size);

#endif
