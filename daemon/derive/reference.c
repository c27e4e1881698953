/* SPDX-License-Identifier: MIT */
#include "derive/reference.h"

#include "science/statistics.h"

#include <math.h>
#include <stdlib.h>

enum {
    MOST_SAMPLES = 128, /* within reach of a reading: 20 s sampling */
    FITTED_SAMPLES = 5, /* the nearest of them: enough to average waves, short enough that a tide is still a line */
};

static double level_of(const struct station *station, const struct note *note);
static double depth_at(int64_t when, uint32_t deployment, size_t first, size_t last, const int64_t *time,
                       const double *depth, const uint32_t *deployments);
static size_t add_anchor(struct anchor *anchors, size_t count, struct anchor anchor);
static int compare_anchors(const void *a, const void *b);
static size_t lower_bound(size_t n, const int64_t *time, int64_t wanted);

size_t reference_anchors(struct arena *arena, const struct station *station, size_t note_count, const struct note *notes,
                         size_t n, const int64_t *time, const double *depth, const uint32_t *deployment,
                         struct anchor **ret)
{
    struct anchor *anchors = arena_array(arena, 3 * note_count + 1, sizeof *anchors);
    size_t count = 0;
    for (size_t k = 0; k < note_count; k++) {
        double level = level_of(station, &notes[k]);
        if (isnan(level))
            continue;
        size_t first = lower_bound(n, time, notes[k].time - REFERENCE_REACH);
        size_t last = lower_bound(n, time, notes[k].time + REFERENCE_REACH + 1);
        /* At most the deployment that ends, one that is just a visit long, and the one that begins. */
        for (size_t i = first, found = 0; i < last && found < 3; found++) {
            double there = depth_at(notes[k].time, deployment[i], first, last, time, depth, deployment);
            if (!isnan(there))
                count = add_anchor(anchors, count,
                                   (struct anchor){notes[k].time, deployment[i], level, there, notes[k].id, notes[k].kind});
            uint32_t done = deployment[i];
            while (i < last && deployment[i] == done)
                i++;
        }
    }
    qsort(anchors, count, sizeof *anchors, compare_anchors);
    *ret = anchors;
    return count;
}

void reference_offsets(size_t n, const int64_t *time, const uint32_t *deployment, size_t anchor_count,
                       const struct anchor *anchors, double sensor_elevation, double *ret_offset, uint8_t *ret_is_borrowed)
{
    size_t first = 0; /* anchors [first, last) belong to the row's deployment */
    for (size_t i = 0; i < n; i++) {
        while (first < anchor_count && anchors[first].deployment < deployment[i])
            first++;
        size_t last = first;
        while (last < anchor_count && anchors[last].deployment == deployment[i])
            last++;
        ret_is_borrowed[i] = 0;
        if (anchor_count == 0) {
            ret_offset[i] = sensor_elevation;
            continue;
        }
        if (first == last) { /* none of its own: the nearest of its neighbours, which are the anchors around the place */
            size_t before = first > 0 ? first - 1 : first, after = first < anchor_count ? first : before;
            bool takes_before = llabs(anchors[before].time - time[i]) <= llabs(anchors[after].time - time[i]);
            const struct anchor *nearest = &anchors[takes_before ? before : after];
            ret_offset[i] = nearest->level - nearest->depth;
            ret_is_borrowed[i] = 1;
            continue;
        }
        size_t k = first;
        while (k < last && anchors[k].time < time[i])
            k++;
        const struct anchor *left = &anchors[k > first ? k - 1 : first], *right = &anchors[k < last ? k : last - 1];
        double from = left->level - left->depth, to = right->level - right->depth;
        double share = right->time > left->time
                           ? (double)(time[i] - left->time) / (double)(right->time - left->time)
                           : 0;
        ret_offset[i] = from + share * (to - from);
    }
}

size_t reference_closings(struct arena *arena, size_t anchor_count, const struct anchor *anchors,
                          struct check_result **ret)
{
    struct check_result *list = arena_array(arena, anchor_count + 1, sizeof *list);
    for (size_t k = 0; k < anchor_count; k++) {
        const struct anchor *a = &anchors[k];
        bool is_first = k == 0 || anchors[k - 1].deployment != a->deployment;
        double offset = is_first ? a->level - a->depth : anchors[k - 1].level - anchors[k - 1].depth;
        list[k] = (struct check_result){.time = a->time,
                                        .quantity = QUANTITY_LEVEL,
                                        .kind = a->kind,
                                        .note = a->note,
                                        .sensor = a->depth + offset,
                                        .reference = a->level,
                                        .difference = a->depth + offset - a->level,
                                        .is_first = is_first};
    }
    *ret = list;
    return anchor_count;
}

static double level_of(const struct station *station, const struct note *note)
{
    if (note->kind == NOTE_LEVEL)
        return note->value;
    return note->kind == NOTE_TAPE_DOWN ? station->tape_point - note->value : NAN;
}

/* A line through the nearest samples: waves and resolution average out, a moving tide does not bias it. */
static double depth_at(int64_t when, uint32_t deployment, size_t first, size_t last, const int64_t *time,
                       const double *depth, const uint32_t *deployments)
{
    double x[MOST_SAMPLES], y[MOST_SAMPLES];
    size_t n = 0;
    for (size_t i = first; i < last && n < MOST_SAMPLES; i++) {
        if (deployments[i] != deployment || isnan(depth[i]))
            continue;
        x[n] = (double)(time[i] - when) / 1000;
        y[n++] = depth[i];
    }
    size_t from = 0;
    while (n - from > FITTED_SAMPLES && fabs(x[from]) > fabs(x[from + FITTED_SAMPLES]))
        from++;
    n = n - from > FITTED_SAMPLES ? FITTED_SAMPLES : n - from;
    struct statistics_line line;
    if (n >= 3 && statistics_fit_line(n, x + from, y + from, &line))
        return statistics_line_at(&line, 0);
    return n == 2 ? y[from] - x[from] * (y[from + 1] - y[from]) / (x[from + 1] - x[from]) : n == 1 ? y[from] : NAN;
}

static size_t add_anchor(struct anchor *anchors, size_t count, struct anchor anchor)
{
    for (size_t k = 0; k < count; k++)
        if (anchors[k].time == anchor.time && anchors[k].deployment == anchor.deployment) {
            anchors[k].level = (anchors[k].level + anchor.level) / 2;
            return count;
        }
    anchors[count] = anchor;
    return count + 1;
}

static int compare_anchors(const void *a, const void *b)
{
    const struct anchor *x = a, *y = b;
    if (x->deployment != y->deployment)
        return x->deployment < y->deployment ? -1 : 1;
    return x->time < y->time ? -1 : x->time > y->time;
}

static size_t lower_bound(size_t n, const int64_t *time, int64_t wanted)
{
    size_t low = 0, high = n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (time[middle] < wanted)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}
