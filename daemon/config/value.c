/* SPDX-License-Identifier: MIT */
#include "config/value.h"

#include "base/memory.h"
#include "base/text.h"
#include "base/timestamp.h"

#include <ctype.h>
#include <limits.h>
#include <math.h>
#include <string.h>
#include <strings.h>

#define LONGEST_SHOWN 60 /* bytes of a value that a message repeats */

static const char *const examples[] = {
    [UNIT_PRESSURE] = "1013.25 hPa",
    [UNIT_LENGTH] = "0.25 m",
    [UNIT_TEMPERATURE] = "25 degC",
    [UNIT_CONDUCTIVITY] = "1500 uS/cm",
    [UNIT_MASS_CONCENTRATION] = "3 mg/L",
    [UNIT_PERCENTAGE] = "80 %",
    [UNIT_SALINITY] = "13",
    [UNIT_DURATION] = "30 min",
    [UNIT_RATE_OF_RISE] = "0.3 m/h",
    [UNIT_VOLTAGE] = "3.6 V",
    [UNIT_DENSITY] = "1010 kg/m3",
    [UNIT_TEMPERATURE_COEFFICIENT] = "0.0191",
    [UNIT_ANGLE] = "44.03 deg",
};
_Static_assert(sizeof examples / sizeof examples[0] == UNIT_DIMENSION_COUNT, "every dimension has an example");

static const enum unit_dimension dimensions[] = {
    [QUANTITY_LEVEL] = UNIT_LENGTH,
    [QUANTITY_DEPTH] = UNIT_LENGTH,
    [QUANTITY_TEMPERATURE] = UNIT_TEMPERATURE,
    [QUANTITY_OXYGEN] = UNIT_MASS_CONCENTRATION,
    [QUANTITY_OXYGEN_SATURATION] = UNIT_PERCENTAGE,
    [QUANTITY_OXYGEN_SATURATION_STANDARD] = UNIT_PERCENTAGE,
    [QUANTITY_CONDUCTIVITY] = UNIT_CONDUCTIVITY,
    [QUANTITY_SPECIFIC_CONDUCTANCE] = UNIT_CONDUCTIVITY,
    [QUANTITY_SALINITY] = UNIT_SALINITY,
    [QUANTITY_WATER_PRESSURE] = UNIT_PRESSURE,
    [QUANTITY_AIR_PRESSURE] = UNIT_PRESSURE,
    [QUANTITY_AIR_TEMPERATURE] = UNIT_TEMPERATURE,
    [QUANTITY_BATTERY] = UNIT_VOLTAGE,
    [QUANTITY_SECOND_TEMPERATURE] = UNIT_TEMPERATURE,
    [QUANTITY_SENSOR_LATITUDE] = UNIT_ANGLE,
    [QUANTITY_SENSOR_LONGITUDE] = UNIT_ANGLE,
};
_Static_assert(sizeof dimensions / sizeof dimensions[0] == QUANTITY_COUNT, "every quantity has a dimension");

/* Number and unit of one value, as written. */
struct parts {
    double number;
    const char *unit;
    size_t unit_length;
};

static bool split(const char *text, size_t length, struct parts *ret);
static bool read_run(const char *text, size_t length, const char *const *names, size_t count, unsigned *ret);
static size_t number_length(const char *text, size_t length);
static void trim(const char **text, size_t *length);
static bool may_be_bare(int dimension);
static bool wrong(struct error *error, int dimension, const char *text, size_t length);
static int shown(size_t length);
static char folded(char c);

bool value_quantity(const char *text, size_t length, int dimension, bool is_difference, double *ret,
                    struct error *error)
{
    struct parts parts;
    trim(&text, &length);
    if (!split(text, length, &parts))
        return wrong(error, dimension, text, length);
    if (parts.unit_length == 0) {
        if (!may_be_bare(dimension))
            return fail(error, ERROR_CONFIG, "is a %s and needs its unit, such as '%s', found '%.*s'",
                        unit_dimension_name((enum unit_dimension)dimension), examples[dimension], shown(length), text);
        *ret = parts.number;
        return true;
    }
    if (dimension == NO_DIMENSION)
        return fail(error, ERROR_CONFIG, "is a number without a unit, found '%.*s'", shown(length), text);
    const struct unit *unit = unit_find(parts.unit, parts.unit_length);
    const char *name = unit_dimension_name((enum unit_dimension)dimension);
    if (!unit)
        return fail(error, ERROR_CONFIG, "is a %s such as '%s', found the unknown unit '%.*s'", name,
                    examples[dimension], shown(parts.unit_length), parts.unit);
    if ((int)unit->dimension != dimension)
        return fail(error, ERROR_CONFIG, "is a %s such as '%s', found '%.*s', a %s", name, examples[dimension],
                    shown(length), text, unit_dimension_name(unit->dimension));
    *ret = is_difference ? unit_difference_to_base(unit, parts.number) : unit_to_base(unit, parts.number);
    return true;
}

bool value_rate(const char *text, size_t length, int dimension, double *ret, struct error *error)
{
    trim(&text, &length);
    if (length > 2 && memcmp(text + length - 2, "/h", 2) == 0)
        length -= 2;
    return value_quantity(text, length, dimension, true, ret, error);
}

bool value_duration(const char *text, size_t length, int64_t *ret_ms, struct error *error)
{
    double ms;
    if (!value_quantity(text, length, UNIT_DURATION, true, &ms, error))
        return false;
    if (!(fabs(ms) < 1e15))
        return fail(error, ERROR_CONFIG, "is a duration below 30 000 years, found '%.*s'", shown(length), text);
    *ret_ms = llround(ms);
    return true;
}

bool value_size(const char *text, size_t length, int64_t *ret_bytes, struct error *error)
{
    static const struct {
        const char *name;
        double bytes;
    } units[] = {{"B", 1},      {"kB", 1e3},          {"MB", 1e6},        {"GB", 1e9},
                 {"KiB", 1024}, {"MiB", 1024 * 1024}, {"GiB", 1073741824}};
    struct parts parts;
    trim(&text, &length);
    if (split(text, length, &parts) && parts.number >= 0 && parts.number < 1e9) {
        for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
            if (strlen(units[i].name) != parts.unit_length || memcmp(units[i].name, parts.unit, parts.unit_length) != 0)
                continue;
            *ret_bytes = llround(parts.number * units[i].bytes);
            return true;
        }
    }
    return fail(error, ERROR_CONFIG, "is a size in B, kB, MB, GB, KiB, MiB or GiB, such as '64 MiB', found '%.*s'",
                shown(length), text);
}

bool value_offset(const char *text, size_t length, int64_t *ret_ms, struct error *error)
{
    return timestamp_parse_offset(text, length, ret_ms) ||
           fail(error, ERROR_CONFIG, "is an offset from UTC such as '-08:00', or 'Z', found '%.*s'", shown(length),
                text);
}

bool value_clock(const char *text, size_t length, int *ret_minutes, struct error *error)
{
    const char *colon = memchr(text, ':', length);
    size_t before = colon ? (size_t)(colon - text) : 0;
    int64_t hours, minutes;
    bool is_read = colon && before >= 1 && before <= 2 && length == before + 3 && isdigit((unsigned char)text[0]) &&
                   isdigit((unsigned char)text[before + 1]) && text_parse_integer(text, before, &hours) &&
                   text_parse_integer(colon + 1, 2, &minutes) && hours <= 24 && minutes < 60 &&
                   hours * 60 + minutes <= 24 * 60;
    if (!is_read)
        return fail(error, ERROR_CONFIG, "is a time of day such as '07:30', found '%.*s'", shown(length), text);
    *ret_minutes = (int)(hours * 60 + minutes);
    return true;
}

bool value_days(const char *text, size_t length, unsigned *ret_days, struct error *error)
{
    static const char *const names[] = {"mon", "tue", "wed", "thu", "fri", "sat", "sun"};
    return read_run(text, length, names, COUNT_OF(names), ret_days) ||
           fail(error, ERROR_CONFIG, "is a day of the week or a run of them, such as 'sat' or 'mon-fri', found '%.*s'",
                shown(length), text);
}

bool value_months(const char *text, size_t length, unsigned *ret_months, struct error *error)
{
    static const char *const names[] = {"jan", "feb", "mar", "apr", "may", "jun",
                                        "jul", "aug", "sep", "oct", "nov", "dec"};
    return read_run(text, length, names, COUNT_OF(names), ret_months) ||
           fail(error, ERROR_CONFIG, "is a month or a run of them, such as 'aug' or 'oct-mar', found '%.*s'",
                shown(length), text);
}

/* One name or "first-last", which may run over the end to the beginning; bit of each. */
static bool read_run(const char *text, size_t length, const char *const *names, size_t count, unsigned *ret)
{
    size_t found[2] = {count, count};
    const char *dash = memchr(text, '-', length);
    size_t lengths[2] = {dash ? (size_t)(dash - text) : length, dash ? length - (size_t)(dash - text) - 1 : 0};
    for (size_t k = 0; k < count; k++) {
        if (lengths[0] == 3 && strncasecmp(text, names[k], 3) == 0)
            found[0] = k;
        if (dash && lengths[1] == 3 && strncasecmp(dash + 1, names[k], 3) == 0)
            found[1] = k;
    }
    if (!dash)
        found[1] = found[0];
    if (found[0] == count || found[1] == count)
        return false;
    *ret = 0;
    for (size_t k = found[0];; k = (k + 1) % count) {
        *ret |= 1u << k;
        if (k == found[1])
            return true;
    }
}

bool value_tide(const char *text, size_t length, unsigned *ret_stage, struct error *error)
{
    static const char *const names[] = {"rising", "falling", "high", "low"}; /* in the order of enum tide_stage */
    for (size_t k = 0; k < COUNT_OF(names); k++)
        if (strlen(names[k]) == length && strncasecmp(text, names[k], length) == 0) {
            *ret_stage = 1u << k;
            return true;
        }
    return fail(error, ERROR_CONFIG, "is a stage of the tide: rising, falling, high or low, found '%.*s'",
                shown(length), text);
}

bool value_integer(const char *text, size_t length, int *ret, struct error *error)
{
    int64_t value;
    if (!text_parse_integer(text, length, &value) || value < INT_MIN || value > INT_MAX)
        return fail(error, ERROR_CONFIG, "is a whole number, found '%.*s'", shown(length), text);
    *ret = (int)value;
    return true;
}

bool value_boolean(const char *text, size_t length, bool *ret, struct error *error)
{
    bool is_true = length == 4 && memcmp(text, "true", 4) == 0;
    if (!is_true && !(length == 5 && memcmp(text, "false", 5) == 0))
        return fail(error, ERROR_CONFIG, "is true or false, found '%.*s'", shown(length), text);
    *ret = is_true;
    return true;
}

enum unit_dimension quantity_dimension(enum quantity quantity)
{
    return dimensions[quantity];
}

bool value_same_word(const char *a, const char *b)
{
    for (; *a && folded(*a) == folded(*b); a++, b++) {
    }
    return *a == '\0' && *b == '\0';
}

static bool split(const char *text, size_t length, struct parts *ret)
{
    size_t digits = number_length(text, length);
    if (!text_parse_number(text, digits, '.', &ret->number))
        return false;
    ret->unit = text + digits;
    ret->unit_length = length - digits;
    trim(&ret->unit, &ret->unit_length);
    return true;
}

/* Length of what looks like a number at the start; 'e' belongs to it only before digits, so that '3 each' has a unit.
 */
static size_t number_length(const char *text, size_t length)
{
    size_t i = 0;
    if (length >= 3 && memcmp(text, "\xE2\x88\x92", 3) == 0)
        i = 3;
    else if (length > 0 && (*text == '-' || *text == '+'))
        i = 1;
    while (i < length && (isdigit((unsigned char)text[i]) || text[i] == '.'))
        i++;
    size_t j = i;
    if (j < length && (text[j] == 'e' || text[j] == 'E')) {
        j++;
        j += j < length && (text[j] == '-' || text[j] == '+');
        if (j < length && isdigit((unsigned char)text[j])) {
            while (j < length && isdigit((unsigned char)text[j]))
                j++;
            i = j;
        }
    }
    return i;
}

static void trim(const char **text, size_t *length)
{
    while (*length > 0 && **text == ' ') {
        (*text)++;
        (*length)--;
    }
    while (*length > 0 && (*text)[*length - 1] == ' ')
        (*length)--;
}

static bool may_be_bare(int dimension)
{
    return dimension == NO_DIMENSION || dimension == UNIT_SALINITY || dimension == UNIT_TEMPERATURE_COEFFICIENT;
}

static bool wrong(struct error *error, int dimension, const char *text, size_t length)
{
    if (dimension == NO_DIMENSION)
        return fail(error, ERROR_CONFIG, "is a number, found '%.*s'", shown(length), text);
    return fail(error, ERROR_CONFIG, "is a %s such as '%s', found '%.*s'",
                unit_dimension_name((enum unit_dimension)dimension), examples[dimension], shown(length), text);
}

static int shown(size_t length)
{
    return length < LONGEST_SHOWN ? (int)length : LONGEST_SHOWN;
}

static char folded(char c)
{
    return c == '-' || c == ' ' ? '_' : (char)tolower((unsigned char)c);
}
