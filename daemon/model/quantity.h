/* SPDX-License-Identifier: MIT */
/* What is measured and what is published: one word list for readings, finished values, rules and files. */
#ifndef RILLWARD_MODEL_QUANTITY_H
#define RILLWARD_MODEL_QUANTITY_H

#include <stdbool.h>
#include <stddef.h>

/* Order is that of the columns in records; append new ones before QUANTITY_COUNT. Unit inside in brackets. */
enum quantity {
    QUANTITY_LEVEL,                      /* water surface above the station's datum [m] */
    QUANTITY_DEPTH,                      /* water over the sensor [m] */
    QUANTITY_TEMPERATURE,                /* of the water [degC ITS-90] */
    QUANTITY_OXYGEN,                     /* dissolved [mg/L] */
    QUANTITY_OXYGEN_SATURATION,          /* relative to the air pressure at the station [%] */
    QUANTITY_OXYGEN_SATURATION_STANDARD, /* relative to 1013.25 hPa [%] */
    QUANTITY_CONDUCTIVITY,               /* in situ [mS/cm] */
    QUANTITY_SPECIFIC_CONDUCTANCE,       /* conductivity referred to 25 degC [mS/cm] */
    QUANTITY_SALINITY,                   /* practical salinity, PSS-78 [1] */
    QUANTITY_WATER_PRESSURE,             /* absolute, at the sensor, air included [Pa] */
    QUANTITY_AIR_PRESSURE,               /* absolute, not reduced to sea level [Pa] */
    QUANTITY_AIR_TEMPERATURE,            /* [degC] */
    QUANTITY_BATTERY,                    /* of the logger [V] */
    QUANTITY_SECOND_TEMPERATURE,         /* of the water, by a second thermometer at the station [degC ITS-90] */
    QUANTITY_SENSOR_LATITUDE,            /* where the file says that the logger was [degrees north, WGS 84] */
    QUANTITY_SENSOR_LONGITUDE,           /* [degrees east] */
    QUANTITY_COUNT
};

struct quantity_info {
    const char *key;           /* in settings, files and JSON: "specific_conductance" */
    const char *title;         /* for people: "Specific conductance at 25 °C" */
    const char *unit;          /* as written for people and in settings: "µS/cm" */
    const char *ucum;          /* UCUM code: "uS/cm" */
    const char *udunits;       /* UDUNITS text for NetCDF: "uS cm-1" */
    const char *qudt;          /* last part of the QUDT unit address: "MicroS-PER-CentiM" */
    const char *standard_name; /* CF standard name, NULL where none exists */
    const char *column;        /* CSV column with its unit: "specific_conductance_us_cm" */
    double scale;              /* written value = inside value * scale */
    int decimals;              /* in written values */
    int shown_decimals;        /* on pages, charts and in messages */
    int panel;                 /* from 1: its place in the chart, of which the first with values is drawn; 0: none */
    unsigned traits;           /* QUANTITY_NEVER_NEGATIVE ... */
};

/* What can be true of a quantity. */
enum {
    QUANTITY_NEVER_NEGATIVE = 1, /* so that a deadband as large as the limit could never be left */
    QUANTITY_IN_AIR_TOO = 2,     /* as good when the logger hangs in air */
};

const struct quantity_info *quantity_info(enum quantity quantity);
/* By key (ASCII case ignored, '-' and ' ' as '_'); QUANTITY_COUNT where unknown. */
enum quantity quantity_find(const char *key);
/* No trait is true of QUANTITY_COUNT. */
bool quantity_is(enum quantity quantity, unsigned trait);
double quantity_to_written(enum quantity quantity, double inside);

#endif
