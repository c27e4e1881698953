/* SPDX-License-Identifier: MIT */
/* The chain: readings, air pressure and field notes of one span in, finished values and flags out.
 *
 * One function, steps in the order in which a hydrographer reads them. Pure: same input, same output. The rows may
 * reach beyond the span that is asked for, and should: lead-in rows for the quality tests, and the rows around the hand
 * readings just before and after the span, which tie its level. See derive_reach(). */
#ifndef RILLWARD_DERIVE_DERIVE_H
#define RILLWARD_DERIVE_DERIVE_H

#include "config/config.h"
#include "derive/air.h"
#include "derive/budget.h"
#include "derive/correct.h"
#include "derive/findings.h"
#include "derive/instrument.h"
#include "model/facts.h"
#include "model/readings.h"
#include "model/record.h"

struct derive_input {
    const struct config *config;
    const struct station *station;
    struct readings readings; /* ascending; may consist of separate stretches */
    const struct note *notes; /* ascending; from before the first row to after the last */
    size_t note_count;
    const struct air_source *sources; /* by preference */
    size_t source_count;
    const struct drop_serial *serials; /* of the drops that the readings came from */
    size_t serial_count;
    const struct instrument_elsewhere *elsewhere; /* of those serials, noted at other stations */
    size_t elsewhere_count;
};

struct waiting_stretch {
    struct span span;
    const char *reason; /* "no air pressure from quay, hill" */
};

struct derived {
    struct record record; /* one row for each row of the readings, before quality_after() */
    int64_t interval;     /* sampling interval [ms]: the setting, else the median step */
    struct check_result *checks;
    size_t check_count;
    struct correction *corrections; /* fouling and drift, applied or below the criterion; by quantity, then time */
    size_t correction_count;
    struct findings findings;
    double *offset;           /* [n] level - depth [m], NaN unknown; NULL without a pressure sensor */
    double *zero;             /* [n] zero error in air that was taken off [Pa]; NULL without a pressure sensor */
    double *zero_uncertainty; /* [n] Pa */
    double *salinity_used;    /* [n] that density and oxygen were computed with */
    double *salinity_used_uncertainty; /* [n] */
    double *air_shift;                 /* [n] added at a hand-over between barometers [Pa] */
    int64_t *air_gap;                  /* [n] ms between the barometer's two readings */
    double *closing, *change;          /* [n] see reference_doubts(); NULL without a pressure sensor */
    struct waiting_stretch *waiting;
    size_t waiting_count;
};

/* Columns of measured values only, for quality_before(): the same rows as the readings. */
void derive_begin(struct arena *arena, const struct derive_input *input, struct record *ret);

/* The chain proper, on what derive_begin() and quality_before() left. */
void derive_finish(struct arena *arena, const struct derive_input *input, struct record *measured, struct derived *ret);

/* After quality_after(): levels, their checks and offsets in the datum that was valid at each time. Until then all are
 * in the station's first datum, so that its limits hold throughout and a change of the datum is no jump of the water.
 */
void derive_to_datum(struct arena *arena, const struct station *station, struct derived *derived);
/* Of the level 0 valid at `time` above that of the first datum [m]. */
double derive_datum_offset(const struct station *station, int64_t time);

/* What the uncertainty of row i's level is made of; only where the record has a level. */
void derive_level_situation(const struct derived *derived, const struct derive_input *input, size_t i,
                            struct level_situation *ret);

/* How far from a sample the air pressure that it needs may lie. */
int64_t derive_air_reach(const struct config *config);

#endif
