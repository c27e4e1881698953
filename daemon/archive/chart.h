/* SPDX-License-Identifier: MIT */
/* One station-month as a picture: SVG, complete without script, fonts or a style sheet beside it.
 *
 * Panels stand over each other on one time axis, one for each quantity that the station has: level (or depth where
 * nothing ties the level), oxygen, temperature, specific conductance, salinity, air pressure. Finished values are the
 * line, the readings they came from a thin line beneath where they differ, 95 % uncertainty a band where the record
 * states it. Flags differ by shape: suspect an open ring, fail a cross, missing a bar on the base line. Hand readings
 * and checks stand as diamonds with what the record says more than they do; the limits of rules as dashed lines, and
 * their episodes hatched.
 *
 * The picture is as wide as what it is shown in: lines stretch, text and marks keep their size, so one file serves a
 * wall and a phone. Light or dark follows the reader, print is light. Text is text. Same dataset, same bytes. */
#ifndef RILLWARD_ARCHIVE_CHART_H
#define RILLWARD_ARCHIVE_CHART_H

#include "archive/dataset.h"
#include "base/text.h"

#define CHART_PANELS_MAX 6

/* The quantities that get a panel, from above; returns how many. */
size_t chart_panels(const struct record *record, enum quantity ret[CHART_PANELS_MAX]);

/* Height of the picture [px] with so many panels. */
int chart_height(const enum quantity *panels, size_t n);

/* The chart in words, for alt texts and descriptions; markup is escaped. Appends to `ret`. */
void chart_describe(const struct dataset *dataset, struct text *ret);

/* The SVG file. Appends to `ret`. */
void chart_render(const struct dataset *dataset, struct text *ret);

#endif
