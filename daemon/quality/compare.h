/* SPDX-License-Identifier: MIT */
/* Quality tests that hold one column against another: a related quantity of the station (test 9 of the
 * manual), or the same quantity at a neighbour (test 11). Where the other side has no usable value the test
 * is not evaluated. NULL limits: off. */
#ifndef RILLWARD_QUALITY_COMPARE_H
#define RILLWARD_QUALITY_COMPARE_H

#include "config/config.h"
#include "quality/column.h"
#include "quality/quality.h"

void compare_related(struct column_view *column, const struct companion *limits, struct record *record,
                     int64_t pause);
void compare_neighbour(struct column_view *column, enum quantity quantity,
                       const struct neighbour_limits *limits, const struct neighbour_records *neighbours);

#endif
