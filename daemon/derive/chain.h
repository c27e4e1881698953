/* SPDX-License-Identifier: MIT */
/* The chain's own table: what its steps share; between the files that derive.c is made of. */
#ifndef RILLWARD_DERIVE_CHAIN_H
#define RILLWARD_DERIVE_CHAIN_H

#include "derive/derive.h"
#include "derive/instrument.h"

/* What the steps share. Arrays have the rows of the record. */
struct chain {
    struct arena *arena;
    const struct derive_input *input;
    const struct station *station;
    struct record *record;
    size_t n;
    double gravity;
    uint8_t *water; /* enum water_state */
    uint32_t *deployment;
    double *salinity; /* the one used by density and oxygen: measured, stated or 0; never NaN */
    uint8_t *salinity_flag;
    uint32_t *salinity_tests;
    double *air;   /* Pa, NaN where no barometer covers */
    double *gauge; /* water pressure - air [Pa]; NULL without a pressure sensor */
    int64_t *air_gap;
    double *salinity_change; /* by fouling and drift corrections, relative; NULL without */
    double *oxygen_change;   /* the same, mg/L */
    double *told_salinity;   /* that the logger told its oxygen sensor; NULL where it is one for all, or not known */
    int64_t interval;
    struct instrument_period *periods; /* which instrument hung when */
    size_t period_count;
    struct derived *derived;
};

bool chain_has(const struct chain *chain, enum quantity quantity);
struct instrument_input chain_instruments(const struct derive_input *input);
/* NULL for NO_BAROMETER. */
const struct air_source *chain_source(const struct derive_input *input, uint32_t number);
/* Strikes what was measured out of the water, by chain->water. */
void chain_mark_water(struct chain *chain);

/* ---- chain_air.c, in the order in which they run ---- */

/* Air pressure at the station, from which barometer, and how one takes over from another. */
void chain_step_air(struct chain *chain);
/* Where nobody noted it, the sensors may show that they hung in air. */
void chain_step_air_found(struct chain *chain);
/* What the pressure sensor read in air, and what is done about it. */
void chain_step_zero(struct chain *chain);

#endif
