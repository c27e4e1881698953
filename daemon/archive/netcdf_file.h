/* SPDX-License-Identifier: MIT */
/* A netCDF-4 file with one dimension, made in memory: variables with a value a row, single values, attributes.
 *
 * netCDF-4 is HDF5 with a few attributes; what is written here follows the HDF5 File Format Specification
 * version 3.0: superblock and object headers version 2, links and attributes in the headers, chunks found by a
 * single B-tree node, shuffle and deflate. Any reader since HDF5 1.8 (2008) takes it. The common library is not
 * used, on purpose: its first file costs more time than all the other formats of a station-month together, it adds
 * several MiB to the process, and its bytes change with its version, so that an archive would be sent anew to
 * everybody after an upgrade. The tests read every file back with that library.
 *
 * Same calls, same bytes. Nothing is timed or named after the machine. Whether the text was large enough is told
 * by text.is_full. */
#ifndef RILLWARD_ARCHIVE_NETCDF_FILE_H
#define RILLWARD_ARCHIVE_NETCDF_FILE_H

#include "base/text.h"

#include <stddef.h>
#include <stdint.h>

enum netcdf_type {
    NETCDF_BYTE,   /* int8_t */
    NETCDF_INT,    /* int32_t */
    NETCDF_FLOAT,  /* float */
    NETCDF_DOUBLE, /* double */
    NETCDF_STRING, /* const char *: single values only */
};

#define NETCDF_VARIABLES_MAX 128
#define NETCDF_GLOBAL SIZE_MAX /* instead of a variable: attributes of the file */
#define NETCDF_TEXT_MAX 60000  /* bytes of one text attribute; the format has no room for more than 65000 */

struct netcdf_file;

/* Every row variable has `rows` values. */
struct netcdf_file *netcdf_file_new(size_t rows);
void netcdf_file_free(struct netcdf_file *file); /* NULL is fine */

/* Names: a letter, then [A-Za-z0-9_], at most 63, no two alike. `values` are read before the call returns. The first
 * variable is the coordinate variable: the dimension has its name. Returns the variable's number. */
size_t netcdf_file_add_rows(struct netcdf_file *file, const char *name, enum netcdf_type type, const void *values);
size_t netcdf_file_add_value(struct netcdf_file *file, const char *name, enum netcdf_type type, const void *value);

/* Attributes, in the order of the calls. An empty text is left out; a longer one than NETCDF_TEXT_MAX is cut. */
void netcdf_file_put_text(struct netcdf_file *file, size_t variable, const char *name, const char *text);
void netcdf_file_put_numbers(struct netcdf_file *file, size_t variable, const char *name, enum netcdf_type type,
                             const void *values, size_t n);
/* _FillValue, of the variable's type. */
void netcdf_file_put_fill(struct netcdf_file *file, size_t variable, const void *value);

/* Writes the file to `ret`, which is empty. */
void netcdf_file_render(struct netcdf_file *file, struct text *ret);

#endif
