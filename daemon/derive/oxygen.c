/* SPDX-License-Identifier: MIT */
#include "derive/oxygen.h"

#include "derive/rows.h"
#include "science/oxygen.h"

#include <math.h>

/* One row of it. */
struct reading {
    double temperature, salinity, told_salinity, told_pressure, gain;
};

static double calibration_gain(const struct station *station);
static struct reading reading_at(const struct station *station, const struct oxygen_situation *situation,
                                 double temperature, size_t i);
static void from_percent(struct record *record, const struct reading *reading, size_t i);
static void from_concentration(struct record *record, const struct reading *reading, size_t i);

void oxygen_compute(struct arena *arena, const struct station *station,
                    const struct oxygen_situation *situation, struct record *record)
{
    if (!record->value[QUANTITY_OXYGEN] && !record->value[QUANTITY_OXYGEN_SATURATION])
        return;
    record_add_column(record, arena, QUANTITY_OXYGEN);
    const double *temperature = record->value[station->oxygen_thermometer];
    const double *percent = record->value[QUANTITY_OXYGEN_SATURATION],
                 *oxygen = record->value[QUANTITY_OXYGEN];
    double gain = calibration_gain(station);
    for (size_t i = 0; i < record->n; i++) { /* row by row, as conductivity */
        struct reading reading = reading_at(station, situation, temperature ? temperature[i] : NAN, i);
        reading.gain = gain;
        if (!isnan(oxygen[i]))
            from_concentration(record, &reading, i);
        else if (percent && !isnan(percent[i]))
            from_percent(record, &reading, i);
        rows_mark(record, QUANTITY_OXYGEN, i, situation->salinity_tests[i] & TEST_ESTIMATED_SALINITY,
                  situation->salinity_flag[i] == FLAG_SUSPECT ? FLAG_SUSPECT : FLAG_NOT_EVALUATED);
    }
    rows_inherit(record, QUANTITY_OXYGEN, station->oxygen_thermometer);
}

void oxygen_compute_saturation(struct arena *arena, const struct station *station,
                               const struct oxygen_situation *situation, struct record *record)
{
    const double *oxygen = record->value[QUANTITY_OXYGEN],
                 *temperature = record->value[station->oxygen_thermometer];
    if (!oxygen)
        return;
    record_add_column(record, arena, QUANTITY_OXYGEN_SATURATION);
    record_add_column(record, arena, QUANTITY_OXYGEN_SATURATION_STANDARD);
    double *local = record->value[QUANTITY_OXYGEN_SATURATION],
           *standard = record->value[QUANTITY_OXYGEN_SATURATION_STANDARD];
    for (size_t i = 0; i < record->n; i++) {
        /* What was reported in % is replaced, so its own marks must not stay behind. */
        record->flag[QUANTITY_OXYGEN_SATURATION][i] = FLAG_NOT_EVALUATED;
        record->tests[QUANTITY_OXYGEN_SATURATION][i] = 0;
        double t = temperature ? temperature[i] : NAN;
        local[i] = oxygen_percent(oxygen[i], t, situation->salinity[i], situation->air[i]);
        standard[i] = oxygen_percent(oxygen[i], t, situation->salinity[i], OXYGEN_SEA_LEVEL_PA);
        if (!isnan(t) || isnan(oxygen[i]))
            continue;
        rows_mark(record, QUANTITY_OXYGEN_SATURATION, i, TEST_NO_TEMPERATURE, FLAG_MISSING);
        rows_mark(record, QUANTITY_OXYGEN_SATURATION_STANDARD, i, TEST_NO_TEMPERATURE, FLAG_MISSING);
    }
    rows_inherit(record, QUANTITY_OXYGEN_SATURATION, QUANTITY_OXYGEN);
    rows_inherit(record, QUANTITY_OXYGEN_SATURATION, QUANTITY_AIR_PRESSURE);
    rows_inherit(record, QUANTITY_OXYGEN_SATURATION_STANDARD, QUANTITY_OXYGEN);
}

static double calibration_gain(const struct station *station)
{
    const struct air_calibration *c = &station->oxygen_calibration;
    return isnan(c->temperature) ? 1 : oxygen_air_calibration_gain(c->temperature, c->air_pressure, c->told);
}

static struct reading reading_at(const struct station *station, const struct oxygen_situation *situation,
                                 double temperature, size_t i)
{
    double told = station->oxygen_sensor_salinity, pressure = station->oxygen_sensor_pressure;
    if (isnan(told) && situation->told_salinity)
        told = situation->told_salinity[i];
    return (struct reading){.temperature = temperature,
                            .salinity = situation->salinity[i],
                            .told_salinity = told,
                            .told_pressure = isnan(pressure) ? situation->air[i] : pressure};
}

/* Per cent follows the partial pressure and does not depend on what salinity the sensor was told. */
static void from_percent(struct record *record, const struct reading *r, size_t i)
{
    double percent = record->value[QUANTITY_OXYGEN_SATURATION][i] * r->gain;
    double *oxygen = &record->value[QUANTITY_OXYGEN][i];
    *oxygen = oxygen_from_percent(percent, r->temperature, r->salinity, r->told_pressure);
    rows_make(record, QUANTITY_OXYGEN, QUANTITY_OXYGEN_SATURATION, i);
    if (isnan(r->temperature))
        rows_mark(record, QUANTITY_OXYGEN, i, TEST_NO_TEMPERATURE, FLAG_MISSING);
    else if (isnan(r->told_pressure))
        rows_mark(record, QUANTITY_OXYGEN, i, TEST_NO_AIR_PRESSURE, FLAG_MISSING);
    else if (isnan(*oxygen))
        rows_mark(record, QUANTITY_OXYGEN, i, TEST_RANGE_OF_FORMULA, FLAG_MISSING);
}

static void from_concentration(struct record *record, const struct reading *r, size_t i)
{
    double *oxygen = &record->value[QUANTITY_OXYGEN][i];
    *oxygen *= r->gain;
    if (isnan(r->told_salinity)) {
        rows_mark(record, QUANTITY_OXYGEN, i, TEST_ESTIMATED_SALINITY, FLAG_SUSPECT);
        return;
    }
    bool is_told_so = r->told_salinity == r->salinity; /* nothing to compute */
    if (!is_told_so)
        *oxygen = oxygen_corrected_for_salinity(*oxygen, r->temperature, r->salinity, r->told_salinity);
    if (isnan(r->temperature))
        rows_mark(record, QUANTITY_OXYGEN, i, TEST_NO_TEMPERATURE, is_told_so ? FLAG_SUSPECT : FLAG_MISSING);
    else if (isnan(*oxygen))
        rows_mark(record, QUANTITY_OXYGEN, i, TEST_RANGE_OF_FORMULA, FLAG_MISSING);
}
