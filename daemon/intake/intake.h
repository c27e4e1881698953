/* SPDX-License-Identifier: MIT */
/* The bytes of one drop to readings or field notes: which layout, which place, which instants, in SI and UTC.
 *
 * Nothing is guessed. Where the settings and the file do not say the same, the drop is set aside with a message that
 * names both and the cure. What is wrong with single rows or cells is a complaint, and the rest is used. */
#ifndef RILLWARD_INTAKE_INTAKE_H
#define RILLWARD_INTAKE_INTAKE_H

#include "base/error.h"
#include "base/memory.h"
#include "config/config.h"
#include "model/facts.h"
#include "model/readings.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { INTAKE_MOST_ROWS = 5000000, INTAKE_MOST_COMPLAINTS = 100 };

/* A time after `now` by more than this is refused: notes, whose clock is the phone's, and readings, whose clock is the
 * logger's and may stand in a zone that the layout has wrong. */
#define INTAKE_NOTE_SLACK (10 * 60 * (int64_t)1000)
#define INTAKE_READING_SLACK (24 * 60 * 60 * (int64_t)1000)

/* PLACE_NONE: notes of several stations, or of none. PLACE_ELSEWHERE: a station of another part; never in a batch. */
enum place_kind { PLACE_NONE, PLACE_STATION, PLACE_BAROMETER, PLACE_ELSEWHERE };

struct complaint {
    uint32_t line, column; /* from 1; column 0: the whole row */
    const char *text;      /* complete with line and column name: "line 14: column 'Temp': '#REF!' is no number" */
};

/* What a drop holds. All memory is the arena's; nothing points into the input. */
struct batch {
    const struct layout *layout; /* NULL where an open end left it unknown */
    bool is_notes;
    enum place_kind place_kind;
    size_t place_index; /* in the config's stations or barometers */
    const char
        *evidence; /* why this place: "serial 'SN-20417' in line 2; path matches 'north/heron*'"; "" without a place */
    const char *serial; /* of the instrument, as the file names it; "" where it names none, or several */
    struct readings readings; /* ascending, one row an instant */
    struct note *notes;       /* in the order of the file */
    size_t note_count;
    struct complaint *complaints; /* the first INTAKE_MOST_COMPLAINTS */
    size_t complaint_count, complaint_total;
    size_t rows;         /* data rows seen, blank ones not counted */
    size_t refused_rows; /* of them, left out */
    size_t folded_rows;  /* of them, repeating an instant (or a note) that another row has */
    bool ends_open;      /* not judged: the last line has no end yet, or a quoted cell is not closed. Wait */
};

/* Read `length` bytes that arrived as `path` (relative to the inbox; only for patterns and messages).
 *
 * `now`: ms UTC. `open_end_is_fine`: the file has rested long enough to be read to its last byte; without it, and
 * unless the layout may end open, a file whose last line has no end comes back true with `ends_open` and nothing else.
 *
 * False with an INPUT error where the drop must be set aside, ELSEWHERE where it is another part's, CONFIG where the
 * layout itself is unsound. The error does not repeat the path. More than half of the data rows unusable, or no data
 * row at all, sets the drop aside. */
bool intake_read(struct arena *arena, const struct config *config, const char *path, const char *bytes, size_t length,
                 int64_t now, bool open_end_is_fine, struct batch *ret, struct error *error);

/* Is a layout of the settings sound, before any file comes? CONFIG error. */
bool intake_check_layout(const struct layout *layout, struct error *error);

#endif
