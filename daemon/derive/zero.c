/* SPDX-License-Identifier: MIT */
#include "derive/zero.h"

#include "base/timestamp.h"
#include "derive/water.h"
#include "science/statistics.h"
#include "science/uncertainty.h"

#include <math.h>

#define BAROMETER_LIMIT 30.0 /* Pa, even distribution; as in the budget of a level */

/* Median deviation to standard deviation (1.4826), and that of a median to that of a mean (sqrt(pi / 2)), of a normal
 * distribution. */
#define OF_MEDIAN (1.4826 * 1.2533)

static struct span in_air(const struct zero_input *input, size_t note);
static bool estimate(struct arena *arena, const struct zero_input *input, struct span air, struct zero_error *ret);
static const struct note *move_beside(const struct zero_input *input, size_t note, int step);
static bool is_move(const struct note *note);
static const struct zero_error *error_at(size_t count, const struct zero_error *errors, const struct note *note);

size_t zero_errors(struct arena *arena, const struct zero_input *input, struct zero_error **ret)
{
    struct zero_error *list = arena_array(arena, input->note_count + 1, sizeof *list);
    size_t count = 0;
    for (size_t k = 0; k < input->note_count; k++) {
        const struct note *note = &input->notes[k];
        struct zero_error error = {.time = note->time, .is_end = note->kind == NOTE_OUT_OF_WATER, .note = note->id};
        if (is_move(note) && estimate(arena, input, in_air(input, k), &error))
            list[count++] = error;
    }
    *ret = list;
    return count;
}

void zero_corrections(const struct zero_input *input, size_t count, const struct zero_error *errors,
                      enum zero_correction method, double *ret_off, double *ret_uncertainty)
{
    const struct note *last = NULL, *next = NULL;
    size_t k = 0;
    for (size_t i = 0; i < input->n; i++) {
        ret_off[i] = ret_uncertainty[i] = 0;
        for (; k < input->note_count && input->notes[k].time <= input->time[i]; k++)
            if (is_move(&input->notes[k]))
                last = &input->notes[k];
        size_t after = k;
        while (after < input->note_count && !is_move(&input->notes[after]))
            after++;
        next = after < input->note_count ? &input->notes[after] : NULL;
        bool is_out = last ? last->kind == NOTE_OUT_OF_WATER : next && next->kind == NOTE_IN_WATER;
        if (is_out || method == ZERO_NONE)
            continue;
        const struct zero_error *left = last ? error_at(count, errors, last) : NULL;
        const struct zero_error *right = next ? error_at(count, errors, next) : NULL;
        if (!left || !right || method == ZERO_OFFSET) {
            const struct zero_error *only = left ? left : right;
            ret_off[i] = only ? only->value : 0;
            ret_uncertainty[i] = only ? only->uncertainty : 0;
            continue;
        }
        double share = (double)(input->time[i] - left->time) / (double)(right->time - left->time);
        ret_off[i] = left->value + share * (right->value - left->value);
        ret_uncertainty[i] = hypot((1 - share) * left->uncertainty, share * right->uncertainty);
    }
}

/* The settled samples beside a note, as [from, to). */
static struct span in_air(const struct zero_input *input, size_t note)
{
    int64_t time = input->notes[note].time, margin = input->interval;
    int64_t settled = input->settling > margin ? input->settling : margin;
    if (input->notes[note].kind == NOTE_OUT_OF_WATER) {
        const struct note *next = move_beside(input, note, 1);
        int64_t end = next && next->time - margin < time + ZERO_REACH ? next->time - margin : time + ZERO_REACH;
        return (struct span){time + settled, end + 1};
    }
    const struct note *before = move_beside(input, note, -1);
    int64_t begin = time - ZERO_REACH;
    if (before && before->time + settled > begin)
        begin = before->time + settled;
    return (struct span){begin, time - margin + 1};
}

static bool estimate(struct arena *arena, const struct zero_input *input, struct span air, struct zero_error *ret)
{
    size_t first = 0, last;
    while (first < input->n && input->time[first] < air.from)
        first++;
    for (last = first; last < input->n && input->time[last] < air.to;)
        last++;
    double *sensor = arena_array(arena, 3 * (last - first) + 1, sizeof *sensor);
    double *there = sensor + (last - first), *error = there + (last - first);
    size_t n = 0;
    for (size_t i = first; i < last; i++) {
        if (input->conductivity && input->conductivity[i] >= WATER_AIR_CONDUCTIVITY)
            return false; /* it stands in water */
        if (isnan(input->sensor[i]) || isnan(input->air[i]))
            continue;
        sensor[n] = input->sensor[i];
        there[n] = input->air[i];
        error[n++] = input->sensor[i] - input->air[i];
    }
    if (n < ZERO_SAMPLES)
        return false;
    ret->samples = n;
    ret->sensor = statistics_median(n, sensor);
    ret->air = statistics_median(n, there);
    ret->value = statistics_median(n, error);
    double spread = statistics_median_deviation(n, error);
    ret->uncertainty = hypot(OF_MEDIAN * spread / sqrt((double)n), uncertainty_rectangular(BAROMETER_LIMIT));
    return spread < ZERO_SPREAD && fabs(ret->value) < ZERO_LARGEST;
}

static const struct note *move_beside(const struct zero_input *input, size_t note, int step)
{
    for (size_t k = note; step > 0 ? k + 1 < input->note_count : k > 0;) {
        k = step > 0 ? k + 1 : k - 1;
        if (is_move(&input->notes[k]))
            return &input->notes[k];
    }
    return NULL;
}

static bool is_move(const struct note *note)
{
    return note->kind == NOTE_OUT_OF_WATER || note->kind == NOTE_IN_WATER;
}

static const struct zero_error *error_at(size_t count, const struct zero_error *errors, const struct note *note)
{
    for (size_t k = 0; k < count; k++)
        if (errors[k].note == note->id && errors[k].time == note->time)
            return &errors[k];
    return NULL;
}
