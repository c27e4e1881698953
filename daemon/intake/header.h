/* SPDX-License-Identifier: MIT */
/* Header cells: do they fit a pattern of the settings, and which unit do they name? A unit stands at the end, in round
 * or square brackets or behind the last comma: "Depth (ft)", "Temp [°C]", "Pressure, kPa". */
#ifndef RILLWARD_INTAKE_HEADER_H
#define RILLWARD_INTAKE_HEADER_H

#include "intake/table.h"
#include "model/quantity.h"
#include "science/units.h"

/* How well, the better the larger. */
enum header_fit {
    HEADER_NONE,
    HEADER_WITHOUT_UNIT, /* once the end in brackets or behind a comma is left out */
    HEADER_BY_PATTERN,   /* the whole cell, by * or ? */
    HEADER_EXACT,        /* the whole cell, letter by letter but for case */
};
enum header_fit header_fit(struct cell cell, const char *pattern);

/* The unit that the cell names, NULL for none that is known; `ret_text` is how it is written there. */
const struct unit *header_unit(struct cell cell, struct cell *ret_text);

/* The cell without the unit that header_unit() finds in it, and what stands behind; all of it where there is none. */
struct cell header_name(struct cell cell);

/* The dimension in which a quantity is measured. */
enum unit_dimension header_dimension(enum quantity quantity);

#endif
