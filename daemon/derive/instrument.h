/* SPDX-License-Identifier: MIT */
/* Which instrument hung at the station, from when to when.
 *
 * By the field notes (NOTE_INSTRUMENT: from then on the one named there); where a station has none, by the serial
 * numbers that the files name: a change is where INSTRUMENT_ROWS rows in turn come from another one, and it happened at
 * the note of entering the water that lies between, else at the first of those rows. Clock error, drift, fouling and
 * zero belong to an instrument: what one period's notes tell never reaches into another. Names are equal without regard
 * to case and blanks around them; "" is an instrument that nobody named. */
#ifndef RILLWARD_DERIVE_INSTRUMENT_H
#define RILLWARD_DERIVE_INSTRUMENT_H

#include "base/memory.h"
#include "model/facts.h"
#include "model/readings.h"

enum { INSTRUMENT_ROWS = 3 };

/* What the files say: the serial number that a drop names; drops without one are left out. */
struct drop_serial {
    uint32_t drop;
    const char *serial, *path;
};

/* Where else the notes have an instrument: at `place` in [from, to). */
struct instrument_elsewhere {
    const char *serial, *place;
    int64_t from, to; /* to: TIME_FOREVER while it is there */
};

struct instrument_period {
    int64_t from, to; /* by the clock of the rows; the first begins at INT64_MIN, the last ends at INT64_MAX */
    const char *name;
    bool is_noted; /* by notes, not by files */
};

/* At least one, each the end of the one before. In the arena. */
struct instrument_input {
    const struct readings *readings;
    const struct note *notes;
    size_t note_count;
    const struct drop_serial *serials;
    size_t serial_count;
    const struct instrument_elsewhere *elsewhere;
    size_t elsewhere_count;
};
size_t instrument_periods(struct arena *arena, const struct instrument_input *input, struct instrument_period **ret);

/* The notes that belong to a period. Of those at the very time of the change, what was found and taken out belongs to
 * the instrument before, entering the water to the one after. A period that began with a change begins with a note of
 * entering the water: a fresh instrument has no error yet. */
size_t instrument_notes(struct arena *arena, const struct instrument_input *input,
                        const struct instrument_period *period, struct note **ret);

/* Stretches of rows whose file names another instrument than the notes have here, or one that they have elsewhere then.
 */
struct instrument_stranger {
    struct span span;
    const char *serial, *path; /* of the file */
    const char *noted;         /* the one that the notes have here; "" none */
    const char *place;         /* where the notes have the file's; NULL nowhere */
};
size_t instrument_strangers(struct arena *arena, const struct instrument_input *input, size_t period_count,
                            const struct instrument_period *periods, struct instrument_stranger **ret);

bool instrument_is_same(const char *a, const char *b);

#endif
