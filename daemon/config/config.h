/* SPDX-License-Identifier: MIT */
/* The settings: what the operator can say, as plain data.
 *
 * Filled once by config_load(), passed const to everything, never changed; a reload builds a second one. Every quantity
 * is already in inside units (Pa, m, degC, mS/cm, mg/L, %, ms). Texts live in the config's arena. Places in the file
 * are kept so that later complaints can still cite the line. The words users write are enums here; what they do lies
 * higher up. */
#ifndef RILLWARD_CONFIG_CONFIG_H
#define RILLWARD_CONFIG_CONFIG_H

#include "base/error.h"
#include "base/memory.h"
#include "base/zone.h"
#include "model/facts.h"
#include "model/quantity.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct place {
    const char *file; /* as named on the command line or by an include; valid as long as the config */
    int line, column; /* from 1 */
};

struct word_list {
    const char **words;
    size_t count;
};

/* Where a secret is kept. The secret itself is never in the settings. */
enum secret_kind { SECRET_NONE, SECRET_FILE, SECRET_CREDENTIAL };
struct secret {
    enum secret_kind kind;
    const char *name; /* path, or name of a systemd credential (read below $CREDENTIALS_DIRECTORY) */
    struct place where;
};

/* ---- Quality limits of one quantity; NaN or 0 means: test is off ---- */

/* Usual range of each month (0: January, by the station's standard time): outside it suspect. Infinite: open. */
struct climatology {
    double range[12][2];
    bool is_off; /* a station switches off what the network has; so with empty windows and names below */
};

/* Largest less smallest value over the window that ends here: below these it varies too little. */
struct attenuation {
    int64_t window;       /* ms */
    double suspect, fail; /* 0: off */
};

/* Against another quantity of the same sample: their difference, where they measure the same (two thermometers); or a
 * change faster than `rate` while the other moved no more than `steady` within the window: suspect. */
struct companion {
    enum quantity quantity;
    double suspect, fail; /* difference; 0: off */
    double rate;          /* per hour, of the quantity itself; 0: off */
    double steady;        /* of the other quantity */
    int64_t window;       /* ms */
};

/* Against the same quantity at a neighbour station, interpolated between samples no more than `reach` apart. */
struct neighbour_limits {
    const char *station;
    double suspect, fail; /* difference; 0: off */
    int64_t reach;        /* ms */
};

struct quality_limits {
    double sensor_min, sensor_max;    /* outside: fail */
    double usual_min, usual_max;      /* outside: suspect */
    double spike_suspect, spike_fail; /* distance from the mean of both neighbours */
    double rate;                      /* largest change per hour before suspect */
    double flat_tolerance;            /* values within this are equal */
    int64_t flat_suspect, flat_fail;  /* ms of equal values; 0 = off */
    const struct climatology *months; /* these four: NULL = off. Owned by the config */
    const struct attenuation *attenuated;
    const struct companion *related;
    const struct neighbour_limits *neighbour;
};
extern const struct quality_limits quality_off;       /* no test but that for missing values */
extern const struct quality_limits quality_inherited; /* of a station: all as the network has it */

/* Stands where all of them are gone through, so that the compiler leads whoever adds one through all such places. */
#define QUALITY_LIMITS_ARE(count) _Static_assert(sizeof(struct quality_limits) == (count)*8, "a limit is new")

struct quality_override { /* one quantity of one station; NaN (or -1) fields are taken from the network's limits */
    enum quantity quantity;
    struct quality_limits limits;
};

/* Indices of a station and of one that some quantity of it is held against. */
struct neighbourhood {
    size_t station, neighbour;
    int64_t reach; /* ms, the widest of its quantities */
};

/* ---- Places ---- */

enum salinity_source {
    SALINITY_MEASURED, /* from conductivity; falls back to `salinity` where it is missing */
    SALINITY_STATED,   /* a given practical salinity */
    SALINITY_FRESH,    /* 0, and density of pure water */
};

/* What is done about the zero error of a pressure sensor in air. */
enum zero_correction { ZERO_NONE, ZERO_OFFSET, ZERO_LINEAR };

/* How conductivity is referred to 25 degC. */
enum compensation {
    COMPENSATION_LINEAR,   /* a coefficient per degree */
    COMPENSATION_ISO_7888, /* non-linear, for natural fresh water */
    COMPENSATION_SAME      /* of a sensor: as in the record */
};

/* A sensor calibrated in moist air of one pressure while it was told another: a gain on all that it wrote. */
struct air_calibration {
    double temperature;  /* degC; NaN: there was none */
    double air_pressure; /* the true one [Pa] */
    double told;         /* the one that was entered [Pa] */
};

/* From a time on the station's level 0 is another one. */
struct datum_change {
    int64_t from;      /* ms UTC */
    double offset;     /* of the new level 0 above that of the first datum [m] */
    const char *datum; /* what level 0 is then, for people */
};

struct station {
    const char *out_of_service; /* why nobody is told of its alarms; NULL: it is in service */
    const char *id, *name;      /* id: [A-Za-z0-9._-]{1,64}, starts with a letter or digit */
    double latitude, longitude; /* degrees, WGS 84 */
    double elevation;           /* of the water surface, about [m above sea level]: air pressure is reduced to it */
    int64_t utc_offset;         /* station's standard time, ms ahead of UTC; never daylight saving */
    const char *datum;          /* what level 0 is, for people: "gauge zero, 1.204 m above ..." ; may be "" */
    struct datum_change *datum_changes; /* ascending in time; `datum` and all elevations here are of the first datum */
    size_t datum_change_count;
    double sensor_elevation;  /* of the sensor above the datum [m]; NaN unknown. Level = this + depth where no reading
                                 ties it */
    double tape_point;        /* elevation above the datum of the point that tape readings hang from [m]; NaN none */
    struct word_list drops;   /* path patterns relative to the inbox that belong here */
    struct word_list serials; /* serial numbers of loggers that hang here */
    struct word_list labels;  /* other names that files and notes use for the station */
    struct word_list barometers; /* ranked ids; empty: nearest within the pairing distance */
    double reading_uncertainty;  /* standard uncertainty of a level read by hand [m] */
    double reading_limit;        /* standard uncertainties beyond which a hand reading is set aside; 0: never */
    enum zero_correction zero_correction;
    double zero_limit; /* a zero error in air beyond this wants a look [Pa] */
    enum salinity_source salinity_source;
    double salinity;                                   /* stated or fallback practical salinity; NaN none */
    enum compensation conductance_compensation;        /* of the record: linear or ISO 7888 */
    double conductance_coefficient;                    /* linear temperature compensation per degC, 0.0191 */
    enum compensation conductance_sensor_compensation; /* what a sensor that writes specific conductance did */
    double conductance_sensor_coefficient;             /* NaN: as in the record */
    double oxygen_sensor_salinity; /* the salinity that the oxygen sensor was told; NaN: the measured one, sample by
                                      sample */
    double oxygen_sensor_pressure; /* the air pressure that a % reading refers to [Pa]; NaN: the one at that time */
    struct air_calibration oxygen_calibration;
    enum quantity
        oxygen_thermometer; /* QUANTITY_TEMPERATURE or QUANTITY_SECOND_TEMPERATURE: beside the oxygen sensor */
    double position_reach;  /* a file that places the logger farther away makes its values suspect [m] */
    int64_t interval;       /* sampling interval [ms]; 0: found from the data */
    int64_t settling;       /* after entering the water, values are suspect for this long [ms] */
    int memory_samples;     /* that the logger can keep; 0: not known */
    int64_t battery_lasts;  /* ms that new batteries last; 0: not known */
    double battery_limit;   /* the logger stops below this [V]; 0: not known */
    struct quality_override *quality;
    size_t quality_count;
    struct place where;
};

struct barometer {
    const char *id, *name;
    double latitude, longitude, elevation;
    int64_t utc_offset;
    struct word_list drops, serials, labels;
    struct place where;
};

/* ---- Layouts: how one kind of drop is read ---- */

enum layout_holds { LAYOUT_READINGS, LAYOUT_NOTES };

enum column_role {
    COLUMN_QUANTITY,      /* a measured value: quantity + unit */
    COLUMN_STATION,       /* station id or label in each row */
    COLUMN_SERIAL,        /* logger serial number in each row */
    COLUMN_NOTE,          /* notes, one column a kind: note_kind (+ quantity, unit): a filled cell is a note */
    COLUMN_KIND,          /* notes, one row a note: word of the kind */
    COLUMN_QUANTITY_NAME, /* notes: which quantity the row is about */
    COLUMN_VALUE,         /* notes: the value; for clock checks the logger's time */
    COLUMN_UNIT,          /* notes: unit of value and reference in this row */
    COLUMN_REFERENCE,     /* notes: field meter or standard */
    COLUMN_UNTIL,         /* notes: end time */
    COLUMN_TEXT,          /* notes: remark */
    COLUMN_IGNORED,       /* known and not wanted */
};

struct column {
    const char *header; /* pattern with * and ?, case ignored; matched against the trimmed header cell */
    enum column_role role;
    enum quantity quantity;   /* COLUMN_QUANTITY; COLUMN_NOTE of checks */
    enum note_kind note_kind; /* COLUMN_NOTE */
    const char *unit;         /* NULL: taken from the header cell, "Depth (ft)", "Temp [°C]", "Pressure, kPa" */
    bool is_reference;        /* COLUMN_NOTE of a check: this column is the field meter's side */
    bool is_optional;         /* the layout also fits files without it */
    struct place where;
};

enum repeated_hour { REPEATED_IN_ORDER, REPEATED_FIRST, REPEATED_SECOND };
enum missing_hour { MISSING_REFUSED, MISSING_SHIFTED };

struct word_meaning { /* a crew's word and what it means here */
    const char *word;
    int meaning; /* enum note_kind, or enum quantity */
};

struct layout {
    const char *id;
    enum layout_holds holds;
    struct word_list files;     /* path patterns; empty: any path whose header fits */
    char delimiter;             /* 0: found from the bytes (comma, semicolon, tab, bar) */
    char decimal;               /* '.' or ',' */
    struct word_list missing;   /* cells that mean "no value", beside the empty cell */
    struct word_list end_marks; /* a row whose first cell begins with one of these ends the data (footer) */
    const char *comment;        /* lines beginning with this are skipped; "" none */
    const char *sheet;          /* workbooks: pattern for the sheet's name; NULL: any that fits and is not hidden */
    bool may_end_open;          /* the last line never has a line end: take it at once */
    const char *serial_label,
        *station_label;          /* preamble: the cell after (or after ':' in) this one names them; NULL none */
    const char *time_columns[2]; /* header patterns; [1] NULL where one column holds date and time */
    const char *time_format;     /* "YYYY-MM-DD hh:mm:ss", "D/M/YYYY h:mm AM", "iso": see intake/clock.h; */
    const char *zone_name;       /* "station", an offset, or an IANA name */
    struct zone *zone;           /* NULL for "station" */
    enum repeated_hour repeated_hour;
    enum missing_hour missing_hour;
    struct column *columns;
    size_t column_count;
    struct word_meaning *kinds; /* LAYOUT_NOTES */
    size_t kind_count;
    struct word_meaning *quantities; /* LAYOUT_NOTES */
    size_t quantity_count;
    struct place where;
};

/* ---- Rules and recipients ---- */

enum rule_kind {
    RULE_BELOW,           /* quantity < limit */
    RULE_ABOVE,           /* quantity > limit */
    RULE_RISE,            /* rose by more than limit within window */
    RULE_FALL,            /* fell by more than limit within window */
    RULE_OUTSIDE,         /* quantity < low or > high */
    RULE_CHANGE,          /* changed by more than limit since the last visit, or since a time */
    RULE_FLAT,            /* changed by no more than limit for as long as window */
    RULE_DRIFT,           /* a check or second level reading disagrees by more than limit */
    RULE_SILENCE,         /* no data of a station or barometer for longer than window */
    RULE_GAP,             /* data before and behind, and none between for longer than window */
    RULE_VISIT_DUE,       /* nobody has put the logger in or read the level for longer than window, or what the logger
                             runs out of will not last */
    RULE_UNREADABLE_DROP, /* a drop was set aside, or waits for longer than window */
    RULE_UNDELIVERED,     /* a notice to a recipient was given up, or is tried for longer than window */
    RULE_KIND_COUNT
};
const char *rule_kind_word(enum rule_kind kind);

/* What limit, worst and last of a kind's episodes are; much of what is done with alarms follows from it. */
enum rule_measure {
    MEASURE_VALUE = 1, /* the quantity itself: the limit is a level of it, which a chart can draw */
    MEASURE_CHANGE,    /* a difference of the quantity: 5 degF is 2.78 degC */
    MEASURE_PAUSE,     /* ms that it took, when it was over */
    MEASURE_WAITING    /* ms that it has taken by now: grows with the clock, and was true when it was told */
};
enum rule_measure rule_measure(enum rule_kind kind);

/* Stages of the tide, as bits; how they are told from the level: alarms/tide.h. */
enum tide_stage { TIDE_RISING = 1 << 0, TIDE_FALLING = 1 << 1, TIDE_HIGH = 1 << 2, TIDE_LOW = 1 << 3 };

/* What must be so beside the rule's own condition, at the same sample. */
struct rule_condition {
    enum quantity quantity; /* QUANTITY_COUNT: none is looked at */
    double below, above;    /* inside units; NaN: not looked at */
    unsigned stages;        /* bits of enum tide_stage; 0: all, and where it is not known too */
    unsigned months;        /* bit 0 January ... bit 11 December; 0: all */
    int from, to;           /* minutes of the day, [from, to); to < from: over midnight; equal: all day */
};
enum { RULE_CONDITIONS_MOST = 4 };

struct rule {
    const char *id, *title; /* title: for people; the id where none is given */
    enum rule_kind kind;
    enum quantity quantity;                                 /* QUANTITY_COUNT where the kind has none */
    double limit, deadband;                                 /* inside units */
    double low, high;                                       /* RULE_OUTSIDE; infinite: open */
    int64_t since;                                          /* RULE_CHANGE: a time; TIME_NONE: the last visit */
    struct rule_condition conditions[RULE_CONDITIONS_MOST]; /* all must be so; clocks are the station's standard time */
    size_t condition_count;
    int64_t window, on_delay, off_delay; /* ms */
    int64_t ahead;                       /* RULE_VISIT_DUE: ms that a visit is due before memory or battery run out */
    int samples;         /* smallest number of counted samples in a row that begin an episode; below 2: one will do */
    bool counts_suspect; /* values flagged 3 count too; 4 and 9 never do */
    enum priority priority;
    struct word_list stations;    /* ids or patterns; empty: all */
    struct word_list except;      /* of these, those that it does not watch */
    struct word_list tell;        /* recipient ids */
    const char *advice;           /* what to do, for the message; may be "" */
    int64_t repeat;               /* ms between reminders while nobody answers; 0: none */
    int64_t escalate_after;       /* ms without an answer after which those further up are told; 0: never */
    struct word_list escalate_to; /* recipient ids */
    struct place where;
};

/* The levels of its quantity that it watches, inside units; none where it measures anything but a value. */
size_t rule_levels(const struct rule *rule, double ret[2]);

/* When somebody works, by a local clock. */
struct hours {
    unsigned days; /* bit 0 Monday ... bit 6 Sunday; 0: at all times */
    int from, to;  /* minutes of the day, [from, to); to <= from: over midnight, by the day on which it begins */
    const char *zone_name; /* offset or IANA name; NULL where there are no hours */
    struct zone *zone;
};

/* Once a day: what needs nobody woken. */
struct digest_mail {
    int at;                /* minute of the day */
    const char *zone_name; /* offset or IANA name; NULL: there is no digest */
    struct zone *zone;
    struct word_list tell; /* recipient ids */
    bool is_always;        /* also where there is nothing to say */
    struct place where;
};

enum recipient_kind { RECIPIENT_WEBHOOK, RECIPIENT_MAIL };

enum body_type { BODY_JSON, BODY_FORM, BODY_TEXT };

struct recipient {
    const char *id;
    enum recipient_kind kind;
    const char *url;             /* webhook: https, or http to a private address only where allowed */
    struct secret secret;        /* webhook: signing secret, "whsec_" + base64 */
    struct secret old_secret;    /* webhook: previous one while keys are rotated */
    const char *body;            /* webhook: template of what is posted, see config/template.h; NULL: an event */
    enum body_type body_type;    /* what the template is */
    const char *address;         /* mail */
    const char *ca_file;         /* extra certificate authority, NULL: the system's */
    bool allows_private_address; /* webhook may point into private or loopback networks */
    struct hours hours;          /* outside them only high priority is sent, the rest waits */
    struct place where;
};

enum sandbox_use { SANDBOX_ON, SANDBOX_OFF };

/* Formats of a station-month. FORMAT_CSV is the record itself, and always written. */
enum archive_format { FORMAT_CSV, FORMAT_NETCDF, FORMAT_XLSX, FORMAT_WATERML, FORMAT_CHART, FORMAT_PNG, FORMAT_COUNT };

enum mail_security { MAIL_STARTTLS, MAIL_TLS, MAIL_PLAIN /* loopback only */ };

struct mail_server {
    const char *host; /* NULL: no mail server is set */
    int port;
    enum mail_security security;
    const char *user; /* NULL: no authentication */
    struct secret password;
    const char *from, *hello_name; /* hello_name: what we call ourselves in EHLO; NULL: the host's name */
    const char *ca_file;
    struct place where;
};

/* An address that is called as long as everything goes on as it should: who hears nothing there knows that we are dead.
 */
struct heartbeat {
    const char *url; /* NULL: there is none */
    int64_t every;   /* ms */
    const char *ca_file;
    bool allows_private_address;
    struct place where;
};

/* ---- The whole ---- */

/* The stations of one of several services that share settings and inbox. */
struct network_part {
    const char *id;
    struct word_list stations; /* ids or patterns: a station is of the first part that has one which fits */
    struct place where;
};

struct config {
    struct arena *arena;
    const char *network_id, *network_name, *operator_name, *contact; /* operator_name, contact: may be "" */
    const char *public_url; /* where the archive is served, "" where it is not; used as CloudEvents source */
    const char *inbox, *archive, *state; /* absolute paths */
    uint32_t archive_formats;            /* bit f: enum archive_format */
    int netcdf_year_begins;    /* month (1..12) in which years of the yearly netCDF files begin; 0: there are none */
    int keep_revisions;        /* former ones of each month that stay in the archive; INT_MAX: all */
    uint32_t revision_formats; /* bit f: enum archive_format; what is kept of them beside CSV */
    const char *metrics_file;  /* absolute path; NULL: none is written */
    int workers;               /* threads that write records; 0: one more than processor cores */
    enum sandbox_use sandbox;
    struct word_list includes; /* absolute patterns of files that a reload may read, beside the main one */
    int64_t settle, rescan;    /* ms */
    int64_t hold_open_end;     /* ms that a file without its last line end must rest before it is taken */
    int64_t largest_drop;      /* bytes */
    struct word_list ignore;   /* more name patterns to ignore */
    double pairing_distance;   /* m: barometers farther than this are not paired by themselves */
    int64_t largest_air_gap;   /* ms between barometer samples that may be interpolated at all */
    int64_t hand_over;         /* ms over which the difference to the barometer before fades out */
    double barometer_limit;    /* a barometer that moved further against its neighbour wants a look [Pa] */
    int64_t good_air_gap;      /* ms: beyond this the interpolated value is suspect */
    int64_t keep_notices;      /* ms that notices are kept when they and their alarm are done; 0: for good */
    int64_t keep_names;        /* ms that names of files are kept which the inbox has no more; 0: for good */
    bool compacts;             /* the database is written anew at a start where much of it is empty */
    int64_t news_age;          /* ms: an episode whose last moment is older than this wakes nobody */
    int64_t longest_shelf;     /* ms that a person can put an alarm aside for */
    int64_t gather; /* ms: new alarms of one rule within this time become one message to a recipient; 0: off */
    int64_t chattering_window; /* ms: a rule met three times within it at one place is chattering */
    struct word_list answers;  /* path patterns of files in the inbox that may answer alarms */
    struct digest_mail digest_mail;
    struct quality_limits quality[QUANTITY_COUNT];
    struct station *stations;
    size_t station_count;
    struct neighbourhood *neighbourhoods; /* by station; each pair once */
    size_t neighbourhood_count;
    struct barometer *barometers;
    size_t barometer_count;
    struct layout *layouts;
    size_t layout_count;
    struct rule *rules;
    size_t rule_count;
    struct recipient *recipients;
    size_t recipient_count;
    struct network_part *parts;
    size_t part_count;
    const char *part;           /* id of this service's own part; NULL: there are none, and all stations are its own */
    const char *shared_archive; /* with a part: the folder of all parts; `archive` is this part's own below it */
    struct station *elsewhere; /* stations of other parts, ascending by id: known, so that their drops are left alone */
    size_t elsewhere_count;
    struct mail_server mail;
    struct heartbeat heartbeat;
    uint64_t digest; /* of all that decides whether and how a drop is read: see config/digest.h */
};

/* Every mistake, not only the first. */
struct config_problem {
    struct place where;
    const char *text; /* "unknown key 'latitud', expected 'latitude'" */
};
struct config_problems {
    struct arena *arena; /* owns the texts */
    struct config_problem *list;
    size_t count, capacity;
};
void config_problems_init(struct config_problems *problems);
void config_problems_done(struct config_problems *problems);
/* "file:line:column: text" */
char *config_problem_print(const struct config_problem *problem, struct arena *arena);

/* Read `path` and its includes. NULL when anything is wrong; then `problems` holds at least one entry, sorted by place.
 */
struct config *config_load(const char *path, struct config_problems *problems);
void config_free(struct config *config); /* NULL is fine */

/* Every key that settings may have, with type, default, limits and one line of help, from the table that the parser
 * uses. */
struct text;
void config_print_reference(struct text *text);

/* Index in the array, or the count where there is none. */
size_t config_find_station(const struct config *config, const char *id);
size_t config_find_barometer(const struct config *config, const char *id);
size_t config_find_rule(const struct config *config, const char *id);
size_t config_find_recipient(const struct config *config, const char *id);

/* The limits in force at a station. */
struct quality_limits config_quality(const struct config *config, const struct station *station,
                                     enum quantity quantity);
/* Does a rule watch this station (or barometer) id? */
bool rule_watches(const struct rule *rule, const char *id);

/* Digest of what shapes the finished values of one station: its own settings, the pairing, the limits. */
uint64_t config_station_digest(const struct config *config, const struct station *station);
/* The same of what shapes the checks of barometers against each other. */
uint64_t config_barometer_digest(const struct config *config);
/* Digest of what pages show and records do not stand on: names of the network and its barometers, what rules say. */
uint64_t config_pages_digest(const struct config *config);

#endif
