/* SPDX-License-Identifier: MIT */
#include "model/quantity.h"

#include <assert.h>
#include <ctype.h>

/* Each row ends in: scale, decimals of records, decimals for people, place in the chart, traits. */
static const struct quantity_info table[] = {
    [QUANTITY_LEVEL] = {"level", "Water level", "m", "m", "m", "M", "water_surface_height_above_reference_datum",
                        "level_m", 1, 4, 3, 1, 0},
    [QUANTITY_DEPTH] = {"depth", "Water over the sensor", "m", "m", "m", "M", "depth", "depth_m", 1, 4, 3, 1,
                        QUANTITY_NEVER_NEGATIVE},
    [QUANTITY_TEMPERATURE] = {"temperature", "Water temperature", "°C", "Cel", "degree_Celsius", "DEG_C",
                              "sea_water_temperature", "temperature_degc", 1, 3, 2, 3, 0},
    [QUANTITY_OXYGEN] = {"oxygen", "Dissolved oxygen", "mg/L", "mg/L", "mg L-1", "MilliGM-PER-L",
                         "mass_concentration_of_oxygen_in_sea_water", "oxygen_mg_l", 1, 3, 2, 2,
                         QUANTITY_NEVER_NEGATIVE},
    [QUANTITY_OXYGEN_SATURATION] = {"oxygen_saturation", "Oxygen saturation at local pressure", "%", "%", "percent",
                                    "PERCENT", "fractional_saturation_of_oxygen_in_sea_water",
                                    "oxygen_saturation_percent", 1, 2, 1, 0, QUANTITY_NEVER_NEGATIVE},
    [QUANTITY_OXYGEN_SATURATION_STANDARD] = {"oxygen_saturation_standard", "Oxygen saturation at 1013.25 hPa", "%", "%",
                                             "percent", "PERCENT", "fractional_saturation_of_oxygen_in_sea_water",
                                             "oxygen_saturation_standard_percent", 1, 2, 1, 0, QUANTITY_NEVER_NEGATIVE},
    [QUANTITY_CONDUCTIVITY] = {"conductivity", "Conductivity in situ", "mS/cm", "mS/cm", "mS cm-1", "MilliS-PER-CentiM",
                               "sea_water_electrical_conductivity", "conductivity_ms_cm", 1, 4, 3, 0,
                               QUANTITY_NEVER_NEGATIVE},
    [QUANTITY_SPECIFIC_CONDUCTANCE] = {"specific_conductance", "Specific conductance at 25 °C", "µS/cm", "uS/cm",
                                       "uS cm-1", "MicroS-PER-CentiM",
                                       "sea_water_electrical_conductivity_at_reference_temperature",
                                       "specific_conductance_us_cm", 1000, 1, 0, 4, QUANTITY_NEVER_NEGATIVE},
    [QUANTITY_SALINITY] = {"salinity", "Practical salinity", "1", "1", "1", "UNITLESS", "sea_water_practical_salinity",
                           "salinity", 1, 4, 2, 5, QUANTITY_NEVER_NEGATIVE},
    [QUANTITY_WATER_PRESSURE] = {"water_pressure", "Absolute pressure at the sensor", "kPa", "kPa", "kPa", "KiloPA",
                                 "sea_water_pressure", "water_pressure_kpa", 1e-3, 4, 3, 0,
                                 QUANTITY_NEVER_NEGATIVE | QUANTITY_IN_AIR_TOO},
    [QUANTITY_AIR_PRESSURE] = {"air_pressure", "Air pressure at the water", "hPa", "hPa", "hPa", "HectoPA",
                               "air_pressure", "air_pressure_hpa", 1e-2, 3, 1, 6,
                               QUANTITY_NEVER_NEGATIVE | QUANTITY_IN_AIR_TOO},
    [QUANTITY_AIR_TEMPERATURE] = {"air_temperature", "Air temperature", "°C", "Cel", "degree_Celsius", "DEG_C",
                                  "air_temperature", "air_temperature_degc", 1, 2, 1, 0, 0},
    [QUANTITY_BATTERY] = {"battery", "Battery of the logger", "V", "V", "V", "V", NULL, "battery_v", 1, 3, 2, 0,
                          QUANTITY_NEVER_NEGATIVE | QUANTITY_IN_AIR_TOO},
    [QUANTITY_SECOND_TEMPERATURE] = {"second_temperature", "Water temperature, second thermometer", "°C", "Cel",
                                     "degree_Celsius", "DEG_C", "sea_water_temperature", "second_temperature_degc", 1,
                                     3, 1, 0, 0},
    /* No standard names: these are readings to be checked, not the coordinates of the record. */
    [QUANTITY_SENSOR_LATITUDE] = {"sensor_latitude", "Latitude in the file", "°", "deg", "degree", "DEG", NULL,
                                  "sensor_latitude_deg", 1, 4, 1, 0, QUANTITY_IN_AIR_TOO},
    [QUANTITY_SENSOR_LONGITUDE] = {"sensor_longitude", "Longitude in the file", "°", "deg", "degree", "DEG", NULL,
                                   "sensor_longitude_deg", 1, 4, 1, 0, QUANTITY_IN_AIR_TOO},
};
_Static_assert(sizeof table / sizeof table[0] == QUANTITY_COUNT, "every quantity has a row");
_Static_assert(QUANTITY_COUNT < 32, "masks of quantities have 32 bits");

static int folded(char c);

const struct quantity_info *quantity_info(enum quantity quantity)
{
    assert(quantity < QUANTITY_COUNT);
    return &table[quantity];
}

enum quantity quantity_find(const char *key)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        const char *a = table[q].key, *b = key;
        while (*a && folded(*a) == folded(*b)) {
            a++;
            b++;
        }
        if (!*a && !*b)
            return q;
    }
    return QUANTITY_COUNT;
}

bool quantity_is(enum quantity quantity, unsigned trait)
{
    return quantity < QUANTITY_COUNT && (table[quantity].traits & trait) != 0;
}

double quantity_to_written(enum quantity quantity, double inside)
{
    return inside * quantity_info(quantity)->scale;
}

static int folded(char c)
{
    return c == '-' || c == ' ' ? '_' : tolower((unsigned char)c);
}
