/* SPDX-License-Identifier: MIT */
/* The package around the sheets of a workbook (ISO/IEC 29500-1 and -2): what kind of file it is, its list of sheets,
 * its properties. The same parts give the same bytes. */
#ifndef RILLWARD_ARCHIVE_WORKBOOK_H
#define RILLWARD_ARCHIVE_WORKBOOK_H

#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define WORKBOOK_HEADER "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"yes\"?>\n"
#define WORKBOOK_OFFICE "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
#define WORKBOOK_PACKAGE "http://schemas.openxmlformats.org/package/2006"

struct workbook_about {
    const char *title, *creator;
    int64_t created; /* ms UTC */
    int64_t version;
    const char *const *sheets; /* names: letters, digits, spaces */
    size_t sheet_count;
    size_t shown;   /* of these, the first; the others are hidden */
    bool has_chart; /* xl/charts/chart1.xml, in xl/drawings/drawing1.xml */
};

struct workbook {
    struct zip_writer *zip;
    struct text part; /* under construction */
};

/* To an empty text. Then each part: written to `part`, and finished. */
void workbook_begin(struct workbook *ret, const struct workbook_about *about, struct text *to);
void workbook_finish_part(struct workbook *workbook, const char *name);
void workbook_finish_sheet(struct workbook *workbook, size_t sheet); /* from 0 */
void workbook_end(struct workbook *workbook);

#endif
