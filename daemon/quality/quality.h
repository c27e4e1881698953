/* SPDX-License-Identifier: MIT */
/* Quality tests in the sense of the IOOS QARTOD manuals, as sweeps over the columns of a record.
 *
 * Each test sets its bit in `tests` and worsens `flag`; a value that every test in force let pass is flagged pass, one
 * that no test looked at stays "not evaluated". Tests use time, not index: a pause longer than three sampling intervals
 * (at most six hours) breaks runs and differences. Rows flagged fail because the sensor was in air, or because a person
 * struck them out, are not looked at; a flag that a person restored stays. Feeding earlier rows too (a lead-in of
 * quality_lead_in()) gives the same answer as feeding all of history. */
#ifndef RILLWARD_QUALITY_QUALITY_H
#define RILLWARD_QUALITY_QUALITY_H

#include "config/config.h"
#include "model/record.h"

/* On what the sensors measured, before anything is computed from it: missing, range and position tests. So that a
 * failed conductivity is not turned into a salinity. */
void quality_before(const struct config *config, const struct station *station, struct record *record);

/* Records of the stations that this one is held against, as the chain leaves them: before quality_after(), so that two
 * neighbours can judge each other and the order does not matter. They reach as far as the record, and by the neighbour
 * test's reach beyond it. */
struct neighbour_record {
    const char *station;
    struct record record;
};
struct neighbour_records {
    const struct neighbour_record *list;
    size_t count;
};

/* On finished values: range, spike, rate of change, flat line, months, attenuated signal, gap, related quantity,
 * neighbour. `interval` is the sampling interval in ms; `neighbours` NULL: none. */
void quality_after(const struct config *config, const struct station *station, int64_t interval,
                   const struct neighbour_records *neighbours, struct record *record);

/* How far before a sample the tests look, and how far after it. */
int64_t quality_lead_in(const struct config *config, const struct station *station);
int64_t quality_lead_out(void);

#endif
