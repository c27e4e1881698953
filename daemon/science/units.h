/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_UNITS_H
#define RILLWARD_SCIENCE_UNITS_H

#include <stddef.h>

/* The units that crews, loggers and settings write, and their conversion to the one unit used inside.
 *
 * Each dimension has one base unit; everything behind the door is in it:
 *
 *   pressure                 Pa          temperature               degC (ITS-90)
 *   length                   m           conductivity              mS/cm
 *   concentration            mg/L        percentage                %
 *   salinity                 1 (PSS-78)  duration                  ms
 *   rate of rise             m/h         voltage                   V
 *   density                  kg/m3       temperature coefficient   1/degC
 *   angle                    deg
 *
 * Factors: exact definitions (international foot and pound, g_n = 9.80665 m/s2); inHg, mmHg and the
 * columns of water are the conventional ones of NIST SP 811 (2008), app. B.8. A 'metre of water' is a
 * pressure (9806.65 Pa), not a depth.
 *
 * 'umol/L' and 'mL/L' stand for dissolved oxygen only: molar mass 31.9988 g/mol, 1.42905 mg per mL (gas at
 * 0 degC, 1 atm). 'umol/kg' is not here because it needs the density: see oxygen_from_micromoles_per_kg().
 */
enum unit_dimension {
    UNIT_PRESSURE,
    UNIT_LENGTH,
    UNIT_TEMPERATURE,
    UNIT_CONDUCTIVITY,
    UNIT_MASS_CONCENTRATION,
    UNIT_PERCENTAGE,
    UNIT_SALINITY,
    UNIT_DURATION,
    UNIT_RATE_OF_RISE,
    UNIT_VOLTAGE,
    UNIT_DENSITY,
    UNIT_TEMPERATURE_COEFFICIENT,
    UNIT_ANGLE,
    UNIT_DIMENSION_COUNT
};

/* One row of the table: base = (value - offset) * scale. The offset is thus the reading at which the base
 * unit shows zero (32 for degF); it is 0 for everything but temperatures. */
struct unit {
    const char *name;    /* the form we print */
    const char *aliases; /* other accepted spellings, separated by '|'; "" where there are none */
    enum unit_dimension dimension;
    double scale;     /* base units in one of this unit */
    double offset;    /* reading at zero of the base unit */
    const char *help; /* one line: what it is, and the trap if there is one */
};

/* The unit written as `name` (UTF-8, `length` bytes, not necessarily terminated), or NULL. Spelling and case
 * are exact, because case carries meaning (mS and MS, m and M); blanks around it are the caller's to cut. */
const struct unit *unit_find(const char *name, size_t length);

/* A value in `unit`, in the base unit; and back. NaN stays NaN. */
double unit_to_base(const struct unit *unit, double value);
double unit_from_base(const struct unit *unit, double base_value);

/* The same for a difference of two values: a deadband of 5 degF is 2.78 degC, not -15 degC. */
double unit_difference_to_base(const struct unit *unit, double difference);
double unit_difference_from_base(const struct unit *unit, double base_difference);

/* `n` values to the base unit. Output may be the input array. */
void unit_to_base_sweep(size_t n, const double *values, const struct unit *unit, double *ret_base_values);

/* "pressure", "length" ...: for messages. */
const char *unit_dimension_name(enum unit_dimension dimension);

/* The row whose scale is 1 and offset 0, that is, the unit used inside for this dimension. */
const struct unit *unit_base(enum unit_dimension dimension);

/* Iteration over the table, in groups of one dimension; `index` below unit_count(). */
size_t unit_count(void);
const struct unit *unit_at(size_t index);

/* The `index`-th spelling of a unit (0 is its name), its length in *ret_length; NULL after the last. */
const char *unit_spelling(const struct unit *unit, size_t index, size_t *ret_length);

#endif
