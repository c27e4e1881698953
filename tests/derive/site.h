/* SPDX-License-Identifier: MIT */
/* A made-up station with its barometers, readings and field notes, for tests of the chain. */
#ifndef RILLWARD_TESTS_DERIVE_SITE_H
#define RILLWARD_TESTS_DERIVE_SITE_H

#include "base/memory.h"
#include "base/timestamp.h"
#include "config/config.h"
#include "derive/derive.h"

#define SITE_START INT64_C(1772323200000) /* 2026-03-01T00:00:00Z */
#define SITE_AIR 101325.0                 /* Pa, of both barometers, until a test writes another */

enum { SITE_NOTES = 256 };

struct site {
    struct arena *arena;
    struct config config;   /* default quality limits; no air pressure over more than 4 h, suspect above 1 h */
    struct station station; /* at 45 degrees north, sea level, sensor elevation unknown, settling off, fresh water */
    struct barometer barometers[2];
    struct air_source sources[2]; /* numbers 7 and 8 */
    size_t source_count;
    int64_t interval;
    struct readings readings;
    struct note notes[SITE_NOTES];
    size_t note_count;
};

/* n rows from SITE_START on, with the columns of the mask, all missing; two barometers at sea level, each with a
 * reading at the same instants and one interval beyond both ends. Everything in the arena. */
void site_init(struct site *site, struct arena *arena, size_t n, int64_t interval, uint32_t columns);

/* Fill a column with one value. */
void site_fill(struct site *site, enum quantity quantity, double value);
/* A barometer's readings anew: n rows from `from` on. */
struct readings site_air(struct arena *arena, int64_t from, size_t n, int64_t interval, double pressure);

/* Time of row i, and of a moment in minutes since the start. */
int64_t site_row(const struct site *site, size_t i);
int64_t site_minute(double minute);

/* Notes are kept in order of time; ids count from 1 as they are added. The note may be changed until the next is added.
 */
struct note *site_note(struct site *site, enum note_kind kind, int64_t time, double value);
struct note *site_clock_check(struct site *site, int64_t time, int64_t shown);
struct note *site_span_note(struct site *site, enum note_kind kind, struct span span, enum quantity quantity);

struct derive_input site_input(const struct site *site);
/* All four calls, as the service makes them. */
struct derived site_derive(const struct site *site);
struct derived site_derive_input(struct arena *arena, const struct derive_input *input);

#endif
