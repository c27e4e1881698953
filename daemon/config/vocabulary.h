/* SPDX-License-Identifier: MIT */
/* The words that users write for kinds of rule, roles of columns and the other choices, and the default limits. */
#ifndef RILLWARD_CONFIG_VOCABULARY_H
#define RILLWARD_CONFIG_VOCABULARY_H

#include "config/config.h"

/* Keys that belong to some kinds of rule only. */
enum rule_key {
    RULE_QUANTITY = 1 << 0,
    RULE_LIMIT = 1 << 1,
    RULE_WINDOW = 1 << 2,
    RULE_DEADBAND = 1 << 3,
    RULE_ON_DELAY = 1 << 4,
    RULE_OFF_DELAY = 1 << 5,
    RULE_COUNT_SUSPECT = 1 << 6,
    RULE_STATIONS = 1 << 7,
    RULE_BAND = 1 << 8,
    RULE_SINCE = 1 << 9,
    RULE_WHILE = 1 << 10,
    RULE_SAMPLES = 1 << 11,
    RULE_AHEAD = 1 << 12,
    RULE_EXCEPT = 1 << 13,
    RULE_KEY_COUNT = 14
};
const char *rule_key_word(unsigned bit); /* 0 .. RULE_KEY_COUNT-1 */

struct rule_vocabulary {
    const char *word;
    unsigned needs, takes; /* masks of enum rule_key; `takes` beside what it needs */
    enum rule_measure measures;
    const char *window_standard; /* default of 'window', NULL none */
    const char *help;
};
const struct rule_vocabulary *rule_vocabulary(enum rule_kind kind);

/* Default limits of a quantity as a user would write them; NULL: test is off. */
struct limits_text {
    const char *sensor[2], *usual[2], *spike[2], *rate, *flat_tolerance, *flat_suspect, *flat_fail;
};
const struct limits_text *limits_text(enum quantity quantity);
/* The same as numbers, as the loader writes them: an open end of a range is infinite, a size that is off is 0. */
struct quality_limits default_limits(enum quantity quantity);
/* From the loader's form, in which a station can switch off what the network has, to that of config.h: off is NaN. */
void limits_normalise(struct quality_limits *limits);

/* Words by value of the enum (or place in the row's `characters`); NULL past the last. */
const char *holds_choice(int value);
const char *delimiter_choice(int value);
const char *decimal_choice(int value);
const char *compensation_choice(int value);
const char *sensor_compensation_choice(int value); /* those, and "same" */
const char *repeated_hour_choice(int value);
const char *missing_hour_choice(int value);
const char *sandbox_choice(int value);
const char *zero_correction_choice(int value);
const char *archive_format_choice(int value);
const char *mail_security_choice(int value);
const char *body_type_choice(int value);
const char *rule_kind_choice(int value);
const char *priority_choice(int value);
const char *note_kind_choice(int value);
const char *quantity_choice(int value);
/* Word of 'is' for a column; COLUMN_QUANTITY, where the quantity's key stands instead, is called "quantity". */
const char *column_role_choice(int value);

#endif
