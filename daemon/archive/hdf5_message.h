/* SPDX-License-Identifier: MIT */
/* Pieces of an HDF5 file as bytes: numbers, datatypes, dataspaces, headers with their checksum. Numbers in brackets are
 * sections of the HDF5 File Format Specification version 3.0. */
#ifndef RILLWARD_ARCHIVE_HDF5_MESSAGE_H
#define RILLWARD_ARCHIVE_HDF5_MESSAGE_H

#include "archive/netcdf_file.h"
#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define HDF5_UNDEFINED UINT64_MAX /* an address that points nowhere */

/* Types of messages in an object header [IV.A.2]. */
enum hdf5_message {
    HDF5_DATASPACE = 0x01,
    HDF5_LINK_INFO = 0x02,
    HDF5_DATATYPE = 0x03,
    HDF5_FILL_VALUE = 0x05,
    HDF5_LINK = 0x06,
    HDF5_LAYOUT = 0x08,
    HDF5_GROUP_INFO = 0x0A,
    HDF5_FILTERS = 0x0B,
    HDF5_ATTRIBUTE = 0x0C,
    HDF5_TREE_WIDTH = 0x13,
    HDF5_ATTRIBUTE_INFO = 0x15,
};

/* Little-endian, whatever the machine is. */
void hdf5_put_integer(struct text *to, uint64_t value, unsigned bytes);
void hdf5_set_integer(struct text *at, size_t offset, uint64_t value, unsigned bytes);
/* `n` values of `type`, one after the other. */
void hdf5_put_values(struct text *to, enum netcdf_type type, const void *values, size_t n);
/* The same as planes: the lowest byte of all values first. */
void hdf5_put_shuffled(struct text *to, enum netcdf_type type, const void *values, size_t n);
void hdf5_put_zeros(struct text *to, size_t n);
void hdf5_put_piece(struct text *to, const struct text *piece); /* which may be empty */
/* Up to the next multiple of eight. */
void hdf5_align(struct text *to);

size_t hdf5_size(enum netcdf_type type); /* of one value in the file */

/* Datatypes [IV.A.2.d]. */
void hdf5_put_type(struct text *to, enum netcdf_type type);
void hdf5_put_text_type(struct text *to, size_t length, bool is_ended); /* UTF-8; is_ended: the last byte is NUL */
void hdf5_put_reference_type(struct text *to);                          /* address of an object header */
void hdf5_put_reference_list_type(struct text *to);                     /* any number of them, kept in a heap */
void hdf5_put_back_reference_type(struct text *to);                     /* {dataset, dimension}, 16 bytes */

/* Dataspaces [IV.A.2.b]. */
void hdf5_put_single_space(struct text *to);
void hdf5_put_row_space(struct text *to, uint64_t n); /* without rows: may grow */

/* One message with its header; `order` counts attributes. */
void hdf5_put_message(struct text *to, enum hdf5_message type, uint16_t order, const struct text *body);
/* An object header [IV.A.1.b] around messages. Returns its address. */
uint64_t hdf5_put_header(struct text *to, const struct text *messages);

/* Checksum of metadata: lookup3 by Bob Jenkins (public domain), 2006. */
uint32_t hdf5_checksum(const void *bytes, size_t n);

#endif
