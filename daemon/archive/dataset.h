/* SPDX-License-Identifier: MIT */
/* One station and one month, complete: everything that any writer may put into a file. Writers never see the store, so
 * the formats cannot disagree. Plain data, valid as long as the arena it was loaded into. */
#ifndef RILLWARD_ARCHIVE_DATASET_H
#define RILLWARD_ARCHIVE_DATASET_H

#include "config/config.h"
#include "model/facts.h"
#include "model/readings.h"
#include "model/record.h"

struct daily;
struct daily_hours;
struct summary;

struct dataset_barometer {
    uint32_t number; /* as in record.barometer */
    const char *id;
};

struct dataset_drop { /* a drop that rows of this month came from */
    uint32_t number;
    const char *path; /* where it arrived in the inbox, raw bytes */
    const char *sha256;
    const char *original; /* path below the archive */
    const char *layout;
};

struct dataset_review { /* where a person has reviewed the record */
    struct span span;
    const char *who, *why; /* why may be "" */
    int64_t said;
};

struct dataset {
    const struct config *config;
    const struct station *station;
    int year, month;    /* by the station's standard time */
    const char *period; /* NULL: that month; else "2026" or "water year 2026", and year and month are its first */
    struct span span;   /* of the month, UTC */
    int64_t revision;   /* of this record, from 1 */
    const char
        *history; /* "revision 2: 3 rows came; ..." a line, oldest first, up to this one; NULL or "": none told */
    struct record record; /* finished values, rows of the month */
    struct readings raw;  /* row i is the reading that record row i came from */
    /* What many ask of the rows, computed once; NULL: not yet. A page needs the last two and no rows. */
    const struct daily *daily;
    const struct summary *summaries; /* by quantity */
    const struct daily_hours *hours;
    const struct dataset_barometer *barometers;
    size_t barometer_count;
    const struct dataset_drop *drops;
    size_t drop_count;
    const struct note *notes; /* that touch the month, ascending time */
    size_t note_count;
    const struct check_result *checks;
    size_t check_count;
    const struct finding *findings; /* that touch the month, cut to it; by kind, quantity, time */
    size_t finding_count;
    enum record_state state;              /* of its rows */
    const struct dataset_review *reviews; /* that touch the month, ascending */
    size_t review_count;
    const struct alarm *alarms; /* whose episode touches the month, but withdrawn ones: shown in pictures only */
    size_t alarm_count;
};

#endif
