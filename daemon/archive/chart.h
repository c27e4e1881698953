/* SPDX-License-Identifier: MIT */
/* One station-month as a picture: SVG for pages, complete without script, fonts or a style sheet beside it, and the
 * same drawing as PNG for print; and one quantity around an episode as PNG, for messages.
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
enum { CHART_EPISODE_WIDTH = 420, CHART_EPISODE_HEIGHT = 296 }; /* px */

/* The picture of a month from above, in px: head; of each panel a heading and the plot; times, and what they are of;
 * the key (SCENE_KEY_HEIGHT). */
enum {
    CHART_HEAD = 52,
    CHART_PANEL_HEAD = 40,
    CHART_HEADING = 34, /* of it, with the heading's words */
    CHART_TIMES = 20,
    CHART_ZONE = 18,
};

/* The quantities that get a panel, from above (see quantity_info); returns how many. */
size_t chart_panels(const struct dataset *dataset, enum quantity ret[CHART_PANELS_MAX]);

/* Height of the picture [px] with so many panels. */
int chart_height(const enum quantity *panels, size_t n);

/* The chart in words, for alt texts and descriptions; markup is escaped. Appends to `ret`. */
void chart_describe(const struct dataset *dataset, struct text *ret);

/* The SVG file. Appends to `ret`. */
void chart_render(const struct dataset *dataset, struct text *ret);

/* The PNG file, 2400 dots wide. Appends to `ret`. */
void chart_render_png(const struct dataset *dataset, struct text *ret);

/* What to show around an episode, of its end at most 25 days and a third more: the span to load into a dataset. */
struct span chart_episode_span(const struct episode *episode);

/* One quantity over dataset->span, as PNG of twice CHART_EPISODE_WIDTH x _HEIGHT dots, made to be shown that wide or,
 * by a phone, somewhat smaller: the line, the rule's limit, its episodes hatched, the worst value named. Of the
 * dataset, `record`, `raw`, `checks` and `alarms` (with this one among them) are shown; year, month and revision are
 * not. Appends to `ret`; false: nothing to show, as the rule is of no quantity, is configured no more, or the record
 * has no usable value of it. */
bool chart_render_episode(const struct dataset *dataset, const struct alarm *alarm, struct text *ret);

#endif
