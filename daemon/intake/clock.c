/* SPDX-License-Identifier: MIT */
#include "intake/clock.h"

#include "base/memory.h"
#include "base/text.h"
#include "base/timestamp.h"

#include <ctype.h>
#include <string.h>

enum step_kind {
    STEP_LITERAL,
    STEP_SPACE,
    STEP_YEAR,
    STEP_SHORT_YEAR,
    STEP_MONTH_NAME,
    STEP_MONTH,
    STEP_MONTH_LOOSE,
    STEP_DAY,
    STEP_DAY_LOOSE,
    STEP_HOUR,
    STEP_HOUR_LOOSE,
    STEP_MINUTE,
    STEP_SECOND,
    STEP_SECOND_LOOSE,
    STEP_FRACTION,
    STEP_HALF_DAY,
    STEP_ZONE,
    STEP_ISO,
};

/* What a step gives; each may stand once in a format. */
enum field {
    FIELD_NONE,
    FIELD_YEAR,
    FIELD_MONTH,
    FIELD_DAY,
    FIELD_HOUR,
    FIELD_MINUTE,
    FIELD_SECOND,
    FIELD_FRACTION,
    FIELD_HALF_DAY,
    FIELD_ZONE
};

struct part {
    const char *word;
    enum step_kind kind;
    enum field field;
};

/* Longer words stand before their beginnings. */
static const struct part parts[] = {
    {"YYYY", STEP_YEAR, FIELD_YEAR},       {"YY", STEP_SHORT_YEAR, FIELD_YEAR},
    {"MON", STEP_MONTH_NAME, FIELD_MONTH}, {"MM", STEP_MONTH, FIELD_MONTH},
    {"M", STEP_MONTH_LOOSE, FIELD_MONTH},  {"DD", STEP_DAY, FIELD_DAY},
    {"D", STEP_DAY_LOOSE, FIELD_DAY},      {"hh", STEP_HOUR, FIELD_HOUR},
    {"h", STEP_HOUR_LOOSE, FIELD_HOUR},    {"mm", STEP_MINUTE, FIELD_MINUTE},
    {"ss", STEP_SECOND, FIELD_SECOND},     {"s", STEP_SECOND_LOOSE, FIELD_SECOND},
    {".s", STEP_FRACTION, FIELD_FRACTION}, {"AM", STEP_HALF_DAY, FIELD_HALF_DAY},
    {"Z", STEP_ZONE, FIELD_ZONE},
};

static const char *const months[12] = {"january", "february", "march",     "april",   "may",      "june",
                                       "july",    "august",   "september", "october", "november", "december"};

/* What has been read so far. */
struct fields {
    int year, month, day, hour, minute, second;
    int fraction; /* ms, up to 1000 */
    int half_day; /* 0 none, 1 AM, 2 PM */
    int64_t offset;
    bool has_offset;
};

static const struct part *find_part(const char *at);
static bool check_fields(const char *text, unsigned seen, struct error *error);
static bool take_step(const struct clock_step *step, const char **at, const char *end, struct fields *fields);
static bool take_iso(const char **at, const char *end, struct fields *fields);
static bool take_hour_and_minute(const char **at, const char *end, struct fields *fields);
static bool take_digits(const char **at, const char *end, int least, int most, int *ret);
static bool take_literal(const char **at, const char *end, char c);
static bool take_spaces(const char **at, const char *end);
static bool take_short_year(const char **at, const char *end, int *ret);
static bool take_month_name(const char **at, const char *end, int *ret);
static void take_fraction(const char **at, const char *end, int *ret);
static bool take_half_day(const char **at, const char *end, int *ret);
static bool take_zone(const char **at, const char *end, struct fields *fields);
static bool combine(struct fields *fields, int64_t *ret);
static bool time_of_day(const struct fields *fields, int64_t *ret);
static bool knows(const struct clock *clock, int64_t local);
static void learn(struct clock *clock, int64_t local);
static bool is_second_pass(struct clock *clock, int64_t local, const int64_t candidates[2]);
static void remember(struct clock *clock, int64_t local, int64_t utc);

bool clock_format_parse(const char *text, struct clock_format *ret, struct error *error)
{
    *ret = (struct clock_format){.text = text};
    if (text_equal_ignoring_case(text, "iso")) {
        ret->steps[ret->count++].kind = STEP_ISO;
        return true;
    }
    unsigned seen = 0;
    for (const char *at = text; *at;) {
        if (ret->count == CLOCK_MOST_STEPS)
            return fail(error, ERROR_CONFIG, "time format '%s' is too long", text);
        const struct part *part = find_part(at);
        struct clock_step *step = &ret->steps[ret->count++];
        if (part && seen >> part->field & 1)
            return fail(error, ERROR_CONFIG, "time format '%s' holds '%s' where that part was given before", text,
                        part->word);
        if (!part && isalpha((unsigned char)*at) && *at != 'T')
            return fail(
                error, ERROR_CONFIG,
                "time format '%s': '%c' is no part of it; the parts are YYYY YY MM M MON DD D hh h mm ss s .s AM Z, "
                "or the format is iso",
                text, *at);
        *step = (struct clock_step){(unsigned char)(part ? part->kind : *at == ' ' ? STEP_SPACE : STEP_LITERAL), *at};
        seen |= part ? 1u << part->field : 0;
        at += part ? strlen(part->word) : 1;
    }
    return check_fields(text, seen, error);
}

bool clock_read(const struct clock_format *format, const char *text, size_t length, struct clock_reading *ret)
{
    struct fields fields = {0};
    const char *at = text, *end = text + length;
    for (size_t i = 0; i < format->count; i++)
        if (!take_step(&format->steps[i], &at, end, &fields))
            return false;
    if (at != end || !combine(&fields, &ret->local))
        return false;
    ret->offset = fields.offset;
    ret->has_offset = fields.has_offset;
    return true;
}

bool clock_read_civil(const char *text, size_t length, struct clock_reading *ret)
{
    static const struct clock_format date_and_time = {.count = 1, .steps = {{.kind = STEP_ISO}}};
    static const struct clock_format date = {
        .count = 5,
        .steps = {
            {.kind = STEP_YEAR}, {STEP_LITERAL, '-'}, {.kind = STEP_MONTH}, {STEP_LITERAL, '-'}, {.kind = STEP_DAY}}};
    return clock_read(&date_and_time, text, length, ret) || clock_read(&date, text, length, ret);
}

bool clock_read_time_of_day(const char *text, size_t length, int64_t *ret)
{
    struct fields fields = {0};
    const char *at = text, *end = text + length;
    if (length == 4 && strncasecmp(text, "noon", 4) == 0) {
        *ret = 12 * HOUR_MS;
        return true;
    }
    if (!take_hour_and_minute(&at, end, &fields))
        return false;
    if (take_literal(&at, end, ':')) {
        if (!take_digits(&at, end, 2, 2, &fields.second))
            return false;
        take_fraction(&at, end, &fields.fraction);
    }
    take_spaces(&at, end);
    if (at < end && !take_half_day(&at, end, &fields.half_day))
        return false;
    if (at != end || !time_of_day(&fields, ret))
        return false;
    *ret += fields.fraction;
    return true;
}

void clock_init(struct clock *clock, const struct layout *layout, int64_t standard_offset)
{
    *clock = (struct clock){
        .zone = layout->zone,
        .offset = standard_offset,
        .repeated_hour = layout->repeated_hour,
        .missing_hour = layout->missing_hour,
        .previous_local = TIME_NONE,
    };
}

bool clock_to_utc(struct clock *clock, const struct clock_reading *reading, int64_t *ret)
{
    if (reading->has_offset || !clock->zone) {
        *ret = reading->local - (reading->has_offset ? reading->offset : clock->offset);
        return true;
    }
    int64_t local = reading->local, candidates[2];
    if (!knows(clock, local))
        learn(clock, local);
    if (knows(clock, local)) {
        clock->is_in_repeated_hour = false;
        *ret = local - clock->known_offset;
    } else {
        enum zone_reading kind = zone_to_utc(clock->zone, local, candidates);
        if (kind == ZONE_MISSING && clock->missing_hour == MISSING_REFUSED)
            return false;
        if (kind == ZONE_TWICE)
            *ret = candidates[is_second_pass(clock, local, candidates)];
        else
            *ret = candidates[0];
        clock->is_in_repeated_hour = kind == ZONE_TWICE;
    }
    remember(clock, local, *ret);
    return true;
}

bool clock_to_utc_alone(const struct clock *clock, const struct clock_reading *reading, int64_t *ret)
{
    struct clock alone = *clock;
    alone.previous_local = TIME_NONE;
    alone.is_in_repeated_hour = false;
    return clock_to_utc(&alone, reading, ret);
}

static const struct part *find_part(const char *at)
{
    for (size_t i = 0; i < COUNT_OF(parts); i++)
        if (strncmp(at, parts[i].word, strlen(parts[i].word)) == 0)
            return &parts[i];
    return NULL;
}

static bool check_fields(const char *text, unsigned seen, struct error *error)
{
    static const struct {
        enum field needs, field;
        const char *what;
    } needs[] = {
        {FIELD_NONE, FIELD_YEAR, "year (YYYY or YY)"},  {FIELD_NONE, FIELD_MONTH, "month (MM, M or MON)"},
        {FIELD_NONE, FIELD_DAY, "day (DD or D)"},       {FIELD_MINUTE, FIELD_HOUR, "hour (hh or h)"},
        {FIELD_HALF_DAY, FIELD_HOUR, "hour (hh or h)"}, {FIELD_SECOND, FIELD_MINUTE, "minute (mm)"},
        {FIELD_FRACTION, FIELD_SECOND, "second (ss)"},
    };
    for (size_t i = 0; i < COUNT_OF(needs); i++) {
        bool is_needed = needs[i].needs == FIELD_NONE || seen >> needs[i].needs & 1;
        if (is_needed && !(seen >> needs[i].field & 1))
            return fail(error, ERROR_CONFIG, "time format '%s' has no %s", text, needs[i].what);
    }
    return true;
}

static bool take_step(const struct clock_step *step, const char **at, const char *end, struct fields *fields)
{
    switch ((enum step_kind)step->kind) {
    case STEP_LITERAL: return take_literal(at, end, step->literal);
    case STEP_SPACE: return take_spaces(at, end);
    case STEP_YEAR: return take_digits(at, end, 4, 4, &fields->year);
    case STEP_SHORT_YEAR: return take_short_year(at, end, &fields->year);
    case STEP_MONTH_NAME: return take_month_name(at, end, &fields->month);
    case STEP_MONTH: return take_digits(at, end, 2, 2, &fields->month);
    case STEP_MONTH_LOOSE: return take_digits(at, end, 1, 2, &fields->month);
    case STEP_DAY: return take_digits(at, end, 2, 2, &fields->day);
    case STEP_DAY_LOOSE: return take_digits(at, end, 1, 2, &fields->day);
    case STEP_HOUR: return take_digits(at, end, 2, 2, &fields->hour);
    case STEP_HOUR_LOOSE: return take_digits(at, end, 1, 2, &fields->hour);
    case STEP_MINUTE: return take_digits(at, end, 2, 2, &fields->minute);
    case STEP_SECOND: return take_digits(at, end, 2, 2, &fields->second);
    case STEP_SECOND_LOOSE: return take_digits(at, end, 1, 2, &fields->second);
    case STEP_FRACTION: take_fraction(at, end, &fields->fraction); return true;
    case STEP_HALF_DAY: return take_half_day(at, end, &fields->half_day);
    case STEP_ZONE: return take_zone(at, end, fields);
    case STEP_ISO: return take_iso(at, end, fields);
    }
    return false;
}

static bool take_iso(const char **at, const char *end, struct fields *fields)
{
    if (!take_digits(at, end, 4, 4, &fields->year) || !take_literal(at, end, '-') ||
        !take_digits(at, end, 2, 2, &fields->month) || !take_literal(at, end, '-') ||
        !take_digits(at, end, 2, 2, &fields->day))
        return false;
    if (!take_literal(at, end, 'T') && !take_spaces(at, end))
        return false;
    if (!take_digits(at, end, 2, 2, &fields->hour) || !take_literal(at, end, ':') ||
        !take_digits(at, end, 2, 2, &fields->minute))
        return false;
    if (take_literal(at, end, ':')) {
        if (!take_digits(at, end, 2, 2, &fields->second))
            return false;
        take_fraction(at, end, &fields->fraction);
    }
    return *at == end || take_zone(at, end, fields);
}

/* "14:05", "14h05", "1405": four digits are hours and minutes, as crews say them over the radio. */
static bool take_hour_and_minute(const char **at, const char *end, struct fields *fields)
{
    const char *start = *at;
    if (!take_digits(at, end, 1, 2, &fields->hour))
        return false;
    bool has_mark = take_literal(at, end, ':') || take_literal(at, end, 'h') || take_literal(at, end, 'H');
    return (has_mark || *at - start == 2) && take_digits(at, end, 2, 2, &fields->minute);
}

static bool take_digits(const char **at, const char *end, int least, int most, int *ret)
{
    const char *c = *at;
    int value = 0, digits = 0;
    for (; c < end && digits < most && *c >= '0' && *c <= '9'; c++, digits++)
        value = value * 10 + (*c - '0');
    *at = c;
    *ret = value;
    return digits >= least;
}

static bool take_literal(const char **at, const char *end, char c)
{
    if (*at == end || **at != c)
        return false;
    (*at)++;
    return true;
}

static bool take_spaces(const char **at, const char *end)
{
    const char *start = *at;
    while (*at < end && **at == ' ')
        (*at)++;
    return *at > start;
}

static bool take_short_year(const char **at, const char *end, int *ret)
{
    if (!take_digits(at, end, 2, 2, ret))
        return false;
    *ret += *ret >= 70 ? 1900 : 2000;
    return true;
}

/* Three letters at least, and then as many of the name as there are: "Mar", "Sept", "March". */
static bool take_month_name(const char **at, const char *end, int *ret)
{
    for (int month = 0; month < 12; month++) {
        const char *c = *at, *name = months[month];
        while (c < end && *name && tolower((unsigned char)*c) == *name) {
            c++;
            name++;
        }
        if (c - *at >= 3) {
            *at = c;
            *ret = month + 1;
            return true;
        }
    }
    return false;
}

static void take_fraction(const char **at, const char *end, int *ret)
{
    const char *c = *at;
    if (end - c < 2 || (*c != '.' && *c != ',') || c[1] < '0' || c[1] > '9')
        return;
    int64_t nanoseconds = 0, unit = 100000000;
    for (c++; c < end && unit > 0 && *c >= '0' && *c <= '9'; c++, unit /= 10)
        nanoseconds += (*c - '0') * unit;
    *at = c;
    *ret = (int)((nanoseconds + 500000) / 1000000);
}

static bool take_half_day(const char **at, const char *end, int *ret)
{
    const char *c = *at;
    int first = c < end ? tolower((unsigned char)*c) : 0;
    if (first != 'a' && first != 'p')
        return false;
    c++;
    bool has_point = take_literal(&c, end, '.');
    if (c == end || tolower((unsigned char)*c) != 'm')
        return false;
    c++;
    if (has_point)
        take_literal(&c, end, '.');
    *at = c;
    *ret = first == 'a' ? 1 : 2;
    return true;
}

static bool take_zone(const char **at, const char *end, struct fields *fields)
{
    const char *from = *at, *c = from;
    while (c < end && *c != ' ' && (c == from || isalnum((unsigned char)*c) || *c == ':'))
        c++;
    if (!timestamp_parse_offset(from, (size_t)(c - from), &fields->offset))
        return false;
    *at = c;
    fields->has_offset = true;
    return true;
}

static bool combine(struct fields *fields, int64_t *ret)
{
    int64_t of_day;
    if (!time_of_day(fields, &of_day))
        return false;
    struct civil date = {.year = fields->year, .month = fields->month, .day = fields->day};
    if (!civil_is_valid(&date))
        return false;
    *ret = timestamp_from_civil(&date) + of_day + fields->fraction;
    return true;
}

static bool time_of_day(const struct fields *fields, int64_t *ret)
{
    int hour = fields->hour;
    if (fields->half_day) {
        if (hour < 1 || hour > 12)
            return false;
        hour = hour % 12 + (fields->half_day == 2 ? 12 : 0);
    }
    bool is_midnight = hour == 24 && fields->minute == 0 && fields->second == 0 && fields->fraction == 0;
    if ((hour > 23 && !is_midnight) || fields->minute > 59 || fields->second > 60)
        return false;
    *ret = hour * HOUR_MS + fields->minute * MINUTE_MS + fields->second * SECOND_MS;
    return true;
}

static bool knows(const struct clock *clock, int64_t local)
{
    return local >= clock->known_from && local < clock->known_to;
}

/* A whole civil day with one offset, seen at steps that no pair of changes slips through: then its readings need no
 * search. */
static void learn(struct clock *clock, int64_t local)
{
    int64_t from = timestamp_floor(local, DAY_MS), offset = zone_offset(clock->zone, from - DAY_MS);
    for (int64_t at = from - DAY_MS; at <= from + 2 * DAY_MS; at += 6 * HOUR_MS)
        if (zone_offset(clock->zone, at) != offset)
            return;
    clock->known_from = from;
    clock->known_to = from + DAY_MS;
    clock->known_offset = offset;
}

static bool is_second_pass(struct clock *clock, int64_t local, const int64_t candidates[2])
{
    if (clock->repeated_hour != REPEATED_IN_ORDER)
        return clock->repeated_hour == REPEATED_SECOND;
    bool descends = clock->previous_local != TIME_NONE && clock->previous_step < 0;
    if (clock->previous_local == TIME_NONE || !clock->is_in_repeated_hour) {
        clock->is_second_pass = descends;
        return clock->is_second_pass;
    }
    int64_t step = local - clock->previous_local, pause = candidates[1] - candidates[0];
    bool repeats = step == 0 && (descends ? -clock->previous_step : clock->previous_step) >= pause;
    if (descends && clock->is_second_pass && (step > 0 || repeats))
        clock->is_second_pass = false;
    else if (!descends && !clock->is_second_pass && (step < 0 || repeats))
        clock->is_second_pass = true;
    return clock->is_second_pass;
}

static void remember(struct clock *clock, int64_t local, int64_t utc)
{
    clock->previous_step = clock->previous_local == TIME_NONE ? 0 : utc - clock->previous_utc;
    clock->previous_local = local;
    clock->previous_utc = utc;
}
