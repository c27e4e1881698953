/* SPDX-License-Identifier: MIT */
#include "derive/hand_over.h"

#include "base/timestamp.h"
#include "science/statistics.h"

#include <math.h>

enum { LOOKED_AT = 32 }; /* readings of the last hour */

/* Where the preferred barometers leave off around a time, and come back. */
struct absence {
    size_t from_source, to_source; /* the count of sources: nobody */
    int64_t from, to;
    double left, right; /* what to add there [Pa]; NaN: not known */
};

static struct absence find_absence(const struct hand_over_input *input, size_t source, int64_t time);
static double shift_at(const struct hand_over_input *input, size_t source, int64_t time);
static double shift_within(const struct hand_over_input *input, const struct absence *absence, int64_t time);
static double difference(const struct hand_over_input *input, size_t better, size_t source, int64_t time, int step);
static double reduced_at(const struct hand_over_input *input, size_t source, int64_t time);
static size_t last_reading(const struct air_source *source, int64_t time);
static bool has_pressure(const struct air_source *source, size_t row);

void hand_over_shifts(const struct hand_over_input *input, size_t n, const int64_t *time, const uint32_t *barometer,
                      double *ret_shift)
{
    struct absence known = {.from = INT64_MAX, .to = INT64_MIN};
    size_t of = input->source_count; /* the source that `known` was found for */
    for (size_t i = 0; i < n; i++) {
        size_t source = 0;
        while (source < input->source_count && input->sources[source].number != barometer[i])
            source++;
        ret_shift[i] = 0;
        if (source == 0 || source == input->source_count || input->fade == 0)
            continue;
        if (source != of || time[i] <= known.from || time[i] >= known.to) {
            known = find_absence(input, source, time[i]);
            of = source;
        }
        ret_shift[i] = shift_within(input, &known, time[i]);
    }
}

int64_t hand_over_reach(int64_t fade)
{
    return 2 * fade + HAND_OVER_LOOK;
}

static double shift_at(const struct hand_over_input *input, size_t source, int64_t time)
{
    if (source == 0)
        return 0;
    const struct absence absence = find_absence(input, source, time);
    return shift_within(input, &absence, time);
}

static struct absence find_absence(const struct hand_over_input *input, size_t source, int64_t time)
{
    struct absence a = {.from_source = input->source_count,
                        .to_source = input->source_count,
                        .from = INT64_MIN,
                        .to = INT64_MAX,
                        .left = NAN,
                        .right = NAN};
    for (size_t s = 0; s < source; s++) {
        const struct air_source *better = &input->sources[s];
        size_t last = last_reading(better, time), next = last + 1;
        while (last != SIZE_MAX && !has_pressure(better, last))
            last = last == 0 ? SIZE_MAX : last - 1;
        while (next < better->readings.n && !has_pressure(better, next))
            next++;
        if (last != SIZE_MAX && better->readings.time[last] > a.from) {
            a.from = better->readings.time[last];
            a.from_source = s;
        }
        if (next < better->readings.n && better->readings.time[next] < a.to) {
            a.to = better->readings.time[next];
            a.to_source = s;
        }
    }
    if (a.from_source < input->source_count)
        a.left = difference(input, a.from_source, source, a.from, -1);
    if (a.to_source < input->source_count)
        a.right = difference(input, a.to_source, source, a.to, 1);
    return a;
}

static double shift_within(const struct hand_over_input *input, const struct absence *a, int64_t time)
{
    double fade = (double)input->fade, since = INFINITY, until = INFINITY;
    if (!isnan(a->left))
        since = (double)(time - a->from);
    if (!isnan(a->right))
        until = (double)(a->to - time);
    if (since + until < 2 * fade)
        return a->left + (a->right - a->left) * since / (since + until);
    double shift = 0;
    if (since < fade)
        shift += a->left * (1 - since / fade);
    if (until < fade)
        shift += a->right * (1 - until / fade);
    return shift;
}

/* What the better one says more at its readings around the end of its coverage; step -1: the last ones, 1: the first.
 */
static double difference(const struct hand_over_input *input, size_t better, size_t source, int64_t time, int step)
{
    const struct air_source *b = &input->sources[better];
    double found[LOOKED_AT];
    size_t n = 0;
    size_t row = last_reading(b, time);
    for (; row < b->readings.n && n<LOOKED_AT; row = step> 0 ? row + 1 : row - 1) { /* below 0 it wraps */
        int64_t at = b->readings.time[row];
        if ((step > 0 ? at - time : time - at) > HAND_OVER_LOOK)
            break;
        double more = has_pressure(b, row) ? reduced_at(input, better, at) - reduced_at(input, source, at) : NAN;
        if (!isnan(more))
            found[n++] = more;
    }
    return n > 0 ? statistics_median(n, found) + shift_at(input, better, time) : NAN;
}

static double reduced_at(const struct hand_over_input *input, size_t source, int64_t time)
{
    double pressure;
    uint32_t barometer;
    int64_t gap;
    const struct air_source *s = &input->sources[source];
    size_t row = last_reading(s, time), first = row == SIZE_MAX ? 0 : row, last = first;
    while (first > 0 && !has_pressure(s, first))
        first--;
    while (last < s->readings.n && (s->readings.time[last] < time || !has_pressure(s, last)))
        last++;
    if (last == s->readings.n)
        return NAN;
    /* Only the bracket, so that the cost does not grow with the readings. */
    struct air_source around = *s;
    around.readings = readings_between(&s->readings, s->readings.time[first], s->readings.time[last] + 1);
    air_pressure_at(1, &time, 1, &around, input->elevation, input->gravity, input->largest_gap, &pressure, &barometer,
                    &gap);
    return pressure;
}

/* Row at or before `time`, SIZE_MAX without one. */
static size_t last_reading(const struct air_source *source, int64_t time)
{
    return readings_at_or_after(&source->readings, time + 1) - 1;
}

static bool has_pressure(const struct air_source *source, size_t row)
{
    const double *pressure = source->readings.value[QUANTITY_AIR_PRESSURE];
    return pressure && !isnan(pressure[row]);
}
