/* SPDX-License-Identifier: MIT */
#include "derive/air.h"

#include "science/air.h"
#include "science/alignment.h"

#include <math.h>
#include <string.h>

struct bracket { /* readings i-1 and i of one source around an instant */
    const struct air_source *source;
    size_t after;
};

static bool covers(struct bracket *bracket, int64_t time, int64_t largest_gap, int64_t *ret_gap);
static double value_between(const struct bracket *bracket, const double *column, int64_t time);
static double radians(double degrees);

void air_pressure_at(size_t n, const int64_t *time, size_t source_count, const struct air_source *sources,
                     double elevation, double gravity, int64_t largest_gap, double *ret_pressure, uint32_t *ret_barometer,
                     int64_t *ret_gap)
{
    for (size_t i = 0; i < n; i++) {
        ret_pressure[i] = NAN;
        ret_barometer[i] = 0;
        ret_gap[i] = 0;
    }
    for (size_t s = 0; s < source_count; s++) {
        const struct air_source *source = &sources[s];
        const double *pressure = source->readings.value[QUANTITY_AIR_PRESSURE];
        const double *temperature = source->readings.value[QUANTITY_AIR_TEMPERATURE];
        if (!pressure || source->readings.n == 0)
            continue;
        double rise = elevation - source->barometer->elevation;
        double standard = air_temperature_isa((elevation + source->barometer->elevation) / 2);
        struct bracket bracket = {.source = source};
        for (size_t i = 0; i < n; i++) {
            int64_t gap;
            if (ret_barometer[i] || !covers(&bracket, time[i], largest_gap, &gap))
                continue;
            double measured = temperature ? value_between(&bracket, temperature, time[i]) : NAN;
            double there = value_between(&bracket, pressure, time[i]);
            double here = air_pressure_reduced(there, rise, isnan(measured) ? standard : measured, gravity);
            if (isnan(here))
                continue;
            ret_pressure[i] = here;
            ret_barometer[i] = source->number;
            ret_gap[i] = gap;
        }
    }
}

double distance_between(double latitude_a, double longitude_a, double latitude_b, double longitude_b)
{
    double a = radians(latitude_a), b = radians(latitude_b);
    double s = sin((b - a) / 2), t = sin(radians(longitude_b - longitude_a) / 2);
    double h = s * s + cos(a) * cos(b) * t * t; /* haversine: exact for small distances too */
    return 2 * 6371008.8 * asin(sqrt(h < 1 ? h : 1));
}

size_t air_candidates(const struct config *config, const struct station *station, size_t *ret)
{
    size_t n = 0;
    if (station->barometers.count > 0) {
        for (size_t k = 0; k < station->barometers.count; k++) {
            size_t index = config_find_barometer(config, station->barometers.words[k]);
            if (index < config->barometer_count)
                ret[n++] = index;
        }
        return n;
    }
    double *distance = x_array(config->barometer_count, sizeof *distance);
    for (size_t index = 0; index < config->barometer_count; index++) {
        const struct barometer *b = &config->barometers[index];
        double d = distance_between(station->latitude, station->longitude, b->latitude, b->longitude);
        if (d > config->pairing_distance)
            continue;
        size_t at = n++;
        for (; at > 0 && distance[at - 1] > d; at--) { /* equal distances keep the order of the settings */
            distance[at] = distance[at - 1];
            ret[at] = ret[at - 1];
        }
        distance[at] = d;
        ret[at] = index;
    }
    cleanup_free(&distance);
    return n;
}

/* Moves on to the first reading at or after `time`; instants ascend, so the whole walk is linear. */
static bool covers(struct bracket *bracket, int64_t time, int64_t largest_gap, int64_t *ret_gap)
{
    const struct readings *r = &bracket->source->readings;
    while (bracket->after < r->n && r->time[bracket->after] < time)
        bracket->after++;
    if (bracket->after == r->n)
        return false;
    *ret_gap = 0;
    if (r->time[bracket->after] == time)
        return true;
    if (bracket->after == 0)
        return false;
    *ret_gap = r->time[bracket->after] - r->time[bracket->after - 1];
    return *ret_gap <= largest_gap;
}

static double value_between(const struct bracket *bracket, const double *column, int64_t time)
{
    const struct readings *r = &bracket->source->readings;
    size_t i = bracket->after;
    if (r->time[i] == time)
        return column[i];
    return alignment_interpolate(time, r->time[i - 1], column[i - 1], r->time[i], column[i]);
}

static double radians(double degrees)
{
    return degrees * 3.14159265358979323846 / 180;
}
