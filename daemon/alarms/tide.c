/* SPDX-License-Identifier: MIT */
#include "alarms/tide.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { HIGHEST, LOWEST }; /* the lowest level is the highest of -level */
enum { BEHIND, AHEAD };

/* Levels that count, without the rest, and what is found at each. */
struct tide {
    size_t n;
    int64_t *time;
    double *level;
    size_t *row;    /* in the record */
    uint8_t *turns; /* TIDE_HIGH or TIDE_LOW at a turning point, else 0 */
    double
        *extreme[2][2]; /* [HIGHEST, LOWEST][BEHIND, AHEAD] of the others within the reach; -INFINITY: there are none */
    size_t *queue;      /* of a sweep */
};

static struct tide collect(struct arena *arena, const struct record *record);
static void sweep(struct tide *tide, int which, int side);
static void find_turns(struct tide *tide, size_t first, size_t end);
static bool is_turn(const struct tide *tide, size_t i, int which);
static void find_stages(const struct tide *tide, size_t first, size_t end, uint8_t *ret);
static uint8_t stage_at(const struct tide *tide, size_t i, size_t last, size_t next);

const uint8_t *tide_stages(struct arena *arena, const struct record *record)
{
    uint8_t *stages = arena_array(arena, record->n, sizeof *stages);
    if (record->n > 0)
        memset(stages, 0, record->n * sizeof *stages);
    struct tide tide = collect(arena, record);
    for (int which = HIGHEST; which <= LOWEST; which++) {
        sweep(&tide, which, BEHIND);
        sweep(&tide, which, AHEAD);
    }
    for (size_t first = 0, end; first < tide.n; first = end) {
        end = first + 1;
        while (end < tide.n && tide.time[end] - tide.time[end - 1] <= TIDE_LONGEST_PAUSE)
            end++;
        find_turns(&tide, first, end);
        find_stages(&tide, first, end, stages);
    }
    return stages;
}

bool tide_is_asked(const struct rule *rule)
{
    bool is_asked = false;
    for (size_t i = 0; i < rule->condition_count; i++)
        is_asked = is_asked || rule->conditions[i].stages != 0;
    return is_asked;
}

static struct tide collect(struct arena *arena, const struct record *record)
{
    size_t room = record->value[QUANTITY_LEVEL] ? record->n : 0;
    struct tide tide = {.time = arena_array(arena, room, sizeof *tide.time),
                        .level = arena_array(arena, room, sizeof *tide.level),
                        .row = arena_array(arena, room, sizeof *tide.row),
                        .turns = arena_array(arena, room, sizeof *tide.turns),
                        .queue = arena_array(arena, room, sizeof *tide.queue)};
    for (int k = 0; k < 4; k++)
        tide.extreme[k / 2][k % 2] = arena_array(arena, room, sizeof(double));
    for (size_t i = 0; i < room; i++) {
        double level = record->value[QUANTITY_LEVEL][i];
        uint8_t flag = record->flag[QUANTITY_LEVEL][i];
        if (!isfinite(level) || flag == FLAG_SUSPECT || flag == FLAG_FAIL || flag == FLAG_MISSING)
            continue;
        tide.time[tide.n] = record->time[i];
        tide.level[tide.n] = level;
        tide.row[tide.n++] = i;
    }
    return tide;
}

/* A queue of samples whose levels only get lower (higher): each enters and leaves once. */
static void sweep(struct tide *tide, int which, int side)
{
    double sign = which == HIGHEST ? 1 : -1;
    size_t first = 0, end = 0;
    for (size_t k = 0; k < tide->n; k++) {
        size_t i = side == AHEAD ? tide->n - 1 - k : k;
        while (first < end && llabs(tide->time[i] - tide->time[tide->queue[first]]) > TIDE_TURN_REACH)
            first++;
        tide->extreme[which][side][i] = first < end ? sign * tide->level[tide->queue[first]] : -INFINITY;
        while (first < end && sign * tide->level[tide->queue[end - 1]] <= sign * tide->level[i])
            end--;
        tide->queue[end++] = i;
    }
}

/* Of the samples [first, end), between which there is no pause. */
static void find_turns(struct tide *tide, size_t first, size_t end)
{
    for (size_t i = first; i < end; i++) {
        bool is_covered = tide->time[i] - tide->time[first] >= TIDE_TURN_REACH &&
                          tide->time[end - 1] - tide->time[i] >= TIDE_TURN_REACH;
        tide->turns[i] = !is_covered                 ? 0
                         : is_turn(tide, i, HIGHEST) ? TIDE_HIGH
                         : is_turn(tide, i, LOWEST)  ? TIDE_LOW
                                                     : 0;
    }
}

static bool is_turn(const struct tide *tide, size_t i, int which)
{
    double own = which == HIGHEST ? tide->level[i] : -tide->level[i];
    const double *const *same = (const double *const *)tide->extreme[which];
    const double *const *other = (const double *const *)tide->extreme[!which];
    return own >= same[BEHIND][i] && own > same[AHEAD][i] &&
           own + fmax(other[BEHIND][i], other[AHEAD][i]) >= TIDE_SMALLEST_RANGE;
}

static void find_stages(const struct tide *tide, size_t first, size_t end, uint8_t *ret)
{
    size_t last = SIZE_MAX, next = first;
    for (size_t i = first; i < end; i++) {
        last = tide->turns[i] ? i : last;
        while (next < end && (next <= i || !tide->turns[next]))
            next++;
        bool is_covered =
            tide->time[i] - tide->time[first] >= TIDE_AHEAD && tide->time[end - 1] - tide->time[i] >= TIDE_AHEAD;
        if (is_covered)
            ret[tide->row[i]] = stage_at(tide, i, last, next < end ? next : SIZE_MAX);
    }
}

/* `last` at or before i, `next` behind it; SIZE_MAX where there is none. */
static uint8_t stage_at(const struct tide *tide, size_t i, size_t last, size_t next)
{
    int64_t since = last == SIZE_MAX ? INT64_MAX : tide->time[i] - tide->time[last];
    int64_t until = next == SIZE_MAX ? INT64_MAX : tide->time[next] - tide->time[i];
    if (until <= TIDE_NEAR && until < since)
        return tide->turns[next];
    if (since > TIDE_LONGEST)
        return 0;
    if (since <= TIDE_NEAR || fabs(tide->level[i] - tide->level[last]) < TIDE_STAND)
        return tide->turns[last];
    return tide->turns[last] == TIDE_HIGH ? TIDE_FALLING : TIDE_RISING;
}
