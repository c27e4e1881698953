/* SPDX-License-Identifier: MIT */
#include "science/units.h"

#include <string.h>

#define GRAVITY_STANDARD 9.80665 /* m/s2, CGPM 1901, exact */
#define POUND 0.45359237         /* kg, exact */
#define INCH 0.0254              /* m, exact */
#define FOOT (12 * INCH)
#define MERCURY 13595.1 /* kg/m3, conventional, 0 degC */
#define WATER 1000.0    /* kg/m3, conventional */
#define PSI (POUND * GRAVITY_STANDARD / (INCH * INCH))
#define MERCURY_COLUMN(height_m) (MERCURY * GRAVITY_STANDARD * (height_m))
#define WATER_COLUMN(height_m) (WATER * GRAVITY_STANDARD * (height_m))
#define OXYGEN_MOLAR_MASS 31.9988  /* g/mol */
#define OXYGEN_GAS_DENSITY 1.42905 /* mg/mL at 0 degC, 1 atm */

#define SECOND 1000.0
#define MINUTE (60.0 * SECOND)
#define HOUR (60.0 * MINUTE)
#define DAY (24.0 * HOUR)

static const char *next_spelling(const char *from, const char *bar);

static const char *const dimension_names[] = {
    [UNIT_PRESSURE] = "pressure",
    [UNIT_LENGTH] = "length",
    [UNIT_TEMPERATURE] = "temperature",
    [UNIT_CONDUCTIVITY] = "conductivity",
    [UNIT_MASS_CONCENTRATION] = "concentration",
    [UNIT_PERCENTAGE] = "percentage",
    [UNIT_SALINITY] = "salinity",
    [UNIT_DURATION] = "duration",
    [UNIT_RATE_OF_RISE] = "rate of rise",
    [UNIT_VOLTAGE] = "voltage",
    [UNIT_DENSITY] = "density",
    [UNIT_TEMPERATURE_COEFFICIENT] = "temperature coefficient",
    [UNIT_ANGLE] = "angle",
};
_Static_assert(sizeof dimension_names / sizeof dimension_names[0] == UNIT_DIMENSION_COUNT,
               "every dimension has a name");

/* Non-ASCII spellings: the micro sign is written as U+00B5 and as the Greek letter U+03BC; the degree sign
 * U+00B0 is often mistyped as the ordinal U+00BA or the ring U+02DA; U+2103 is one sign for degC. */
static const struct unit units[] = {
    {"Pa", "pascal", UNIT_PRESSURE, 1, 0, "pascal"},
    {"hPa", "mbar|mb|mBar|millibar|hpa|HPA", UNIT_PRESSURE, 1e2, 0, "hectopascal, the same as a millibar"},
    {"kPa", "kpa|KPa|KPA", UNIT_PRESSURE, 1e3, 0, "kilopascal"},
    {"MPa", "", UNIT_PRESSURE, 1e6, 0, "megapascal"},
    {"dbar", "dBar|decibar", UNIT_PRESSURE, 1e4, 0, "decibar, about one metre of water"},
    {"bar", "Bar", UNIT_PRESSURE, 1e5, 0, "bar"},
    {"atm", "", UNIT_PRESSURE, 101325, 0, "standard atmosphere"},
    {"psi", "PSI|psia|psig|lbf/in2", UNIT_PRESSURE, PSI, 0, "pound-force per square inch"},
    {"inHg", "in Hg|inHG|in. Hg", UNIT_PRESSURE, MERCURY_COLUMN(INCH), 0,
     "inch of mercury, conventional (0 degC), not the one at 60 degF"},
    {"mmHg", "mm Hg|mmHG", UNIT_PRESSURE, MERCURY_COLUMN(1e-3), 0,
     "millimetre of mercury, conventional (0 degC)"},
    {"torr", "Torr", UNIT_PRESSURE, 101325.0 / 760.0, 0, "1/760 of a standard atmosphere"},
    {"mH2O", "mH₂O|mWC", UNIT_PRESSURE, WATER_COLUMN(1), 0,
     "metre of water, conventional: a pressure, not a depth"},
    {"cmH2O", "cmH₂O|cmWC", UNIT_PRESSURE, WATER_COLUMN(1e-2), 0,
     "centimetre of water, conventional: a pressure, not a depth"},
    {"ftH2O", "ftH₂O", UNIT_PRESSURE, WATER_COLUMN(FOOT), 0,
     "foot of water, conventional: a pressure, not a depth"},
    {"inH2O", "inH₂O", UNIT_PRESSURE, WATER_COLUMN(INCH), 0,
     "inch of water, conventional: a pressure, not a depth"},
    {"kgf/cm2", "kgf/cm²|kgf/cm^2", UNIT_PRESSURE, 1e4 * GRAVITY_STANDARD, 0,
     "kilogram-force per square centimetre, technical atmosphere"},

    {"m", "meter|metre|meters|metres", UNIT_LENGTH, 1, 0, "metre"},
    {"cm", "centimeter|centimetre|centimeters|centimetres", UNIT_LENGTH, 1e-2, 0, "centimetre"},
    {"mm", "millimeter|millimetre|millimeters|millimetres", UNIT_LENGTH, 1e-3, 0, "millimetre"},
    {"km", "kilometer|kilometre|kilometers|kilometres", UNIT_LENGTH, 1e3, 0, "kilometre"},
    {"ft", "foot|feet", UNIT_LENGTH, FOOT, 0, "international foot, 0.3048 m"},
    {"in", "inch|inches", UNIT_LENGTH, INCH, 0, "inch, 25.4 mm"},
    {"usft", "US survey ft|survey ft", UNIT_LENGTH, 1200.0 / 3937.0, 0,
     "US survey foot of old datums, 1200/3937 m"},

    {"degC", "°C|C|ºC|˚C|℃|deg C|° C|deg_C|celsius|Celsius", UNIT_TEMPERATURE, 1, 0,
     "degree Celsius, ITS-90"},
    {"degF", "°F|F|ºF|˚F|℉|deg F|° F|deg_F|fahrenheit|Fahrenheit", UNIT_TEMPERATURE, 5.0 / 9.0, 32,
     "degree Fahrenheit"},
    {"K", "kelvin|Kelvin", UNIT_TEMPERATURE, 1, 273.15, "kelvin"},

    {"mS/cm", "ms/cm|mS cm-1|mmho/cm", UNIT_CONDUCTIVITY, 1, 0, "millisiemens per centimetre"},
    {"uS/cm", "us/cm|µS/cm|μS/cm|uS cm-1|µS cm-1|μS cm-1|umho/cm|µmho/cm|μmho/cm", UNIT_CONDUCTIVITY, 1e-3, 0,
     "microsiemens per centimetre"},
    {"S/m", "S m-1", UNIT_CONDUCTIVITY, 10, 0, "siemens per metre, ten times mS/cm"},
    {"dS/m", "dS m-1", UNIT_CONDUCTIVITY, 1, 0, "decisiemens per metre, the same as mS/cm"},
    {"mS/m", "mS m-1", UNIT_CONDUCTIVITY, 1e-2, 0, "millisiemens per metre, ten times uS/cm"},

    {"mg/L", "mg/l|mg L-1|mg l-1|g/m3|g/m³", UNIT_MASS_CONCENTRATION, 1, 0, "milligram per litre"},
    {"ug/L", "ug/l|µg/L|μg/L|µg/l|μg/l|mg/m3|mg/m³", UNIT_MASS_CONCENTRATION, 1e-3, 0, "microgram per litre"},
    {"g/L", "g/l", UNIT_MASS_CONCENTRATION, 1e3, 0, "gram per litre"},
    {"ppm", "", UNIT_MASS_CONCENTRATION, 1, 0, "taken as mg/L; by mass it is about 2.5 % less in sea water"},
    {"umol/L", "umol/l|µmol/L|μmol/L|µmol/l|μmol/l|uM|µM|μM|mmol/m3|mmol/m³", UNIT_MASS_CONCENTRATION,
     OXYGEN_MOLAR_MASS * 1e-3, 0, "micromole of oxygen per litre"},
    {"mL/L", "ml/L|ml/l|mL/l", UNIT_MASS_CONCENTRATION, OXYGEN_GAS_DENSITY, 0,
     "millilitre of oxygen (gas at 0 degC, 1 atm) per litre"},

    {"%", "percent|pct|% sat|%sat|% saturation|% air sat|%RH|% RH", UNIT_PERCENTAGE, 1, 0, "per cent"},

    {"1", "PSU|psu|PSS|PSS-78|ppt|PPT|‰", UNIT_SALINITY, 1, 0,
     "practical salinity, a number; old parts per thousand are taken as equal"},

    {"ms", "msec|millisecond|milliseconds", UNIT_DURATION, 1, 0, "millisecond"},
    {"s", "sec|second|seconds", UNIT_DURATION, SECOND, 0, "second"},
    {"min", "mins|minute|minutes", UNIT_DURATION, MINUTE, 0, "minute"},
    {"h", "hr|hrs|hour|hours", UNIT_DURATION, HOUR, 0, "hour"},
    {"d", "day|days", UNIT_DURATION, DAY, 0, "day of 24 hours"},
    {"week", "w|wk|weeks", UNIT_DURATION, 7 * DAY, 0, "week of seven days"},

    {"m/h", "m/hr|m/hour", UNIT_RATE_OF_RISE, 1, 0, "metre per hour"},
    {"cm/h", "cm/hr|cm/hour", UNIT_RATE_OF_RISE, 1e-2, 0, "centimetre per hour"},
    {"mm/h", "mm/hr|mm/hour", UNIT_RATE_OF_RISE, 1e-3, 0, "millimetre per hour"},
    {"ft/h", "ft/hr|ft/hour", UNIT_RATE_OF_RISE, FOOT, 0, "foot per hour"},
    {"in/h", "in/hr|in/hour|inch/h", UNIT_RATE_OF_RISE, INCH, 0, "inch per hour"},
    {"m/min", "", UNIT_RATE_OF_RISE, 60, 0, "metre per minute"},
    {"cm/min", "", UNIT_RATE_OF_RISE, 0.6, 0, "centimetre per minute"},
    {"m/d", "m/day", UNIT_RATE_OF_RISE, 1.0 / 24.0, 0, "metre per day"},

    {"V", "volt|volts", UNIT_VOLTAGE, 1, 0, "volt"},
    {"mV", "millivolt|millivolts", UNIT_VOLTAGE, 1e-3, 0, "millivolt"},

    {"kg/m3", "kg/m³|kg/m^3|kg m-3", UNIT_DENSITY, 1, 0, "kilogram per cubic metre"},
    {"g/cm3", "g/cm³|g/cm^3|g/mL|g/ml|kg/L|kg/l", UNIT_DENSITY, 1e3, 0, "gram per cubic centimetre"},

    {"1/degC", "1/°C|1/C|1/K|/degC|/°C|/K", UNIT_TEMPERATURE_COEFFICIENT, 1, 0,
     "fraction per degree, as in 0.0191"},
    {"%/degC", "%/°C|%/C|%/K|% per degC|% per °C", UNIT_TEMPERATURE_COEFFICIENT, 1e-2, 0,
     "per cent per degree, as in 1.91"},

    {"deg", "degree|degrees|°|degN|degE|°N|°E|deg N|deg E|degrees_north|degrees_east", UNIT_ANGLE, 1, 0,
     "degree of latitude or longitude, with decimals"},
};

const struct unit *unit_find(const char *name, size_t length)
{
    for (size_t i = 0; i < unit_count(); i++) {
        size_t spelling_length;
        const char *spelling;
        for (size_t k = 0; (spelling = unit_spelling(&units[i], k, &spelling_length)) != NULL; k++) {
            if (spelling_length == length && memcmp(spelling, name, length) == 0)
                return &units[i];
        }
    }
    return NULL;
}

double unit_to_base(const struct unit *unit, double value)
{
    return (value - unit->offset) * unit->scale;
}

double unit_from_base(const struct unit *unit, double base_value)
{
    return base_value / unit->scale + unit->offset;
}

double unit_difference_to_base(const struct unit *unit, double difference)
{
    return difference * unit->scale;
}

double unit_difference_from_base(const struct unit *unit, double base_difference)
{
    return base_difference / unit->scale;
}

void unit_to_base_sweep(size_t n, const double *values, const struct unit *unit, double *ret_base_values)
{
    const double scale = unit->scale;
    const double offset = unit->offset;
    for (size_t i = 0; i < n; i++)
        ret_base_values[i] = (values[i] - offset) * scale;
}

const char *unit_dimension_name(enum unit_dimension dimension)
{
    return dimension_names[dimension];
}

const struct unit *unit_base(enum unit_dimension dimension)
{
    for (size_t i = 0; i < unit_count(); i++) {
        if (units[i].dimension == dimension && units[i].scale == 1.0 && units[i].offset == 0.0)
            return &units[i];
    }
    return NULL;
}

size_t unit_count(void)
{
    return sizeof units / sizeof units[0];
}

const struct unit *unit_at(size_t index)
{
    return &units[index];
}

const char *unit_spelling(const struct unit *unit, size_t index, size_t *ret_length)
{
    if (index == 0) {
        *ret_length = strlen(unit->name);
        return unit->name;
    }
    const char *from = unit->aliases;
    while (*from != '\0') {
        const char *bar = strchr(from, '|');
        if (--index == 0) {
            *ret_length = bar != NULL ? (size_t)(bar - from) : strlen(from);
            return from;
        }
        from = next_spelling(from, bar);
    }
    return NULL;
}

static const char *next_spelling(const char *from, const char *bar)
{
    return bar != NULL ? bar + 1 : from + strlen(from);
}
