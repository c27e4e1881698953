/* SPDX-License-Identifier: MIT */
/* One panel of a chart; between chart.c, chart_axis.c (time), chart_panel.c (frame and lines) and chart_marks.c (what
 * stands on them). */
#ifndef RILLWARD_ARCHIVE_CHART_PANEL_H
#define RILLWARD_ARCHIVE_CHART_PANEL_H

#include "archive/dataset.h"
#include "archive/decimate.h"
#include "archive/scale.h"
#include "archive/scene.h"

struct panel {
    const struct dataset *dataset;
    struct scene *scene;
    enum quantity quantity;
    int top, height;           /* px, of the plot alone */
    const struct alarm *focus; /* the episode that the picture is about; NULL: none */
    /* the rest is chart_panel_draw's own */
    size_t n;
    const int64_t *time;
    const double *value;
    const uint8_t *flag;
    int64_t pause;
    struct scale scale;
    double *drawn;         /* [n] scratch: the values of the line being drawn, NaN elsewhere */
    struct kept_row *kept; /* [n] scratch */
};

/* px of the plot in a picture of a month. */
int chart_panel_height(enum quantity quantity);

/* The plot with its name above. The record has the quantity. */
void chart_panel_draw(struct panel *panel);

/* ---- time ---- */

#define CHART_TICKS_MAX 16

struct chart_tick {
    int64_t time;
    char label[16];
};

/* Days of a month, or round times of a shorter span, by the station's standard time; ascending. */
size_t chart_ticks(const struct dataset *dataset, struct chart_tick ret[CHART_TICKS_MAX]);

/* Labels below the plot whose lower edge is at `top` px. */
void chart_draw_times(const struct dataset *dataset, int top, struct scene *scene);

/* "UTC+10:00" */
void chart_add_offset(struct text *text, int64_t offset);

/* Where `time` stands in the span, in SCENE_UNITS, kept within them. */
int chart_position(const struct dataset *dataset, int64_t time);

/* ---- values ---- */

/* Tenths of a px from the panel's upper edge; what lies beyond the scale stands at its edge, NaN below. */
int chart_y(const struct panel *panel, double value);

/* The limits of a rule that stand as lines on this panel; returns how many. */
size_t chart_limits(const struct panel *panel, const struct rule *rule, double ret[2]);
bool chart_check_is_shown(const struct panel *panel, const struct check_result *check);

/* Beneath the lines: hatched episodes. Above them: limits, gaps, flags, hand readings, names of episodes. */
void chart_draw_episodes(struct panel *panel);
void chart_draw_marks(struct panel *panel);

#endif
