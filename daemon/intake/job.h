/* SPDX-License-Identifier: MIT */
/* One reading of one drop, as the parts of intake hand it on. Private to this folder. */
#ifndef RILLWARD_INTAKE_JOB_H
#define RILLWARD_INTAKE_JOB_H

#include "intake/intake.h"
#include "intake/layout.h"
#include "intake/table.h"

enum { JOB_JOINED_SIZE = 160 };

struct job {
    struct arena *arena;
    const struct config *config;
    const char *path;
    int64_t now;
    struct binding binding;
    struct table table;
    struct batch *batch;
    size_t text_length;         /* of the decoded text */
    size_t unusable_rows;       /* refused, or without one cell that could be read */
    const char *last_complaint; /* text of the last one that was written */
    const char *first_unusable; /* the complaint about the first of them; NULL without one */
    uint32_t date_line;         /* first row whose time is a date of a workbook; 0 none */
    uint32_t text_line;         /* first row of a workbook whose time is text; 0 none */
};

/* Add a complaint: "line N: column 'NAME': ..."; `bound` NULL for the whole row. Past the limit only counted. */
void job_complain(struct job *job, uint32_t line, const struct bound_column *bound, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
/* The same, and the row is left out. Returns false. */
bool job_refuse(struct job *job, uint32_t line, const struct bound_column *bound, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* The row was kept, but not one of its filled cells could be read; its complaints are made. */
void job_count_unusable(struct job *job);

/* The next row of data: header, comments, blank rows and headers that come again are passed over; false at the end of
 * the data (TABLE_END, an end mark) or with an error. Rows that are malformed, half written or too long are refused
 * here. */
bool job_next_row(struct job *job, struct row *ret, bool *ret_failed, struct error *error);
/* Stand before the first data row. */
bool job_start(struct job *job, struct error *error);

/* The row's time cells by the format, or as the workbook says where they are dates and times there: a column of both
 * is complained about once. `joined` (JOB_JOINED_SIZE bytes) is scratch; *ret_text is what was read, for
 * messages. */
bool job_read_time(struct job *job, const struct row *row, char *joined, struct cell *ret_text,
                   struct clock_reading *ret);
/* Complaint about a time that the format does not fit, with the cure. Returns false. */
bool job_refuse_time(struct job *job, uint32_t line, struct cell text);
/* Complaint about a local time that does not exist. Returns false. */
bool job_refuse_missing_hour(struct job *job, uint32_t line, struct cell text);

/* Is this one of the layout's words for "no value"? The empty cell is. */
bool job_is_missing(const struct job *job, struct cell cell);
/* The bound column with the role, NULL without one. */
const struct bound_column *job_column(const struct job *job, enum column_role role);
/* "'#REF!' is no number", with the cure where another decimal mark would read it. */
void job_complain_number(struct job *job, uint32_t line, const struct bound_column *bound, struct cell cell);

/* INPUT error where there is no data row, or more than half of them are of no use. */
bool job_judge(const struct job *job, struct error *error);

/* The two ends: rows to batch->readings, rows to batch->notes. Both leave place and evidence in the batch. */
bool read_readings(struct job *job, struct error *error);
bool read_notes(struct job *job, struct error *error);

#endif
