/* SPDX-License-Identifier: MIT */
/* Daily values of a station-month, and the same over the whole month.
 *
 * A day is that of the station's standard time: 24 hours, always. Every day of the month has a row, also one without
 * samples. Minimum, maximum and mean rest on samples that passed (flag 1) or that no test looked at (flag 2); suspect
 * ones (3) are counted apart, failed and missing ones not at all. The mean is the plain mean of these samples. Where
 * several samples share an extreme, its time is that of the first.
 *
 * The share of good samples counts what should be there: samples that passed, out of the expected number, or of those
 * that are there if more. The hours below an oxygen limit add up the time from each sample below it to the next sample,
 * at most one sampling interval. The limits are those of the `below` rules on oxygen that watch the station; without
 * any, 2, 3 and 5 mg/L. */
#ifndef RILLWARD_ARCHIVE_DAILY_H
#define RILLWARD_ARCHIVE_DAILY_H

#include "archive/dataset.h"
#include "base/memory.h"

#define DAILY_LIMITS_MAX 8

struct daily_value { /* of one quantity */
    size_t used;     /* samples that minimum, maximum and mean rest on */
    size_t good;     /* of these: passed */
    size_t suspect;
    double minimum, maximum, mean;      /* inside unit; NaN without used samples */
    int64_t minimum_time, maximum_time; /* TIME_NONE without */
};

struct daily_row {
    struct span span;
    size_t samples;  /* rows of the record, usable or not */
    size_t expected; /* by the sampling interval; 0 where it is not known */
    struct daily_value value[QUANTITY_COUNT];
    int64_t below[DAILY_LIMITS_MAX]; /* ms that oxygen was below the limit */
};

struct daily {
    struct daily_row *days; /* of the whole month */
    size_t count;
    struct daily_row month;
    int64_t interval;                /* sampling interval [ms]; 0 unknown */
    uint32_t columns;                /* quantities of the record, bit q */
    double limits[DAILY_LIMITS_MAX]; /* of oxygen [mg/L], ascending */
    size_t limit_count;              /* 0 without oxygen in the record */
};

/* How long oxygen was low, in the whole month. */
struct daily_hours {
    double limits[DAILY_LIMITS_MAX]; /* as in struct daily */
    size_t limit_count;
    int64_t below[DAILY_LIMITS_MAX]; /* ms in all */
    size_t days[DAILY_LIMITS_MAX];   /* with any of it */
};

/* In the arena. */
void daily_compute(const struct dataset *dataset, struct arena *arena, struct daily *ret);

/* Those of dataset->daily, else computed now, in the arena. */
const struct daily *daily_of(const struct dataset *dataset, struct arena *arena);

void daily_hours(const struct daily *daily, struct daily_hours *ret);
/* Those of dataset->hours, else computed now. */
struct daily_hours daily_hours_of(const struct dataset *dataset);

/* Passed, in percent; NaN where nothing was expected and nothing came. */
double daily_good_percent(const struct daily_row *row, enum quantity quantity);

/* Sampling interval: the setting, else the median step of the record; 0 with fewer than two rows. */
int64_t daily_interval(const struct dataset *dataset, struct arena *arena);

/* Different limits of the rules that speak of oxygen at this station, ascending; returns how many. */
size_t daily_oxygen_limits(const struct config *config, const struct station *station, double ret[DAILY_LIMITS_MAX]);

#endif
