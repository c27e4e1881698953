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

bool column_is_usable(const struct column_view *c, size_t i)
{
    bool is_ruled_out = c->flag[i] == FLAG_FAIL && c->tests[i] & (TEST_IN_AIR | TEST_PERSON_STRUCK);
    return !isnan(c->value[i]) && !is_ruled_out;
}

void column_judge(struct column_view *c, size_t i, enum test test, uint8_t flag)
{
    if (!(c->tests[i] & TEST_PERSON_RESTORED)) /* people outrank tests */
        c->flag[i] = flag_merge(c->flag[i], flag);
    if (flag != FLAG_PASS)
        c->tests[i] |= test;
}

/* Held against the present value, not against the one that began a run, so that it does not matter where the
 * history begins. */
void column_find_flat(const struct column_view *c, double tolerance, int64_t duration, int64_t pause,
                      uint8_t *ret)
{
    if (duration <= 0)
        return;
    struct window window = window_open(c, duration, pause);
    for (size_t i = 0; i < c->n; i++)
        ret[i] = window_take(&window, i) && window.largest - c->value[i] <= tolerance &&
                 c->value[i] - window.smallest <= tolerance;
    window_close(&window);
}

void column_variation(const struct column_view *c, int64_t duration, int64_t pause, double *ret)
{
    struct window window = window_open(c, duration, pause);
    for (size_t i = 0; i < c->n; i++)
        ret[i] = window_take(&window, i) ? window.largest - window.smallest : NAN;
    window_close(&window);
}
