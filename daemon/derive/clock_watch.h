/* SPDX-License-Identifier: MIT */
/* A logger's clock that is wrong by hours, found in what it wrote: a zone that was taken for another, daylight saving
 * that was missed or kept twice. It is told, with how sure it is, and never corrected.
 *
 * By the air: absolute pressure in water rises and falls with the air above it, at once. What is left of both when a
 * tide is foretold and taken away (science/lag.h) matches best at the lag of the clock. Judged each week, of the rows
 * of CLOCK_WATCH_REACH before it at steps of 15 min (30 or 60 for loggers that write less often), since the last time
 * that the logger went in, was exchanged or had its clock looked at. Lags up to CLOCK_WATCH_LARGEST count. Weather
 * comes to a barometer that stands apart earlier or later: a lag that it could have at WEATHER_SPEED is none. Where air
 * is too weak beside waves, or a barometer too coarse, nothing is said: see lag_find().
 *
 * By the notes: what the pressure shows of going in and out of the water, against the noted times. A note counts where
 * the pressure has one step of its kind within CLOCK_WATCH_LARGEST, or one at the noted time; told is what at least two
 * such steps, and three of four of all, agree on. At stations that fall dry by themselves there are many steps around a
 * note, and nothing is said.
 *
 * Which clock is wrong neither can tell: the logger's, the barometer's, the zone of a layout, the crew's watch. */
#ifndef RILLWARD_DERIVE_CLOCK_WATCH_H
#define RILLWARD_DERIVE_CLOCK_WATCH_H

#include "derive/findings.h"
#include "model/record.h"

#define CLOCK_WATCH_REACH ((int64_t)14 * 24 * 3600 * 1000)
#define CLOCK_WATCH_MOVES ((int64_t)45 * 24 * 3600 * 1000) /* how far back noted moves count */
#define CLOCK_WATCH_LARGEST ((int64_t)14 * 3600 * 1000)
#define CLOCK_WATCH_NOTES (1u << NOTE_IN_WATER | 1u << NOTE_OUT_OF_WATER | 1u << NOTE_INSTRUMENT | 1u << NOTE_CLOCK)
#define WEATHER_SPEED 5.0 /* m/s: slow fronts; common practice of the trade */

/* A step into or out of the water: gauge pressure from at least WET_GAUGE to no more than DRY_GAUGE, or back, within
 * two samples [Pa]; 10 cm and 3 cm of water. */
#define WET_GAUGE 1000.0
#define DRY_GAUGE 300.0

struct watched_barometer {
    uint32_t number; /* as in record.barometer */
    const char *id;
    double distance; /* m */
};

struct clock_watch_input {
    const struct record *record; /* finished; from CLOCK_WATCH_MOVES and two days before the marks */
    const struct note *notes;    /* ascending, of CLOCK_WATCH_NOTES */
    size_t note_count;
    const struct watched_barometer *barometers;
    size_t barometer_count;
    struct span marks; /* ends of weeks (pair_week()) to be judged: from <= mark < to */
};

/* Findings of the kinds FINDING_CLOCK_LAG and FINDING_MOVES_LAG, at the mark, each of them at most one a week. */
void clock_watch_find(struct arena *arena, const struct clock_watch_input *input, struct findings *findings);

#endif
