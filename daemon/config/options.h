/* SPDX-License-Identifier: MIT */
/* The option table: every key of the settings file, once.
 *
 * The loader reads by it, config_print_reference() prints it, the tests walk it. A new option is a field in config.h, a
 * row here and a line in config-examples/full.yaml. */
#ifndef RILLWARD_CONFIG_OPTIONS_H
#define RILLWARD_CONFIG_OPTIONS_H

#include "base/text.h"
#include "config/config.h"

enum option_type {                       /* what stands in the file              where `offset` points to */
                   OPTION_TEXT,          /* one line of text                     const char * */
                   OPTION_PROSE,         /* text that may have several lines     const char * */
                   OPTION_PATH,          /* made absolute by the file's folder   const char * */
                   OPTION_WORDS,         /* list of texts, or a single one       struct word_list */
                   OPTION_BOOLEAN,       /* true, false                          bool */
                   OPTION_INTEGER,       /*                                      int */
                   OPTION_QUANTITY,      /* number with unit                     double */
                   OPTION_DIFFERENCE,    /* the same for a difference            double */
                   OPTION_RATE,          /* largest change per hour              double */
                   OPTION_RANGE,         /* [lowest, highest]                    double[2], infinite: none */
                   OPTION_DIFFERENCES,   /* [smaller, larger]                    double[2], 0: none */
                   OPTION_DURATION,      /*                                      int64_t, ms */
                   OPTION_SIZE,          /* bytes with unit                      int64_t */
                   OPTION_OFFSET,        /* from UTC                             int64_t, ms */
                   OPTION_CLOCK,         /* time of day, hh:mm                   int, minutes */
                   OPTION_CHOICE,        /* one word of `choice`                 any enum */
                   OPTION_CHOICES,       /* list of words of `choice`, or one    uint32_t: bit of each */
                   OPTION_CHARACTER,     /* one word of `choice`                 char: that one of `characters` */
                   OPTION_QUANTITY_NAME, /* oxygen                               enum quantity */
                   OPTION_NOTE_KIND,     /* tape_down                            enum note_kind */
                   OPTION_SECRET,        /* {file: ...} or {credential: ...}     struct secret */
                   OPTION_SECTION,       /* a map with a table of its own        first byte of its fields */
                   OPTION_OWN            /* has a shape of its own: read by load.c or sections.c */
};

#define OF_QUANTITY (-2) /* dimension: that of the quantity which the section is about */

struct option {
    const char *key;
    const char *former; /* its name in earlier versions: still understood, shown nowhere; NULL */
    enum option_type type;
    size_t offset;
    int dimension;           /* of the first five numeric types: enum unit_dimension, NO_DIMENSION, OF_QUANTITY */
    const char *standard;    /* default as a user would write it; NULL: the field keeps what it has */
    double minimum, maximum; /* inside unit, both included; both 0: any */
    const char *help;        /* one sentence without full stop */
    bool is_required;
    bool may_be_none;           /* `none` switches it off */
    bool may_be_all;            /* of OPTION_INTEGER: `all` is INT_MAX */
    bool may_be_empty;          /* "" is fine */
    const char *(*choice)(int); /* word of a value, NULL past the last */
    const char *characters;
    const struct section *section;
};

struct section {
    const char *path;  /* "stations.<id>.quality.<quantity>"; "" for the top */
    const char *title; /* "a station", for messages */
    const struct option *options;
    size_t count; /* at most 64 */
};

extern const struct section section_top, section_included; /* the latter: keys that an included file may have */
extern const struct section section_network, section_intake, section_pairing, section_alarms, section_metrics,
    section_limits, section_flat, section_station, section_barometer, section_layout, section_time, section_column,
    section_recipient, section_months, section_attenuated, section_related, section_neighbour, section_secret,
    section_mail, section_rule, section_digest, section_hours, section_escalate, section_while, section_heartbeat,
    section_calibration, section_datum_change, section_part;

/* All sections, in the order of the reference; NULL past the last. */
const struct section *option_section(size_t index);

/* The row of `key`, or NULL. */
const struct option *option_find(const struct section *section, const char *key);
bool option_is_called(const struct option *option, const char *key);

/* The nearest of the words that `word_at` gives (NULL past the last) to a mistyped one, or NULL where none is near. */
const char *option_nearest(const char *mistyped, const char *(*word_at)(const void *context, size_t index),
                           const void *context);

/* A minimum or maximum for people: "5 s", "9000 m", "64 MiB". */
void option_print_bound(const struct option *option, double bound, char *ret, size_t size);

/* What the rows of section_secret fill in. */
struct secret_words {
    const char *file, *credential;
};

/* "duration, default 5 s, between 0 s and 1 h" */
void option_print_facts(struct text *text, const struct option *option);
/* The default limits of quality tests, and the kinds of rules with their keys: text for people, a line each. */
void option_print_limits(struct text *text);
void option_print_rule_kinds(struct text *text);

/* The settings reference as text. */
void config_print_reference(struct text *text);

#endif
