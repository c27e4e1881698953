/* SPDX-License-Identifier: MIT */
/* One panel of a chart; between chart.c, chart_panel.c (frame and lines) and chart_marks.c (what stands on them). */
#ifndef RILLWARD_ARCHIVE_CHART_PANEL_H
#define RILLWARD_ARCHIVE_CHART_PANEL_H

#include "archive/dataset.h"
#include "archive/decimate.h"
#include "archive/scale.h"
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

/* Lines are drawn in a box of CHART_UNITS by ten times the panel's height, stretched to the plot: whole numbers are
 * short. Positions are hundredths of a percent of the plot's width, which is the same. */
enum { CHART_UNITS = 10000, CHART_TENTHS = 10 };

struct panel {
    const struct dataset *dataset;
    struct text *text;
    enum quantity quantity;
    int height; /* px */
    size_t n;
    const int64_t *time;
    const double *value;
    const uint8_t *flag;
    int64_t pause;
    struct scale scale;
    double *drawn;         /* [n] scratch: the values of the line being drawn, NaN elsewhere */
    struct kept_row *kept; /* [n] scratch */
    unsigned marks;        /* enum chart_mark of what was drawn */
};

/* px of the plot alone. */
int chart_panel_height(enum quantity quantity);

/* The nested <svg> of the panel with its plot's upper edge at `top` px, headings above. Returns the marks that it
 * holds. */
unsigned chart_panel_render(const struct dataset *dataset, enum quantity quantity, int top, struct text *ret);

/* Where `time` stands in the month, in hundredths of a percent of the plot's width, kept within 0..10000. */
int chart_position(const struct dataset *dataset, int64_t time);
/* `hundredths` as "12.34%". */
void chart_add_percent(struct text *text, int hundredths);
/* Tenths of a px from the panel's upper edge; what lies beyond the scale stands at its edge, NaN below. */
int chart_y(const struct panel *panel, double value);
void chart_add_px(struct text *text, int tenths);

bool chart_limit_is_shown(const struct panel *panel, const struct rule *rule);
bool chart_check_is_shown(const struct panel *panel, const struct check_result *check);

/* Beneath the lines: hatched episodes. Above them: limits, gaps, flags, hand readings, names of episodes. */
void chart_draw_episodes(struct panel *panel);
void chart_draw_marks(struct panel *panel);

#endif
