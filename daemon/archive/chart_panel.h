/* SPDX-License-Identifier: MIT */
/* One panel of a chart; private to chart.c. */
#ifndef RILLWARD_ARCHIVE_CHART_PANEL_H
#define RILLWARD_ARCHIVE_CHART_PANEL_H

#include "archive/dataset.h"
#include "base/text.h"

/* What a panel can hold beside the finished line; bits, for the key below the chart. */
enum chart_mark {
    MARK_RAW = 1u << 0,
    MARK_BAND = 1u << 1,
    MARK_HAND = 1u << 2,
    MARK_SUSPECT = 1u << 3,
    MARK_FAIL = 1u << 4,
    MARK_MISSING = 1u << 5,
    MARK_LIMIT = 1u << 6,
    MARK_EPISODE = 1u << 7,
};

/* Plots begin and end with the picture's width, not at so many px: nested pictures know no sums of both. Labels stand
 * left of the plot where that is room enough, else in it. */
#define CHART_LEFT "5%"
#define CHART_WIDTH "93.5%"

/* px of the plot alone. */
int chart_panel_height(enum quantity quantity);

/* The nested <svg> of the panel with its plot's upper edge at `top` px, headings above. Returns the marks that it holds. */
unsigned chart_panel_render(const struct dataset *dataset, enum quantity quantity, int top, struct text *ret);

/* Where `time` stands in the month, in hundredths of a percent of the plot's width, kept within 0..10000. */
int chart_position(const struct dataset *dataset, int64_t time);
/* `hundredths` as "12.34%". */
void chart_add_percent(struct text *text, int hundredths);

#endif
