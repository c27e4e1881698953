/* SPDX-License-Identifier: MIT */
/* Plain nouns that cross from one stage to the next. No functions but the word lists. */
#ifndef RILLWARD_MODEL_FACTS_H
#define RILLWARD_MODEL_FACTS_H

#include "model/quantity.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* [from, to) in ms UTC. */
struct span {
    int64_t from, to;
};

/* ---- What the crew wrote ---- */

enum note_kind {
    NOTE_LEVEL,        /* staff reading: value = level above the datum [m] */
    NOTE_TAPE_DOWN,    /* value = distance from the station's tape point down to the water [m] */
    NOTE_OUT_OF_WATER, /* the logger left the water at `time` */
    NOTE_IN_WATER,     /* the logger entered the water at `time` */
    NOTE_CHECK, /* sensor against a field meter, as found: value = sensor (NaN: take the logger's own), reference =
                   meter */
    NOTE_CHECK_CLEANED, /* the same right after cleaning */
    NOTE_STANDARD,      /* sensor in a standard: value = sensor, reference = standard */
    NOTE_CLOCK,         /* `time` = true time, `until` = what the logger's clock showed then */
    NOTE_STRIKE,        /* a person strikes out [time, until) of quantity (QUANTITY_COUNT: all), reason in text */
    NOTE_RESTORE,       /* a person restores it */
    NOTE_INSTRUMENT,    /* from `time` on the instrument named in text hangs here */
    NOTE_REMARK,        /* free text */
    NOTE_REVIEWED,      /* a person has reviewed [time, until); text: who, and why after a colon */
    NOTE_BATTERY,       /* the logger got new batteries */
    NOTE_KIND_COUNT
};
/* "level", "tape_down", ...; as written in files. */
const char *note_kind_word(enum note_kind kind);
enum note_kind note_kind_find(const char *word); /* NOTE_KIND_COUNT where unknown; case, '-', ' ' ignored */

struct note {
    int64_t id;          /* in the store; 0 while in intake */
    uint32_t drop, line; /* where it was written */
    enum note_kind kind;
    int64_t time, until;     /* ms UTC; until TIME_NONE where the kind has none */
    enum quantity quantity;  /* QUANTITY_COUNT where the kind has none */
    double value, reference; /* inside units; NaN where the kind has none or it was left empty */
    const char *text;        /* remark, reason or instrument; never NULL, may be empty */
    const char *station;     /* station id; set by intake */
};

/* ---- What arrived ---- */

enum drop_state {
    DROP_WAITING,   /* seen, not yet whole (or empty, or a placeholder): looked at again by itself */
    DROP_TAKEN,     /* original kept, rows merged */
    DROP_REPEATED,  /* bytes already taken under another path */
    DROP_SET_ASIDE, /* cannot be used as it is: message names file, line and cure; tried again when file or layouts
                       change */
    DROP_ELSEWHERE, /* another part's; looked at again when the settings change */
    DROP_STATE_COUNT
};
const char *drop_state_word(enum drop_state state); /* "waiting", "taken", "repeated", "set aside", "elsewhere" */

/* ---- What checks showed ---- */

/* Numbers stand in the database: those of a note are the kind of the note, what the chain finds by itself follows. */
enum check_kind {
    CHECK_LEVEL = NOTE_LEVEL,
    CHECK_TAPE_DOWN = NOTE_TAPE_DOWN,
    CHECK_AS_FOUND = NOTE_CHECK,
    CHECK_CLEANED = NOTE_CHECK_CLEANED,
    CHECK_STANDARD = NOTE_STANDARD,
    CHECK_ZERO_IN_AIR = 32, /* a submerged sensor out of the water, against the barometer */
    CHECK_BAROMETERS,       /* the barometer used, against another */
    CHECK_TWINS = 48,       /* trends of a week: two thermometers at one station */
    CHECK_DAILY_RANGE,      /* of oxygen, that fades */
    CHECK_NIGHT_VALUES,     /* of oxygen, that sink */
};
const char *check_kind_word(enum check_kind kind); /* as of the note, or "zero_in_air", "barometers" */

/* One hand reading or side-by-side check, held against what the chain gave without it. */
struct check_result {
    int64_t time;
    enum quantity quantity;
    enum check_kind kind;
    int64_t note;      /* id of the note; 0 without one */
    double sensor;     /* what the chain says at `time`, corrected only by earlier checks; NaN: no data then */
    double reference;  /* what the hand reading, meter or standard says */
    double difference; /* sensor - reference: for a level this is the closing error since the reading before */
    bool is_first;     /* nothing to close on: the first reading of a deployment ties, it does not judge */
};

/* ---- What a logger runs out of ---- */

/* When, as far as can be told; TIME_FOREVER: it cannot, or too far ahead to be worth a word. */
struct supply {
    int64_t memory_full, battery_empty;
};

/* ---- What the chain did and saw on the way ---- */

/* Append only: numbers stand in the database. */
enum finding_kind {
    FINDING_READING_SET_ASIDE,  /* a hand reading that cannot be right ties nothing */
    FINDING_ZERO_IN_AIR,        /* what a submerged pressure sensor read out of the water, less the air pressure */
    FINDING_AIR_PRESSURE,       /* a stretch: which barometer the air pressure is from, and how it was carried over */
    FINDING_AIR_HANDED_OVER,    /* another barometer took over */
    FINDING_BAROMETER_DRIFTED,  /* a barometer moved against others since the beginning; of the barometer, not the
                                   station */
    FINDING_INSTRUMENT,         /* a stretch: which instrument hung there */
    FINDING_STRANGE_INSTRUMENT, /* a stretch: the file names another than the field notes */
    FINDING_TWINS_PART,         /* trends of a week: see derive/trend.h */
    FINDING_RANGE_FADES,
    FINDING_NIGHTS_SINK,
    FINDING_DATUM,             /* a stretch: the level 0 that its levels are above, where a station changed its own */
    FINDING_RATING,            /* of days: how good a quantity is, by the size of its corrections */
    FINDING_CHECKS_DISORDERED, /* a sensor was read as found after it was cleaned: the visit corrects nothing */
    FINDING_CLOCK_LAG,         /* of weeks: pressure follows the air at a lag: see derive/clock_watch.h; value in ms */
    FINDING_MOVES_LAG,         /* of weeks: in and out of the water at other times than noted; value in ms */
    FINDING_CLOCK_CHECK,       /* a noted clock check that is no drift, or an unlikely one; value in ms */
    FINDING_NOTED_IN_AIR,      /* a stretch: the sensors are under water where the field notes have the logger in air */
    FINDING_KIND_COUNT
};
const char *finding_kind_word(enum finding_kind kind); /* "reading_set_aside", ...; as written in files */

/* Of a moment: as a check, it is told with the rows up to an hour beside it. Others are of a stretch of rows. */
#define FINDINGS_OF_A_MOMENT                                                                                           \
    (1u << FINDING_READING_SET_ASIDE | 1u << FINDING_ZERO_IN_AIR | 1u << FINDING_AIR_HANDED_OVER |                     \
     1u << FINDING_BAROMETER_DRIFTED | 1u << FINDING_CHECKS_DISORDERED | 1u << FINDING_CLOCK_CHECK)
#define FINDINGS_OF_A_STRETCH                                                                                          \
    (1u << FINDING_AIR_PRESSURE | 1u << FINDING_INSTRUMENT | 1u << FINDING_STRANGE_INSTRUMENT | 1u << FINDING_DATUM |  \
     1u << FINDING_NOTED_IN_AIR | FINDINGS_OF_DAYS)
#define FINDINGS_OF_DAYS (1u << FINDING_RATING) /* of whole days by the station's standard time */
#define FINDINGS_OF_TRENDS                                                                                             \
    (1u << FINDING_TWINS_PART | 1u << FINDING_RANGE_FADES | 1u << FINDING_NIGHTS_SINK | FINDINGS_OF_CLOCKS)
#define FINDINGS_OF_CLOCKS (1u << FINDING_CLOCK_LAG | 1u << FINDING_MOVES_LAG) /* said anew each week */

/* A stretch goes on over a pause of the rows that is not longer than this. */
#define FINDING_PAUSE ((int64_t)24 * 3600 * 1000)

/* One thing that a reader of the record should know of a stretch of it, in words that need no other. */
struct finding {
    enum finding_kind kind;
    struct span span;
    enum quantity quantity; /* QUANTITY_COUNT: of all */
    double value;           /* what was found, inside unit of the quantity; NaN where there is no number */
    double uncertainty;     /* standard uncertainty of it (k = 1); NaN */
    bool wants_hand;        /* somebody should look: shown by status */
    const char *text;       /* never NULL, no line end */
};

/* ---- What people have reviewed ---- */

enum record_state {
    RECORD_PROVISIONAL,
    RECORD_PARTLY_REVIEWED,
    RECORD_REVIEWED, /* every row: changed by nothing but a person's word */
    RECORD_STATE_COUNT
};
const char *record_state_word(enum record_state state); /* "provisional", "partly reviewed", "reviewed" */

/* ---- What rules found ---- */

struct episode {
    int64_t start;  /* first sample (or moment) at which the condition held */
    int64_t raised; /* moment by data time at which the rule's delay was served: what makes it an episode */
    int64_t end;    /* TIME_NONE while still so at the last sample */
    double worst;   /* most extreme value, inside unit of the rule's quantity (silence: ms without data) */
    int64_t worst_time;
    double last;       /* value at last_time */
    int64_t last_time; /* last sample looked at while it held */
    char detail[192];  /* what was seen, for people: "check reading 7.9 mg/L, sensor 6.1 mg/L"; may be empty */
};

/* ---- What people are told ---- */

/* IEC 62682 / ISA-18.2 terms. */
enum alarm_state {
    ALARM_UNACKNOWLEDGED,          /* active, nobody has answered */
    ALARM_ACKNOWLEDGED,            /* active, somebody has */
    ALARM_RETURNED_UNACKNOWLEDGED, /* returned to normal, nobody had answered */
    ALARM_NORMAL,                  /* over and done */
    ALARM_SHELVED,                 /* active, put aside until a time, with a reason */
    ALARM_WITHDRAWN,               /* later knowledge: it never was so */
    ALARM_STATE_COUNT
};
const char *alarm_state_word(enum alarm_state state);

enum priority { PRIORITY_LOW, PRIORITY_MEDIUM, PRIORITY_HIGH, PRIORITY_COUNT };
const char *priority_word(enum priority priority);

/* One alarm as stored and shown: an episode's life with people. */
struct alarm {
    int64_t id;
    const char *station; /* station or barometer id; the path for a drop; never NULL */
    const char *rule;    /* rule id in the settings */
    struct episode episode;
    enum alarm_state state;
    int64_t learnt;   /* when the service first knew (UTC) */
    int64_t changed;  /* when the row last changed (UTC) */
    int64_t sequence; /* rises with each announced change */
    bool is_old_news; /* was already over, or too old, when learnt: recorded, wakes nobody */
    int64_t
        shelved_until; /* until then its rule is quiet at its station; TIME_NONE: not shelved. Stays when it returns */
    const char *shelf_reason; /* why; NULL is "" */
    int64_t asked;            /* since when (UTC) people are asked to answer; TIME_NONE: they are not */
    int64_t told;             /* when (UTC) they were last told of it; TIME_NONE: never */
    int64_t escalated;        /* when (UTC) those further up were told; TIME_NONE: not since `asked` */
    int64_t times; /* how often its rule was met here within the chattering window up to this time; 0: not counted */
};

enum notice_event {
    NOTICE_RAISED,
    NOTICE_UPDATED,
    NOTICE_RETURNED,
    NOTICE_WITHDRAWN,
    NOTICE_TEST,
    NOTICE_REMINDED,  /* still so, and nobody has answered */
    NOTICE_ESCALATED, /* the same, to those further up */
    NOTICE_GROUP,     /* several new alarms of one rule */
    NOTICE_SUMMARY,   /* in place of many messages */
    NOTICE_DIGEST,    /* once a day: what needs nobody woken */
    NOTICE_EVENT_COUNT
};
const char *notice_event_word(enum notice_event event); /* "raised", "updated", ... */

/* One message to one recipient, complete by itself: rendered from this alone, so every attempt carries the same facts.
 */
struct notice {
    int64_t id;            /* row of the outbox */
    const char *uid;       /* stable over all attempts, [A-Za-z0-9-]; webhook-id and Message-ID come from it */
    const char *recipient; /* recipient id in the settings */
    enum notice_event event;
    int64_t created;    /* when it was put in the outbox (UTC) */
    int64_t attempts;   /* so far */
    struct alarm alarm; /* snapshot at `created` */
    enum priority priority;
    const char *station_name, *rule_title, *advice; /* snapshot of the settings' texts; never NULL */
    const char *rule_kind;                          /* word of the kind: "below" */
    const char *unit;           /* written unit of value and limit; "" where the rule has no quantity */
    const char *quantity;       /* quantity key, "" where none */
    double limit, worst, last;  /* in `unit` */
    int decimals;               /* of the above */
    int64_t utc_offset;         /* the station's standard time, ms ahead of UTC, for times that people read */
    int64_t data_until;         /* last sample of the station when created; TIME_NONE without */
    const char *body;           /* NOTICE_DIGEST: all that it says; else words in front of the rest; NULL is "" */
    const struct notice *items; /* NOTICE_GROUP, NOTICE_SUMMARY: what it stands for, the last word of each alarm */
    size_t item_count;
    int64_t item_total; /* how many there are, where `items` does not hold all */
};

#endif
