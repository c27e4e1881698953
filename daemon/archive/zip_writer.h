/* SPDX-License-Identifier: MIT */
/* A ZIP file (APPNOTE 6.3) of deflated members, made in memory. Every member has the same time, 1980-01-01, so that the
 * same members give the same bytes. */
#ifndef RILLWARD_ARCHIVE_ZIP_WRITER_H
#define RILLWARD_ARCHIVE_ZIP_WRITER_H

#include "base/text.h"

struct zip_writer;

struct zip_writer *zip_writer_new(struct text *to); /* `to` is empty; nothing else may be added to it meanwhile */
/* At most 65535 members, each below 4 GiB; names in ASCII with '/'. */
void zip_writer_add(struct zip_writer *zip, const char *name, const struct text *content);
/* Writes the directory, and frees. */
void zip_writer_end(struct zip_writer *zip);

#endif
