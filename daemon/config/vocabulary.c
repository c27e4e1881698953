/* SPDX-License-Identifier: MIT */
#include "config/vocabulary.h"

#include "base/memory.h"
#include "config/value.h"

#include <assert.h>
#include <math.h>
#include <string.h>

static double number_of(const char *text, enum quantity quantity, bool is_difference, double off);
static int64_t duration_of(const char *text);
static const char *word_at(const char *const *words, size_t count, int value);

/* Our proposal, not a norm. Spikes and rates of oxygen and temperature are common settings of real-time quality control
 * at 15 min; sensor ranges are generous. Oxygen may read a little below zero in water without any, and then stands
 * still for days: neither may make a value fail, or the worst nights would raise no alarm. Level has no range because
 * the datum is the operator's. Conductivity has no spike test because a salt wedge jumps. What depends on the place has
 * no default: months, attenuation (a pond may be still), a related quantity, a neighbour. */
static const struct limits_text limits_table[] = {
    [QUANTITY_LEVEL] = {.spike = {"0.05 m", "0.15 m"}, .flat_tolerance = "0.0005 m", .flat_suspect = "24 h"},
    [QUANTITY_DEPTH] = {.sensor = {"-1 m", "300 m"}, .spike = {"0.05 m", "0.15 m"}},
    [QUANTITY_TEMPERATURE] = {.sensor = {"-5 degC", "50 degC"},
                              .usual = {"-2 degC", "40 degC"},
                              .spike = {"2 degC", "5 degC"},
                              .rate = "3 degC",
                              .flat_tolerance = "0.005 degC",
                              .flat_suspect = "24 h",
                              .flat_fail = "72 h"},
    [QUANTITY_OXYGEN] = {.sensor = {"-0.5 mg/L", "30 mg/L"},
                         .usual = {"-0.2 mg/L", "20 mg/L"},
                         .spike = {"2 mg/L", "4 mg/L"},
                         .rate = "2 mg/L",
                         .flat_tolerance = "0.001 mg/L",
                         .flat_suspect = "12 h"},
    [QUANTITY_OXYGEN_SATURATION] = {.sensor = {"-5 %", "400 %"}, .usual = {"-2 %", "200 %"}, .spike = {"20 %", "50 %"}},
    [QUANTITY_OXYGEN_SATURATION_STANDARD] = {.sensor = {"-5 %", "400 %"},
                                             .usual = {"-2 %", "200 %"},
                                             .spike = {"20 %", "50 %"}},
    [QUANTITY_CONDUCTIVITY] = {.sensor = {"0 mS/cm", "100 mS/cm"}, .usual = {"0 mS/cm", "70 mS/cm"}},
    [QUANTITY_SPECIFIC_CONDUCTANCE] = {.sensor = {"0 mS/cm", "100 mS/cm"}, .usual = {"0 mS/cm", "70 mS/cm"}},
    [QUANTITY_SALINITY] = {.sensor = {"0", "60"}, .usual = {"0", "42"}},
    [QUANTITY_WATER_PRESSURE] = {.sensor = {"400 hPa", "5 MPa"}},
    [QUANTITY_AIR_PRESSURE] = {.sensor = {"400 hPa", "1100 hPa"},
                               .usual = {"500 hPa", "1085 hPa"},
                               .spike = {"3 hPa", "10 hPa"},
                               .rate = "10 hPa",
                               .flat_tolerance = "0.05 hPa",
                               .flat_suspect = "12 h",
                               .flat_fail = "24 h"},
    [QUANTITY_AIR_TEMPERATURE] = {.sensor = {"-60 degC", "80 degC"}, .usual = {"-45 degC", "60 degC"}},
    [QUANTITY_BATTERY] = {.sensor = {"0 V", "60 V"}},
    [QUANTITY_SECOND_TEMPERATURE] = {.sensor = {"-5 degC", "50 degC"},
                                     .usual = {"-2 degC", "40 degC"},
                                     .spike = {"2 degC", "5 degC"},
                                     .rate = "3 degC",
                                     .flat_tolerance = "0.005 degC",
                                     .flat_suspect = "24 h",
                                     .flat_fail = "72 h"},
    [QUANTITY_SENSOR_LATITUDE] = {.sensor = {"-90 deg", "90 deg"}},
    [QUANTITY_SENSOR_LONGITUDE] = {.sensor = {"-180 deg", "180 deg"}},
};
_Static_assert(COUNT_OF(limits_table) == QUANTITY_COUNT, "every quantity has its limits");

#define PLACES (RULE_STATIONS | RULE_EXCEPT)
#define DELAYS                                                                                                         \
    (RULE_DEADBAND | RULE_ON_DELAY | RULE_OFF_DELAY | RULE_COUNT_SUSPECT | PLACES | RULE_WHILE | RULE_SAMPLES)
static const struct rule_vocabulary rule_kinds[] = {
    [RULE_BELOW] = {.word = "below",
                    .measures = MEASURE_VALUE,
                    .needs = RULE_QUANTITY | RULE_LIMIT,
                    .takes = DELAYS,
                    .help = "the quantity is below the limit"},
    [RULE_ABOVE] = {.word = "above",
                    .measures = MEASURE_VALUE,
                    .needs = RULE_QUANTITY | RULE_LIMIT,
                    .takes = DELAYS,
                    .help = "the quantity is above the limit"},
    [RULE_RISE] = {.word = "rise",
                   .measures = MEASURE_CHANGE,
                   .needs = RULE_QUANTITY | RULE_LIMIT | RULE_WINDOW,
                   .takes = DELAYS,
                   .help = "it rose by more than the limit within the window"},
    [RULE_FALL] = {.word = "fall",
                   .measures = MEASURE_CHANGE,
                   .needs = RULE_QUANTITY | RULE_LIMIT | RULE_WINDOW,
                   .takes = DELAYS,
                   .help = "it fell by more than the limit within the window"},
    [RULE_OUTSIDE] = {.word = "outside",
                      .measures = MEASURE_VALUE,
                      .needs = RULE_QUANTITY | RULE_BAND,
                      .takes = DELAYS,
                      .help = "the quantity is below or above a band"},
    [RULE_CHANGE] = {.word = "change",
                     .measures = MEASURE_CHANGE,
                     .needs = RULE_QUANTITY | RULE_LIMIT | RULE_SINCE,
                     .takes = DELAYS,
                     .help = "it changed by more than the limit since the last visit, or since a time"},
    [RULE_FLAT] =
        {.word = "flat",
         .measures = MEASURE_CHANGE,
         .needs = RULE_QUANTITY | RULE_LIMIT | RULE_WINDOW,
         .takes = DELAYS,
         .help = "it changed by no more than the limit for as long as the window: a sensor that is stuck or buried"},
    [RULE_DRIFT] = {.word = "drift",
                    .measures = MEASURE_CHANGE,
                    .needs = RULE_QUANTITY | RULE_LIMIT,
                    .takes = RULE_DEADBAND | PLACES,
                    .help = "a check or a second level reading disagrees with the sensor by more than the limit; of "
                            "water_pressure: its zero "
                            "in air, against the barometer"},
    [RULE_SILENCE] = {.word = "silence",
                      .measures = MEASURE_WAITING,
                      .needs = RULE_WINDOW,
                      .takes = PLACES,
                      .help = "nothing came from a station or barometer for longer than the window"},
    [RULE_GAP] = {.word = "gap",
                  .measures = MEASURE_PAUSE,
                  .needs = RULE_WINDOW,
                  .takes = PLACES,
                  .help = "between two samples of a station or barometer lies more than the window: a file is missing"},
    [RULE_VISIT_DUE] = {.word = "visit_due",
                        .measures = MEASURE_WAITING,
                        .needs = RULE_WINDOW,
                        .takes = PLACES | RULE_AHEAD,
                        .help = "nobody has read the level or put the logger in for longer than the window, or the "
                                "logger's memory or battery will run out first"},
    [RULE_UNREADABLE_DROP] = {.word = "unreadable_drop",
                              .measures = MEASURE_WAITING,
                              .takes = RULE_WINDOW,
                              .window_standard = "6 h",
                              .help = "a drop was set aside, or waits for longer than the window"},
    [RULE_UNDELIVERED] = {.word = "undelivered",
                          .measures = MEASURE_WAITING,
                          .takes = RULE_WINDOW,
                          .window_standard = "1 h",
                          .help = "a notice to a recipient was given up, or is tried for longer than the window: the "
                                  "others of 'tell' hear of it"},
};
_Static_assert(COUNT_OF(rule_kinds) == RULE_KIND_COUNT, "every kind of rule has a row");

static const char *const rule_keys[] = {"quantity",  "limit",         "window",   "deadband", "on_delay",
                                                      "off_delay", "count_suspect", "stations", "band",     "since",
                                                      "while",     "samples",       "ahead",    "except"};
_Static_assert(COUNT_OF(rule_keys) == RULE_KEY_COUNT, "every key has a word");

static const char *const column_roles[] = {
    [COLUMN_QUANTITY] = "quantity", [COLUMN_STATION] = "station", [COLUMN_SERIAL] = "serial",
    [COLUMN_NOTE] = "note",         [COLUMN_KIND] = "kind",       [COLUMN_QUANTITY_NAME] = "quantity_name",
    [COLUMN_VALUE] = "value",       [COLUMN_UNIT] = "unit",       [COLUMN_REFERENCE] = "reference",
    [COLUMN_UNTIL] = "until",       [COLUMN_TEXT] = "text",       [COLUMN_IGNORED] = "ignored",
};
_Static_assert(COUNT_OF(column_roles) == COLUMN_IGNORED + 1, "every role has a word");

const char *rule_kind_word(enum rule_kind kind)
{
    return rule_vocabulary(kind)->word;
}

enum rule_measure rule_measure(enum rule_kind kind)
{
    assert(rule_vocabulary(kind)->measures != 0 && "its row says what it measures");
    return rule_vocabulary(kind)->measures;
}

size_t rule_levels(const struct rule *rule, double ret[2])
{
    const struct rule_vocabulary *info = rule_vocabulary(rule->kind);
    size_t n = 0;
    if (info->measures != MEASURE_VALUE)
        return 0;
    if (!(info->needs & RULE_BAND))
        ret[n++] = rule->limit;
    if (info->needs & RULE_BAND && isfinite(rule->low))
        ret[n++] = rule->low;
    if (info->needs & RULE_BAND && isfinite(rule->high))
        ret[n++] = rule->high;
    return n;
}

const struct rule_vocabulary *rule_vocabulary(enum rule_kind kind)
{
    assert(kind < RULE_KIND_COUNT);
    return &rule_kinds[kind];
}

const char *rule_key_word(unsigned bit)
{
    assert(bit < RULE_KEY_COUNT);
    return rule_keys[bit];
}

const struct limits_text *limits_text(enum quantity quantity)
{
    assert(quantity < QUANTITY_COUNT);
    return &limits_table[quantity];
}

struct quality_limits default_limits(enum quantity quantity)
{
    const struct limits_text *text = limits_text(quantity);
    return (struct quality_limits){
        .sensor_min = number_of(text->sensor[0], quantity, false, -INFINITY),
        .sensor_max = number_of(text->sensor[1], quantity, false, INFINITY),
        .usual_min = number_of(text->usual[0], quantity, false, -INFINITY),
        .usual_max = number_of(text->usual[1], quantity, false, INFINITY),
        .spike_suspect = number_of(text->spike[0], quantity, true, 0),
        .spike_fail = number_of(text->spike[1], quantity, true, 0),
        .rate = number_of(text->rate, quantity, true, 0),
        .flat_tolerance = number_of(text->flat_tolerance, quantity, true, 0),
        .flat_suspect = duration_of(text->flat_suspect),
        .flat_fail = duration_of(text->flat_fail),
    };
}

QUALITY_LIMITS_ARE(14);
void limits_normalise(struct quality_limits *limits)
{
    double *const ends[] = {&limits->sensor_min, &limits->sensor_max, &limits->usual_min, &limits->usual_max};
    double *const sizes[] = {&limits->spike_suspect, &limits->spike_fail, &limits->rate};
    for (size_t i = 0; i < COUNT_OF(ends); i++)
        *ends[i] = isinf(*ends[i]) ? NAN : *ends[i];
    for (size_t i = 0; i < COUNT_OF(sizes); i++)
        *sizes[i] = *sizes[i] > 0 ? *sizes[i] : NAN;
    if (limits->attenuated && limits->attenuated->window <= 0)
        limits->attenuated = NULL;
    if (limits->related && limits->related->quantity == QUANTITY_COUNT)
        limits->related = NULL;
    if (limits->neighbour && !limits->neighbour->station)
        limits->neighbour = NULL;
    if (limits->months && limits->months->is_off)
        limits->months = NULL;
}

const char *holds_choice(int value)
{
    static const char *const words[] = {[LAYOUT_READINGS] = "readings", [LAYOUT_NOTES] = "notes"};
    return word_at(words, COUNT_OF(words), value);
}

const char *delimiter_choice(int value)
{
    static const char *const words[] = {"found", "comma", "semicolon", "tab", "bar"};
    return word_at(words, COUNT_OF(words), value);
}

const char *decimal_choice(int value)
{
    static const char *const words[] = {".", ","};
    return word_at(words, COUNT_OF(words), value);
}

const char *compensation_choice(int value)
{
    return value < COMPENSATION_SAME ? sensor_compensation_choice(value) : NULL;
}

const char *sensor_compensation_choice(int value)
{
    static const char *const words[] = {
        [COMPENSATION_LINEAR] = "linear", [COMPENSATION_ISO_7888] = "iso_7888", [COMPENSATION_SAME] = "same"};
    return word_at(words, COUNT_OF(words), value);
}

const char *repeated_hour_choice(int value)
{
    static const char *const words[] = {
        [REPEATED_IN_ORDER] = "in order", [REPEATED_FIRST] = "first", [REPEATED_SECOND] = "second"};
    return word_at(words, COUNT_OF(words), value);
}

const char *missing_hour_choice(int value)
{
    static const char *const words[] = {[MISSING_REFUSED] = "refuse", [MISSING_SHIFTED] = "shift"};
    return word_at(words, COUNT_OF(words), value);
}

const char *zero_correction_choice(int value)
{
    static const char *const words[] = {[ZERO_NONE] = "none", [ZERO_OFFSET] = "offset", [ZERO_LINEAR] = "linear"};
    return word_at(words, COUNT_OF(words), value);
}

const char *sandbox_choice(int value)
{
    static const char *const words[] = {[SANDBOX_ON] = "on", [SANDBOX_OFF] = "off"};
    return word_at(words, COUNT_OF(words), value);
}

const char *archive_format_choice(int value)
{
    static const char *const words[] = {
        [FORMAT_CSV] = "csv",         [FORMAT_NETCDF] = "netcdf", [FORMAT_XLSX] = "xlsx",
        [FORMAT_WATERML] = "waterml", [FORMAT_CHART] = "chart",   [FORMAT_PNG] = "png"};
    _Static_assert(COUNT_OF(words) == FORMAT_COUNT, "every format has a word");
    return word_at(words, COUNT_OF(words), value);
}

const char *mail_security_choice(int value)
{
    static const char *const words[] = {[MAIL_STARTTLS] = "starttls", [MAIL_TLS] = "tls", [MAIL_PLAIN] = "plain"};
    return word_at(words, COUNT_OF(words), value);
}

const char *body_type_choice(int value)
{
    static const char *const words[] = {[BODY_JSON] = "json", [BODY_FORM] = "form", [BODY_TEXT] = "text"};
    return word_at(words, COUNT_OF(words), value);
}

const char *rule_kind_choice(int value)
{
    return value < RULE_KIND_COUNT ? rule_kinds[value].word : NULL;
}

const char *priority_choice(int value)
{
    return value < PRIORITY_COUNT ? priority_word((enum priority)value) : NULL;
}

const char *note_kind_choice(int value)
{
    return value < NOTE_KIND_COUNT ? note_kind_word((enum note_kind)value) : NULL;
}

const char *quantity_choice(int value)
{
    return value < QUANTITY_COUNT ? quantity_info((enum quantity)value)->key : NULL;
}

const char *column_role_choice(int value)
{
    return word_at(column_roles, COUNT_OF(column_roles), value);
}

static double number_of(const char *text, enum quantity quantity, bool is_difference, double off)
{
    double value = off;
    bool is_read =
        !text || value_quantity(text, strlen(text), (int)quantity_dimension(quantity), is_difference, &value, NULL);
    assert(is_read); /* the table above is ours */
    return is_read ? value : off;
}

static int64_t duration_of(const char *text)
{
    int64_t value = 0;
    bool is_read = !text || value_duration(text, strlen(text), &value, NULL);
    assert(is_read);
    return is_read ? value : 0;
}

static const char *word_at(const char *const *words, size_t count, int value)
{
    return (size_t)value < count ? words[value] : NULL;
}
