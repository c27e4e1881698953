/* SPDX-License-Identifier: MIT */
/* One written value to one number: '30 min', '0.25 m', '64 MiB', '-08:00', 'true'.
 *
 * Pure: text in, value out. On failure the error (kind CONFIG) holds the end of a sentence that begins with the key:
 * "is a length such as '0.25 m', found '3 mg/L', a concentration". */
#ifndef RILLWARD_CONFIG_VALUE_H
#define RILLWARD_CONFIG_VALUE_H

#include "base/error.h"
#include "model/quantity.h"
#include "science/units.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define NO_DIMENSION (-1) /* a bare number */

/* Number with a unit of `dimension` in the base unit of science/units.h. A bare number is accepted for NO_DIMENSION,
 * salinity and temperature coefficients only. `is_difference`: 5 degF is 2.78 degC. */
bool value_quantity(const char *text, size_t length, int dimension, bool is_difference, double *ret,
                    struct error *error);
/* Largest change per hour of something of `dimension`; '/h' behind the unit may be left out. */
bool value_rate(const char *text, size_t length, int dimension, double *ret, struct error *error);
bool value_duration(const char *text, size_t length, int64_t *ret_ms, struct error *error);
/* B, kB, MB, GB, KiB, MiB, GiB; the unit is required. */
bool value_size(const char *text, size_t length, int64_t *ret_bytes, struct error *error);
/* Offset of a clock from UTC. */
bool value_offset(const char *text, size_t length, int64_t *ret_ms, struct error *error);
/* Time of day "07:30" in minutes, up to 24:00. */
bool value_clock(const char *text, size_t length, int *ret_minutes, struct error *error);
/* Days of the week, "mon-fri" or "sat": bit 0 Monday ... bit 6 Sunday; over the week's end too ("fri-mon"). */
bool value_days(const char *text, size_t length, unsigned *ret_days, struct error *error);
/* The same of months: "aug", "oct-mar"; bit 0 is January. */
bool value_months(const char *text, size_t length, unsigned *ret_months, struct error *error);
/* Stage of the tide: rising, falling, high, low; bit of enum tide_stage. */
bool value_tide(const char *text, size_t length, unsigned *ret_stage, struct error *error);
bool value_integer(const char *text, size_t length, int *ret, struct error *error);
/* Only 'true' and 'false': the other words of old YAML turn country codes into truth values. */
bool value_boolean(const char *text, size_t length, bool *ret, struct error *error);

/* What a quantity is measured in. */
enum unit_dimension quantity_dimension(enum quantity quantity);

/* Same word, where case does not count and '-', '_' and ' ' are the same. */
bool value_same_word(const char *a, const char *b);

#endif
