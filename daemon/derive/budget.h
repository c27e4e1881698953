/* SPDX-License-Identifier: MIT */
/* Standard uncertainty (GUM, JCGM 100:2008; k = 1) of level, salinity and oxygen, sample by sample, with its parts.
 *
 * The sizes of the sources are generic figures of common practice, not of any instrument; what a correction leaves
 * behind is taken as evenly spread over the correction, what bridges the step between two barometers likewise (either
 * may be right), and a closing error as growing away from both readings. Parts
 * are independent and added in squares. */
#ifndef RILLWARD_DERIVE_BUDGET_H
#define RILLWARD_DERIVE_BUDGET_H

#include <stddef.h>

/* One sample's level. Inputs NaN where not known count as nothing but for depth. All parts in m. */
struct level_budget {
    double reference; /* of the hand reading */
    double pressure;  /* of the submerged sensor since that reading */
    double air;       /* of the barometer, its distance, its pause, and the reduction between elevations */
    double hand_over; /* of what bridges the step from one barometer to another */
    double density;   /* of the water, over the change of depth since the reading */
    double closing;   /* of the error between two readings, spread in time */
    double total;
};
struct level_situation {
    double depth;                /* over the sensor [m] */
    double change;               /* |depth - depth at the nearest hand reading| [m]; depth where there is none */
    double density, gravity;     /* kg/m3, m/s2 */
    double salinity_uncertainty; /* of the salinity used [1] */
    double air_gap_hours;        /* between the two readings of the barometer */
    double barometer_distance_km, barometer_rise_m;
    double air_shift_pa; /* that bridges a hand-over between barometers, see hand_over.h */
    int air_temperature_is_known;
    double zero_pa;      /* standard uncertainty of a zero error that was taken off [Pa] */
    double reading;      /* standard uncertainty of a hand reading [m] */
    double closing_size; /* m, see reference_doubts() */
};
struct level_budget budget_of_level(const struct level_situation *situation);

/* Of a practical salinity from conductivity; `correction` is what a fouling or drift correction changed it by. */
double budget_of_salinity(double salinity, double correction);
/* Of dissolved oxygen [mg/L]; `correction` as above, `salinity_uncertainty` of the salinity used. */
double budget_of_oxygen(double oxygen, double correction, double salinity_uncertainty);

/* Of the salinity that density and oxygen use, where it is stated and not measured, or taken as fresh. */
#define BUDGET_STATED_SALINITY 1.0
#define BUDGET_FRESH_SALINITY 0.1

#endif
