/* SPDX-License-Identifier: MIT */
#include "derive/air.h"

#include "science/air.h"
#include "science/alignment.h"

#include <math.h>

static void add_source(const struct air_source *source, size_t n, const int64_t *time, double elevation, double gravity,
                       int64_t largest_gap, double *pressure, uint32_t *barometer, int64_t *gap);
static double radians(double degrees);

void air_pressure_at(size_t n, const int64_t *time, size_t source_count, const struct air_source *sources,
                     double elevation, double gravity, int64_t largest_gap, double *ret_pressure,
                     uint32_t *ret_barometer, int64_t *ret_gap)
{
    for (size_t i = 0; i < n; i++) {
        ret_pressure[i] = NAN;
        ret_barometer[i] = 0;
        ret_gap[i] = 0;
    }
    for (size_t s = 0; s < source_count; s++)
        if (sources[s].readings.value[QUANTITY_AIR_PRESSURE])
            add_source(&sources[s], n, time, elevation, gravity, largest_gap, ret_pressure, ret_barometer, ret_gap);
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

/* Fills in what the sources before left open. Pressure and temperature are bracketed each by itself: a barometer may
 * record them at different times. */
static void add_source(const struct air_source *source, size_t n, const int64_t *time, double elevation, double gravity,
                       int64_t largest_gap, double *pressure, uint32_t *barometer, int64_t *gap)
{
    const struct readings *r = &source->readings;
    double *there = x_array(n, sizeof *there), *warmth = x_array(n, sizeof *warmth);
    int64_t *width = x_array(n, sizeof *width);
    alignment_interpolate_sweep(n, time, r->n, r->time, r->value[QUANTITY_AIR_PRESSURE], largest_gap, there, width);
    bool has_warmth = r->value[QUANTITY_AIR_TEMPERATURE] != NULL;
    if (has_warmth)
        alignment_interpolate_sweep(n, time, r->n, r->time, r->value[QUANTITY_AIR_TEMPERATURE], largest_gap, warmth,
                                    NULL);
    double rise = elevation - source->barometer->elevation;
    double standard = air_temperature_isa((elevation + source->barometer->elevation) / 2);
    for (size_t i = 0; i < n; i++) {
        if (barometer[i] || isnan(there[i]))
            continue;
        double here = has_warmth ? air_pressure_reduced(there[i], rise, warmth[i], gravity) : NAN;
        if (isnan(here)) /* no thermometer, or a broken one */
            here = air_pressure_reduced(there[i], rise, standard, gravity);
        if (isnan(here))
            continue;
        pressure[i] = here;
        barometer[i] = source->number;
        gap[i] = width[i];
    }
    cleanup_free(&there);
    cleanup_free(&warmth);
    cleanup_free(&width);
}

static double radians(double degrees)
{
    return degrees * 3.14159265358979323846 / 180;
}
