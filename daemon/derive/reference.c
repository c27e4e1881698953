/* SPDX-License-Identifier: MIT */
#include "derive/reference.h"

#include "derive/derive.h"

#include <math.h>
#include <stdlib.h>

/* The nearest samples that tell the depth at a reading: enough to average waves, few enough that a tide is a parabola.
 */
enum { FITTED_SAMPLES = 9 };

static bool is_outside(double limit, size_t count, const struct anchor *anchors, int64_t note,
                       struct reading_set_aside *ret);
static double stands_out(double limit, const struct anchor *anchor, const struct anchor *neighbour,
                         double *ret_uncertainty);
static double level_at(const struct station *station, size_t note_count, const struct note *notes, size_t k);
static double level_of(const struct station *station, const struct note *note);
static double depth_at(int64_t when, uint32_t deployment, size_t first, size_t last, const int64_t *time,
                       const double *depth, const uint32_t *deployments);
static double curve_at_zero(size_t n, const double *x, const double *y);
static int compare_anchors(const void *a, const void *b);
static size_t lower_bound(size_t n, const int64_t *time, int64_t wanted);

size_t reference_anchors(struct arena *arena, const struct station *station, size_t note_count,
                         const struct note *notes, size_t n, const int64_t *time, const double *depth,
                         const uint32_t *deployment, struct anchor **ret)
{
    struct anchor *anchors = arena_array(arena, 3 * note_count + 1, sizeof *anchors);
    size_t count = 0;
    for (size_t k = 0; k < note_count; k++) {
        double level = level_at(station, note_count, notes, k);
        if (isnan(level))
            continue;
        size_t first = lower_bound(n, time, notes[k].time - REFERENCE_REACH);
        size_t last = lower_bound(n, time, notes[k].time + REFERENCE_REACH + 1);
        /* At most the deployment that ends, one that is just a visit long, and the one that begins. */
        for (size_t i = first, found = 0; i < last && found < 3; found++) {
            double there = depth_at(notes[k].time, deployment[i], first, last, time, depth, deployment);
            if (!isnan(there))
                anchors[count++] = (struct anchor){
                    notes[k].time, deployment[i], level, there, notes[k].id, (enum check_kind)notes[k].kind, NAN, NAN};
            uint32_t done = deployment[i];
            while (i < last && deployment[i] == done)
                i++;
        }
    }
    qsort(anchors, count, sizeof *anchors, compare_anchors);
    *ret = anchors;
    return count;
}

/* Judged one after the other on what all of them say, and taken out together: the order does not matter. */
size_t reference_set_aside(struct arena *arena, double limit, size_t anchor_count, struct anchor *anchors,
                           struct reading_set_aside **ret, size_t *ret_count)
{
    struct reading_set_aside *list = arena_array(arena, anchor_count + 1, sizeof *list);
    bool *is_kept = arena_array(arena, anchor_count + 1, sizeof *is_kept);
    size_t count = 0, kept = 0;
    for (size_t k = 0; k < anchor_count; k++) {
        struct reading_set_aside found;
        is_kept[k] = !(limit > 0 && is_outside(limit, anchor_count, anchors, anchors[k].note, &found));
        if (!is_kept[k] && (count == 0 || list[count - 1].anchor.note != found.anchor.note))
            list[count++] = found;
    }
    for (size_t k = 0; k < anchor_count; k++)
        if (is_kept[k])
            anchors[kept++] = anchors[k];
    *ret = list;
    *ret_count = count;
    return kept;
}

/* A reading has an anchor in each deployment that it ties: at the end of the one, at the beginning of the next. */
static bool is_outside(double limit, size_t count, const struct anchor *anchors, int64_t note,
                       struct reading_set_aside *ret)
{
    size_t first = 0, last = count - 1;
    while (anchors[first].note != note)
        first++;
    while (anchors[last].note != note)
        last--;
    bool has_left = first > 0 && anchors[first - 1].deployment == anchors[first].deployment;
    bool has_right = last + 1 < count && anchors[last + 1].deployment == anchors[last].deployment;
    const struct anchor *left = has_left ? &anchors[first - 1] : NULL, *right = has_right ? &anchors[last + 1] : NULL;
    double u_left = INFINITY, u_right = INFINITY;
    double from_left = left ? stands_out(limit, &anchors[first], left, &u_left) : 0;
    double from_right = right ? stands_out(limit, &anchors[last], right, &u_right) : 0;
    if (left && !right && first > 1 && anchors[first - 2].deployment == left->deployment)
        from_right = stands_out(limit, left, &anchors[first - 2], &u_right) == 0 ? from_left : 0;
    if (right && !left && last + 2 < count && anchors[last + 2].deployment == right->deployment)
        from_left = stands_out(limit, right, &anchors[last + 2], &u_left) == 0 ? from_right : 0;
    if (from_left * from_right <= 0)
        return false;
    double difference = fabs(from_left) < fabs(from_right) ? from_left : from_right;
    *ret = (struct reading_set_aside){anchors[first], anchors[first].level - difference, fmin(u_left, u_right)};
    return true;
}

/* By how much [m]; 0 where that is within the limit. */
static double stands_out(double limit, const struct anchor *anchor, const struct anchor *neighbour,
                         double *ret_uncertainty)
{
    const double bend = 0.00076; /* of density, a unit of salinity */
    double density =
        (anchor->depth - neighbour->depth) * bend * fmax(anchor->salinity_uncertainty, neighbour->salinity_uncertainty);
    double difference = (anchor->level - anchor->depth) - (neighbour->level - neighbour->depth);
    *ret_uncertainty = sqrt(anchor->uncertainty * anchor->uncertainty +
                            neighbour->uncertainty * neighbour->uncertainty + density * density);
    return fabs(difference) > limit * *ret_uncertainty ? difference : 0;
}

void reference_offsets(size_t n, const int64_t *time, const uint32_t *deployment, size_t anchor_count,
                       const struct anchor *anchors, double sensor_elevation, double *ret_offset,
                       uint8_t *ret_is_borrowed)
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
        if (first ==
            last) { /* none of its own: the nearest of its neighbours, which are the anchors around the place */
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
        double share =
            right->time > left->time ? (double)(time[i] - left->time) / (double)(right->time - left->time) : 0;
        ret_offset[i] = from + share * (to - from);
    }
}

void reference_doubts(size_t n, const int64_t *time, const double *depth, const uint32_t *deployment,
                      size_t anchor_count, const struct anchor *anchors, double *ret_closing, double *ret_change)
{
    size_t first = 0;
    for (size_t i = 0; i < n; i++) {
        while (first < anchor_count && anchors[first].deployment < deployment[i])
            first++;
        size_t k = first;
        while (k < anchor_count && anchors[k].deployment == deployment[i] && anchors[k].time < time[i])
            k++;
        bool has_left = k > first, has_right = k < anchor_count && anchors[k].deployment == deployment[i];
        const struct anchor *left = has_left ? &anchors[k - 1] : NULL, *right = has_right ? &anchors[k] : NULL;
        ret_closing[i] = 0;
        ret_change[i] = fabs(depth[i]);
        if (left && right && right->time > left->time) {
            double size = fabs((right->level - right->depth) - (left->level - left->depth));
            double share = (double)(time[i] - left->time) / (double)(right->time - left->time);
            ret_closing[i] = size * sqrt(share * (1 - share));
        }
        bool takes_left = left && (!right || time[i] - left->time <= right->time - time[i]);
        const struct anchor *nearest = takes_left ? left : right;
        if (nearest)
            ret_change[i] = fabs(depth[i] - nearest->depth);
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

/* The mean of all readings of one time, at the first of them; NaN at the others. */
static double level_at(const struct station *station, size_t note_count, const struct note *notes, size_t k)
{
    double sum = level_of(station, &notes[k]);
    size_t count = 1;
    for (size_t j = k; j > 0 && notes[j - 1].time == notes[k].time; j--)
        if (!isnan(level_of(station, &notes[j - 1])))
            return NAN;
    for (size_t j = k + 1; j < note_count && notes[j].time == notes[k].time; j++) {
        double level = level_of(station, &notes[j]);
        if (isnan(level))
            continue;
        sum += level;
        count++;
    }
    return sum / (double)count;
}

static double level_of(const struct station *station, const struct note *note)
{
    if (note->kind == NOTE_LEVEL) /* read in the datum of its time */
        return note->value + derive_datum_offset(station, note->time);
    return note->kind == NOTE_TAPE_DOWN ? station->tape_point - note->value : NAN;
}

static double depth_at(int64_t when, uint32_t deployment, size_t first, size_t last, const int64_t *time,
                       const double *depth, const uint32_t *deployments)
{
    double x[FITTED_SAMPLES], y[FITTED_SAMPLES];
    size_t n = 0, after = lower_bound(last, time, when), before = after;
    while (n < FITTED_SAMPLES && (before > first || after < last)) {
        bool takes_after = before == first || (after < last && time[after] - when < when - time[before - 1]);
        size_t i = takes_after ? after++ : --before;
        if (deployments[i] != deployment || isnan(depth[i]))
            continue;
        x[n] = (double)(time[i] - when) / 1000;
        y[n++] = depth[i];
    }
    return curve_at_zero(n, x, y);
}

/* Least squares by polynomials that are orthogonal over the samples. A parabola, where 0 lies among them: at slack
 * water a line would cut the tide's crest by a centimetre. Beyond them a line, which cannot run away. n = 1: the
 * sample. */
static double curve_at_zero(size_t n, const double *x, const double *y)
{
    if (n < 2)
        return n == 1 ? y[0] : NAN;
    double least = INFINITY, most = -INFINITY, centre = 0, height = 0;
    for (size_t i = 0; i < n; i++) {
        least = fmin(least, x[i]);
        most = fmax(most, x[i]);
        centre += x[i] / (double)n;
        height += y[i] / (double)n;
    }
    double squares = 0, cubes = 0, slope = 0;
    for (size_t i = 0; i < n; i++) {
        double u = x[i] - centre;
        squares += u * u;
        cubes += u * u * u;
        slope += u * y[i];
    }
    double line = height - slope / squares * centre;
    if (n < 3 || least > 0 || most < 0)
        return line;
    double bend = 0, bends = 0, tilt = cubes / squares, mean = squares / (double)n;
    for (size_t i = 0; i < n; i++) {
        double u = x[i] - centre, p = u * u - tilt * u - mean;
        bend += p * y[i];
        bends += p * p;
    }
    return line + bend / bends * (centre * centre + tilt * centre - mean);
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
