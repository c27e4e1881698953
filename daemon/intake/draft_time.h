/* SPDX-License-Identifier: MIT */
/* Which time format a column has, found by trying all that are usual. */
#ifndef RILLWARD_INTAKE_DRAFT_TIME_H
#define RILLWARD_INTAKE_DRAFT_TIME_H

#include "intake/clock.h"
#include "intake/table.h"

enum date_order { DATE_YMD, DATE_DMY, DATE_MDY, DATE_ORDER_COUNT };

/* The formats, made once a draft. */
struct time_formats;
struct time_formats *time_formats_make(struct arena *arena);

enum time_looks { LOOKS_OTHER, LOOKS_LIKE_DATE /* with a time or without */, LOOKS_LIKE_TIME /* of day */ };
enum time_looks time_looks(struct time_formats *formats, struct cell cell);

/* Times of a column or of two, in the order of the file. */
struct time_sample {
    const char *text; /* two cells are joined by a space; NULL for a date or time of a workbook */
    size_t file;      /* index of the file that it stands in */
};

struct time_finding {
    const char *format;                   /* NULL: none fits */
    const char *others[DATE_ORDER_COUNT]; /* of other orders of day and month that fit as well; NULL ends */
    const char *by;                       /* how the order was settled where several fit: for people; "" */
    bool has_offsets;                     /* the times say their offset from UTC */
    bool is_of_workbook;                  /* all are dates of a workbook: any format does */
    size_t fits;                          /* samples that the format fits */
};

/* `logs`: the times are those of a logger, which steps on regularly; of a notebook only their order counts. */
struct time_finding time_find(const struct time_formats *formats, const struct time_sample *samples, size_t count,
                              bool logs);

#endif
