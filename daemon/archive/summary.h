/* SPDX-License-Identifier: MIT */
/* A month of one quantity in a few numbers, and a chart in words: for readers who cannot see it, and for tables. */
#ifndef RILLWARD_ARCHIVE_SUMMARY_H
#define RILLWARD_ARCHIVE_SUMMARY_H

#include "archive/dataset.h"
#include "base/text.h"

struct summary {
    size_t usable;                         /* numbers that are not flagged fail: only these count below */
    size_t suspect, failed, missing;       /* rows by flag */
    double min, max, last;                 /* inside unit; NaN without a usable value */
    int64_t min_time, max_time, last_time; /* TIME_NONE without */
};

/* Of a column that may be absent: then nothing is usable. */
struct summary summarize(const struct record *record, enum quantity quantity);
void summarize_all(const struct record *record, struct summary ret[QUANTITY_COUNT]);
/* That of dataset->summaries, else computed now. */
struct summary summary_of(const struct dataset *dataset, enum quantity quantity);
/* Whether summary_of() finds any usable value, without going on behind the first. */
bool summary_has_usable(const struct dataset *dataset, enum quantity quantity);

/* In the written unit, with the decimals for people, U+2212 as minus; an en dash where not finite. */
void summary_add_number(struct text *text, enum quantity quantity, double inside);
/* As above with its unit behind a space; practical salinity has none. */
void summary_add_value(struct text *text, enum quantity quantity, double inside);
/* A difference with its sign, of a level in mm: "+3 mm", "-0.02"; "0" without a sign. Other units are not written. */
void summary_add_difference(struct text *text, enum quantity quantity, double inside);
/* "" where the quantity has none. */
const char *summary_unit(enum quantity quantity);

/* "Water level: 0.412 to 2.310 m, last 1.204 m; 12 suspect, 3 missing." Markup is escaped. Nothing without a usable
 * value. */
void summary_add_sentence(struct text *text, const struct summary *summary, enum quantity quantity);

/* "April 2026" */
void summary_add_month(struct text *text, int year, int month);
const char *summary_month_name(int month); /* 1..12 */

#endif
