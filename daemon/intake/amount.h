/* SPDX-License-Identifier: MIT */
/* Amounts as people write them in notebooks: 3' 4 1/2", 3 ft 4 in, 4½ in, 3.41 ft, 0,85 m. */
#ifndef RILLWARD_INTAKE_AMOUNT_H
#define RILLWARD_INTAKE_AMOUNT_H

#include "intake/table.h"
#include "science/units.h"

/* Feet and inches to metres. At least one mark is needed: ' ′ ’ ft feet foot, " ″ ” '' in inch inches. Behind feet the
 * mark of inches may be left out; feet are then whole and inches below 12. Numbers may be fractions: 4 1/2, 4-1/2, 1/2,
 * 4½. */
bool amount_read_feet(struct cell cell, char decimal, double *ret);

enum amount_result { AMOUNT_READ, AMOUNT_NO_NUMBER, AMOUNT_NO_UNIT, AMOUNT_WRONG_UNIT };
/* A number in `unit` (NULL: the cell must name one), or with a unit of the dimension behind it, or feet and inches
 * where the dimension is length; in the base unit. A unit in the cell counts more than `unit`. */
enum amount_result amount_read(struct cell cell, char decimal, const struct unit *unit, enum unit_dimension dimension,
                               double *ret);

#endif
