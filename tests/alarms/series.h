/* SPDX-License-Identifier: MIT */
/* Short series written as text, episodes printed as text, and seeded series for property tests. */
#ifndef RILLWARD_TESTS_ALARMS_SERIES_H
#define RILLWARD_TESTS_ALARMS_SERIES_H

#include "base/memory.h"
#include "config/config.h"
#include "model/facts.h"
#include "model/record.h"

#include <stdint.h>

#define SERIES_STEP INT64_C(600000) /* 10 min between samples */

/* "5 4 2? 2! - ~300 2": values of `quantity` from time 0 on, every 10 min. `?` suspect, `!` fail, `-`
 * missing, `~n`: the next sample comes n minutes after the one before. */
struct record series_read(struct arena *arena, enum quantity quantity, const char *text);

/* "20..50 raised 40 worst 2@30 last 3@40; 90..open ...", times in minutes. */
const char *series_print(struct arena *arena, const struct episode *episodes, size_t n);

/* xorshift64*, so that a failure can be repeated on any machine. `state` must not be 0. */
uint64_t random_next(uint64_t *state);
/* 0 .. n-1 */
size_t random_below(uint64_t *state, size_t n);
/* A walk around 0 with noise, missing values, all flags, and pauses of hours to days; times from 0 on. */
struct record series_random(struct arena *arena, enum quantity quantity, size_t n, uint64_t *state);

/* The kinds of rule that are judged by the rows alone, through whatever window: all that need a quantity, but those of
 * checks and visits. Returns how many. */
size_t series_kinds(enum rule_kind ret[RULE_KIND_COUNT]);

/* Two high waters a day, 12.42 h apart and 2 m above the low ones, every 30 min, with noise of a centimetre, missing
 * and bad values, and seldom a pause of hours. */
struct record series_tidal(struct arena *arena, size_t n, uint64_t *state);

#endif
