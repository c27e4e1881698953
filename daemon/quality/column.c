/* SPDX-License-Identifier: MIT */
#include "quality/column.h"

#include "base/memory.h"
#include "quality/extreme.h"

#include <math.h>

struct column_view column_of(struct record *record, enum quantity quantity)
{
    return (struct column_view){record->n, record->time, record->value[quantity], record->flag[quantity],
                                record->tests[quantity]};
}

/* Held against the present value, not against the one that began a run, so that it does not matter where the
 * history begins. No value is near both sides of a step of more than twice the tolerance (thrice, for what rounding
 * does): the window begins anew there, which keeps it short wherever water moves. */
void column_find_flat(const struct column_view *c, double tolerance, int64_t duration, int64_t pause, uint8_t *ret)
{
    if (duration <= 0)
        return;
    struct window window = window_open(c, duration, pause);
    for (size_t i = 0; i < c->n; i++) {
        if (i > 0 && fabs(c->value[i] - c->value[i - 1]) > 3 * tolerance)
            window_begin(&window, i);
        ret[i] = window_take(&window, i) && window.largest - c->value[i] <= tolerance &&
                 c->value[i] - window.smallest <= tolerance;
    }
    window_close(&window);
}

void column_variation(const struct column_view *c, int64_t duration, int64_t pause, double *ret)
{
    struct window window = window_open(c, duration, pause);
    for (size_t i = 0; i < c->n; i++)
        ret[i] = window_take(&window, i) ? window.largest - window.smallest : NAN;
    window_close(&window);
}
