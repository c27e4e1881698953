/* SPDX-License-Identifier: MIT */
/* Which station or barometer a drop belongs to, by evidence: a serial number in the file, a station id or label in the
 * file, the path. All evidence must point to one place. */
#ifndef RILLWARD_INTAKE_PLACE_H
#define RILLWARD_INTAKE_PLACE_H

#include "config/config.h"
#include "intake/intake.h"
#include "intake/layout.h"
#include "intake/table.h"

enum place_need { PLACE_NEED_ANY, PLACE_NEED_STATION, PLACE_NEED_BAROMETER };

/* What a file says about itself. A cell without text: nothing. */
struct place_hints {
    struct cell serial, label;
    uint32_t serial_line, label_line;
};

/* Hints from the rows above the header (comments too): the cell after the layout's label, or what follows ':' or '=' in
 * it. */
struct place_hints place_hints_find(const struct binding *binding);

struct place_found {
    enum place_kind kind; /* PLACE_NONE: no evidence at all */
    size_t index;
    const char *evidence;           /* in the arena */
    bool knows_serial, knows_label; /* the hint is in the settings */
};

/* `path` NULL: it is no evidence here. INPUT error where evidence contradicts itself, names several places, or a place
 * of the wrong kind (`need`); ELSEWHERE where it names a station of another part. */
bool place_find(struct arena *arena, const struct config *config, const char *path, const struct place_hints *hints,
                enum place_need need, struct place_found *ret, struct error *error);

/* Index of the station that a row names by id, name or label; station_count where none or more than one does. */
size_t place_find_station(const struct config *config, struct cell label);

/* Does a row name a station of another part? */
bool place_is_elsewhere(const struct config *config, struct cell label);

const char *place_id(const struct config *config, enum place_kind kind, size_t index);
const char *place_word(enum place_kind kind); /* "station", "barometer" */

#endif
