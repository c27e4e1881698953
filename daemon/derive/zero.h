/* SPDX-License-Identifier: MIT */
/* The zero error of a submerged pressure sensor: what it reads in air, less the air pressure.
 *
 * Known at both ends of a stay in the water, from the samples beside the notes: those within ZERO_REACH after the
 * logger came out, or before it went in, that had time to settle. Further away it may have been driven to another
 * elevation. The median of at least ZERO_SAMPLES counts, where they agree (their median deviation from it is below
 * ZERO_SPREAD), where conductivity, if there is any, shows air and not a bucket of water, and where it is below
 * ZERO_LARGEST, beyond which the sensor was hardly in air at the site. Limits: common practice of the trade, 1 hPa is
 * about 1 cm of water. */
#ifndef RILLWARD_DERIVE_ZERO_H
#define RILLWARD_DERIVE_ZERO_H

#include "base/memory.h"
#include "config/config.h"
#include "model/facts.h"

#include <stddef.h>
#include <stdint.h>

#define ZERO_REACH ((int64_t)90 * 60 * 1000)
#define ZERO_SPREAD 50.0    /* Pa */
#define ZERO_LARGEST 2000.0 /* Pa */
enum { ZERO_SAMPLES = 3 };

struct zero_error {
    int64_t time; /* of the note: into the water, or out of it */
    bool is_end;  /* of a stay: out of the water */
    int64_t note;
    size_t samples;
    double sensor, air; /* medians [Pa] */
    double value;       /* median of sensor - air [Pa] */
    double uncertainty; /* standard uncertainty of it [Pa]: scatter and barometer */
};

/* The arrays have n rows, times ascending; conductivity may be NULL [mS/cm]. A row counts where sensor and air pressure
 * are numbers. Samples within `settling` after coming out, and within one `interval` of either note, do not count: the
 * sensor warms, noted times are rounded. In the arena, ascending. */
struct zero_input {
    size_t n;
    const int64_t *time;
    const double *sensor, *air, *conductivity;
    const struct note *notes;
    size_t note_count;
    int64_t interval, settling;
};
size_t zero_errors(struct arena *arena, const struct zero_input *input, struct zero_error **ret);

/* What to take off each row's pressure [Pa], 0 outside of stays and where nothing is known: ZERO_OFFSET: the error at
 * the beginning of the stay, else that at its end; ZERO_LINEAR: linear between both, constant where one alone is known.
 * ret_uncertainty [Pa] of that, 0 where nothing is taken off. */
void zero_corrections(const struct zero_input *input, size_t count, const struct zero_error *errors,
                      enum zero_correction method, double *ret_off, double *ret_uncertainty);

#endif
