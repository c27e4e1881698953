/* SPDX-License-Identifier: MIT */
#include "derive/salt.h"

#include "derive/rows.h"
#include "science/conductance.h"
#include "science/salinity.h"

#include <math.h>

struct conversion {
    bool is_curve;
    double coefficient;
};

static struct conversion of_record(const struct station *station);
static struct conversion of_sensor(const struct station *station);
static double to_25(struct conversion conversion, double conductivity, double temperature);
static double from_25(struct conversion conversion, double conductance, double temperature);
static void mark_curve(struct record *record, size_t i);

void salt_complete_conductivity(struct arena *arena, const struct station *station, struct record *record)
{
    const double *temperature = record->value[QUANTITY_TEMPERATURE];
    if (!temperature ||
        (!record->value[QUANTITY_CONDUCTIVITY] && !record->value[QUANTITY_SPECIFIC_CONDUCTANCE]))
        return;
    record_add_column(record, arena, QUANTITY_CONDUCTIVITY);
    record_add_column(record, arena, QUANTITY_SPECIFIC_CONDUCTANCE);
    double *actual = record->value[QUANTITY_CONDUCTIVITY],
           *specific = record->value[QUANTITY_SPECIFIC_CONDUCTANCE];
    const struct conversion ours = of_record(station), sensors = of_sensor(station);
    bool is_same =
        ours.is_curve == sensors.is_curve && (ours.is_curve || ours.coefficient == sensors.coefficient);
    rows_inherit(record, QUANTITY_SPECIFIC_CONDUCTANCE,
                 QUANTITY_TEMPERATURE); /* the logger compensated by it */
    for (size_t i = 0; i < record->n; i++) {
        bool has_actual = !isnan(actual[i]), has_specific = !isnan(specific[i]);
        if (!has_actual && has_specific) {
            actual[i] = from_25(sensors, specific[i], temperature[i]);
            rows_make(record, QUANTITY_CONDUCTIVITY, QUANTITY_SPECIFIC_CONDUCTANCE, i);
            if (!is_same)
                specific[i] = to_25(ours, actual[i], temperature[i]);
        } else if (has_actual && !has_specific) {
            specific[i] = to_25(ours, actual[i], temperature[i]);
            rows_make(record, QUANTITY_SPECIFIC_CONDUCTANCE, QUANTITY_CONDUCTIVITY, i);
            rows_inherit_one(record, QUANTITY_SPECIFIC_CONDUCTANCE, QUANTITY_TEMPERATURE, i);
        } else {
            continue;
        }
        if (!has_actual)
            rows_inherit_one(record, QUANTITY_CONDUCTIVITY, QUANTITY_TEMPERATURE, i);
        if ((ours.is_curve || sensors.is_curve) && !isnan(temperature[i]))
            mark_curve(record, i);
    }
}

void salt_compute_salinity(struct arena *arena, struct record *record)
{
    const double *conductivity = record->value[QUANTITY_CONDUCTIVITY],
                 *temperature = record->value[QUANTITY_TEMPERATURE];
    if (!conductivity || !temperature)
        return;
    record_add_column(record, arena, QUANTITY_SALINITY);
    double *salinity = record->value[QUANTITY_SALINITY];
    salt_sweep(record->n, conductivity, temperature, salinity);
    rows_inherit(record, QUANTITY_SALINITY, QUANTITY_CONDUCTIVITY);
    for (size_t i = 0; i < record->n; i++) {
        if (isnan(conductivity[i]))
            continue;
        if (isnan(salinity[i]))
            rows_mark(record, QUANTITY_SALINITY, i,
                      isnan(temperature[i]) ? TEST_NO_TEMPERATURE : TEST_RANGE_OF_FORMULA, FLAG_MISSING);
        else if (temperature[i] > SALINITY_FITTED_TEMPERATURE_C ||
                 conductivity[i] <= SALINITY_LEAST_CONDUCTIVITY_MS_CM)
            rows_mark(record, QUANTITY_SALINITY, i, TEST_RANGE_OF_FORMULA, FLAG_SUSPECT);
    }
}

/* The formula gives 0 below zero, which is how fresh water looks: a sensor below zero knows no salinity. */
void salt_sweep(size_t n, const double *conductivity, const double *temperature, double *ret)
{
    for (size_t i = 0; i < n; i++)
        ret[i] = conductivity[i] < 0 ? NAN : salinity_from_conductivity(conductivity[i], temperature[i], 0);
}

static struct conversion of_record(const struct station *station)
{
    return (struct conversion){station->conductance_compensation == COMPENSATION_ISO_7888,
                               station->conductance_coefficient};
}

static struct conversion of_sensor(const struct station *station)
{
    struct conversion ret = of_record(station);
    if (station->conductance_sensor_compensation != COMPENSATION_SAME)
        ret.is_curve = station->conductance_sensor_compensation == COMPENSATION_ISO_7888;
    if (!isnan(station->conductance_sensor_coefficient))
        ret.coefficient = station->conductance_sensor_coefficient;
    return ret;
}

static double to_25(struct conversion c, double conductivity, double temperature)
{
    return c.is_curve ? conductance_at_25_iso7888(conductivity, temperature)
                      : conductance_at_25(conductivity, temperature, c.coefficient);
}

static double from_25(struct conversion c, double conductance, double temperature)
{
    return c.is_curve ? conductance_undone_iso7888(conductance, temperature)
                      : conductance_undone(conductance, temperature, c.coefficient);
}

static void mark_curve(struct record *record, size_t i)
{
    static const enum quantity both[] = {QUANTITY_CONDUCTIVITY, QUANTITY_SPECIFIC_CONDUCTANCE};
    double specific = record->value[QUANTITY_SPECIFIC_CONDUCTANCE][i];
    bool is_for_it = specific >= CONDUCTANCE_ISO_LEAST && specific <= CONDUCTANCE_ISO_MOST;
    for (size_t k = 0; k < sizeof both / sizeof both[0]; k++) {
        bool is_missing = isnan(record->value[both[k]][i]);
        if (is_missing || (both[k] == QUANTITY_SPECIFIC_CONDUCTANCE && !is_for_it))
            rows_mark(record, both[k], i, TEST_RANGE_OF_FORMULA, is_missing ? FLAG_MISSING : FLAG_SUSPECT);
    }
}
