/* SPDX-License-Identifier: MIT */
#include "quality/extreme.h"

#include "base/memory.h"

static void add(struct extreme *extreme, const double *value, size_t i);
static double from_row(struct extreme *extreme, const double *value, size_t from);

struct window window_open(const struct column_view *column, int64_t duration, int64_t pause)
{
    return (struct window){.column = column,
                           .duration = duration,
                           .pause = pause,
                           .maximum = {.rows = x_array(column->n, sizeof(size_t)), .sign = 1},
                           .minimum = {.rows = x_array(column->n, sizeof(size_t)), .sign = -1}};
}

bool window_take(struct window *w, size_t i)
{
    const struct column_view *c = w->column;
    if (!column_is_usable(c, i)) {
        w->unbroken = i + 1;
        return false;
    }
    if (i > w->unbroken && c->time[i] - c->time[i - 1] > w->pause)
        w->unbroken = i;
    while (w->reached < i && c->time[w->reached + 1] <= c->time[i] - w->duration)
        w->reached++;
    add(&w->maximum, c->value, i);
    add(&w->minimum, c->value, i);
    size_t from = w->reached > w->unbroken ? w->reached : w->unbroken;
    w->largest = from_row(&w->maximum, c->value, from);
    w->smallest = from_row(&w->minimum, c->value, from);
    return c->time[i] - c->time[from] >= w->duration;
}

void window_begin(struct window *w, size_t i)
{
    w->unbroken = i;
    w->maximum.count = w->minimum.count = 0;
    w->maximum.first = w->minimum.first = 0;
}

void window_close(struct window *w)
{
    cleanup_free(&w->maximum.rows);
    cleanup_free(&w->minimum.rows);
}

/* What is no better than the newcomer, and older, will never be the extreme again. */
static void add(struct extreme *extreme, const double *value, size_t i)
{
    double newcomer = extreme->sign * value[i];
    while (extreme->count > 0 && extreme->sign * value[extreme->rows[extreme->first + extreme->count - 1]] <= newcomer)
        extreme->count--;
    extreme->rows[extreme->first + extreme->count++] = i;
}

static double from_row(struct extreme *extreme, const double *value, size_t from)
{
    for (; extreme->rows[extreme->first] < from; extreme->count--)
        extreme->first++;
    return value[extreme->rows[extreme->first]];
}
