/* SPDX-License-Identifier: MIT */
/* Largest and smallest value of a window of time that moves along a column: constant work a row. */
#ifndef RILLWARD_QUALITY_EXTREME_H
#define RILLWARD_QUALITY_EXTREME_H

#include "quality/column.h"

/* Rows that may still be the extreme of the window, the best first. */
struct extreme {
    size_t *rows;
    size_t first, count;
    double sign; /* 1: largest, -1: smallest */
};

struct window {
    const struct column_view *column;
    int64_t duration, pause;
    size_t unbroken; /* where the stretch without a pause began */
    size_t reached;  /* the last row that is `duration` old or older */
    struct extreme maximum, minimum;
    double largest, smallest; /* over the window, after window_take() */
};

struct window window_open(const struct column_view *column, int64_t duration, int64_t pause);
/* Rows in order, each once. Does the stretch without a pause reach back over the whole duration? */
bool window_take(struct window *window, size_t i);
/* Before row `i` is taken: what lies before it belongs to no window that it is in. */
void window_begin(struct window *window, size_t i);
void window_close(struct window *window);

#endif
