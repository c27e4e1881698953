/* SPDX-License-Identifier: MIT */
/* Sensor corrections from what the crew measured at visits: fouling first, then calibration drift, each prorated over
 * the time since the last visit, by the procedure of USGS Techniques and Methods 1-D3 (formulas: science/correction.h).
 *
 * A visit is all checks of one sensor within VISIT_LENGTH of each other. With readings before and after cleaning the
 * fouling is their change less the field meter's; with a reading as found alone it is what the meter says more.
 * Standards give the drift: one, or up to three as a piecewise line in the reading. A correction begins with error 0 at
 * the end of the visit before, or where the logger entered the water after it; without such a beginning nothing is
 * corrected. It is applied only where fouling and drift together exceed the criterion of the procedure. */
#ifndef RILLWARD_DERIVE_CORRECT_H
#define RILLWARD_DERIVE_CORRECT_H

#include "base/memory.h"
#include "model/facts.h"
#include "model/record.h"
#include "science/correction.h"

#include <stdbool.h>

#define VISIT_LENGTH ((int64_t)6 * 3600 * 1000)

struct correction {
    enum quantity quantity;           /* of the record column that it is for */
    int64_t from, to;                 /* ms UTC: error 0 at from, whole at to */
    double fouling;                   /* at `to`, to be added: per cent of the reading, or degC */
    size_t standard_count;            /* 0: no drift known */
    double readings[3], standards[3]; /* ascending */
    bool is_percent;
    double size, value; /* |fouling| + |drift| in the unit of the quantity, and the reading it belongs to */
    bool is_applied;
    enum correction_rating rating;
};

/* Corrections of one sensor in the record: QUANTITY_TEMPERATURE, QUANTITY_SPECIFIC_CONDUCTANCE (side-by-side checks may
 * be written as conductivity in situ too; standards are at 25 degC) or QUANTITY_OXYGEN. Sensor values that were not
 * noted are the record's own, uncorrected, within `reach` of the check. `notes` ascending. In the arena, ascending,
 * apart from each other. */
size_t corrections_find(struct arena *arena, enum quantity quantity, const struct record *record, size_t note_count,
                        const struct note *notes, int64_t reach, struct correction **ret);

/* Visits of the same sensor at which it was read as found only after it was cleaned: what the fouling was nobody can
 * know, so corrections_find() leaves them out. Arguments as there; in the arena, ascending. */
struct checks_disordered {
    int64_t cleaned, found;
};
size_t corrections_disordered(struct arena *arena, enum quantity quantity, const struct record *record,
                              size_t note_count, const struct note *notes, int64_t reach,
                              struct checks_disordered **ret);

/* Apply to the record's column of that quantity; sets TEST_CORRECTED, and fail with TEST_TOO_MUCH_DRIFT beyond the
 * largest correction that the procedure lets be published. */
void corrections_apply(size_t count, const struct correction *corrections, struct record *record);

/* Whose limits and ratings apply to a quantity that is corrected. */
enum correction_quantity correction_quantity_of(enum quantity quantity);

/* The correction in force at `time`, NULL without one. */
const struct correction *corrections_at(size_t count, const struct correction *corrections, int64_t time);

#endif
