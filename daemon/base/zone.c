/* SPDX-License-Identifier: MIT */
#include "base/zone.h"

#include "base/file.h"
#include "base/memory.h"
#include "base/text.h"
#include "base/timestamp.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LARGEST_FILE = 1 << 20, HEADER = 44 };

/* One yearly change of a POSIX TZ rule, e.g. M3.5.0/2. */
struct change {
    char form; /* 'M' month.week.day, 'J' day without leap days, 'D' day from zero */
    int month, week, day;
    int64_t time_of_day; /* ms, may be negative or above a day */
};

struct zone {
    char *name;
    bool is_fixed;
    int64_t fixed_offset;
    size_t count; /* transitions */
    int64_t *at;  /* ms UTC, ascending */
    int64_t *offset_after;
    int64_t first_offset; /* before the first transition */
    /* The rule after the last transition */
    bool has_rule, has_summer;
    int64_t standard_offset, summer_offset;
    struct change to_summer, to_standard;
};

static bool name_is_safe(const char *name);
static bool read_file(struct zone *zone, struct error *error);
static bool read_body(struct zone *zone, const unsigned char *bytes, size_t length);
static bool read_rule(struct zone *zone, const char *rule);
static bool read_abbreviation(const char **at);
static bool read_clock(const char **at, int64_t *ret);
static bool read_change(const char **at, struct change *ret);
static int64_t change_in_year(const struct change *change, int year);
static int64_t offset_by_rule(const struct zone *zone, int64_t time);
static int64_t to_milliseconds(int64_t seconds);
static int32_t big_endian_32(const unsigned char *bytes);
static int64_t big_endian_64(const unsigned char *bytes);

struct zone *zone_load(const char *name, struct error *error)
{
    struct zone *zone = x_alloc(sizeof *zone);
    zone->name = x_strdup(name);
    if (timestamp_parse_offset(name, strlen(name), &zone->fixed_offset)) {
        zone->is_fixed = true;
        return zone;
    }
    if (!name_is_safe(name))
        fail(error, ERROR_CONFIG, "'%s' is no time zone: expected UTC, an offset such as -05:00, or an IANA name",
             name);
    else if (read_file(zone, error))
        return zone;
    zone_free(zone);
    return NULL;
}

void zone_free(struct zone *zone)
{
    if (!zone)
        return;
    free(zone->name);
    free(zone->at);
    free(zone->offset_after);
    free(zone);
}

const char *zone_name(const struct zone *zone)
{
    return zone->name;
}

bool zone_is_fixed(const struct zone *zone)
{
    return zone->is_fixed;
}

int64_t zone_offset(const struct zone *zone, int64_t time)
{
    if (zone->is_fixed)
        return zone->fixed_offset;
    if (zone->count == 0 || time < zone->at[0])
        return zone->count == 0 && zone->has_rule ? offset_by_rule(zone, time) : zone->first_offset;
    if (time >= zone->at[zone->count - 1])
        return zone->has_rule ? offset_by_rule(zone, time) : zone->offset_after[zone->count - 1];
    size_t low = 0, high = zone->count - 1; /* at[low] <= time < at[high] */
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        if (zone->at[middle] <= time)
            low = middle;
        else
            high = middle;
    }
    return zone->offset_after[low];
}

enum zone_reading zone_to_utc(const struct zone *zone, int64_t local, int64_t ret[2])
{
    /* Offsets lie within a day of UTC, so the offsets a day to either side are all that can hold at this reading. */
    int64_t before = zone_offset(zone, local - DAY_MS), after = zone_offset(zone, local + DAY_MS);
    bool before_fits = zone_offset(zone, local - before) == before;
    bool after_fits = zone_offset(zone, local - after) == after;
    if (before == after || (before_fits && !after_fits)) {
        ret[0] = ret[1] = local - before;
        return ZONE_ONCE;
    }
    if (after_fits && !before_fits) {
        ret[0] = ret[1] = local - after;
        return ZONE_ONCE;
    }
    ret[0] = local - before;
    ret[1] = local - after;
    return before_fits ? ZONE_TWICE : ZONE_MISSING;
}

static bool name_is_safe(const char *name)
{
    if (!*name || *name == '/' || strstr(name, "..") || strlen(name) > 64)
        return false;
    for (const char *c = name; *c; c++)
        if (!isalnum((unsigned char)*c) && !strchr("_+-/", *c))
            return false;
    return true;
}

static bool read_file(struct zone *zone, struct error *error)
{
    const char *folder = getenv("TZDIR");
    char path[4096];
    snprintf(path, sizeof path, "%s/%s", folder && *folder ? folder : "/usr/share/zoneinfo", zone->name);
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length;
    struct error inner;
    if (!file_read(path, LARGEST_FILE, &bytes, &length, &inner))
        return fail(
            error, ERROR_CONFIG,
            "time zone '%s' is not known to this system: expected UTC, an offset such as -05:00, or an IANA name",
            zone->name);
    if (!read_body(zone, (const unsigned char *)bytes, length))
        return fail(error, ERROR_CONFIG, "zone file '%s' is not a compiled time zone: reinstall the package tzdata",
                    path);
    return true;
}

/* Two blocks follow each other; the second has 64-bit times and is the one that counts. */
static bool read_body(struct zone *zone, const unsigned char *bytes, size_t length)
{
    size_t start = 0, time_size = 4;
    for (int block = 0; block < 2; block++, time_size = 8) {
        if (length - start < HEADER || memcmp(bytes + start, "TZif", 4) != 0 || bytes[start + 4] < '2')
            return false;
        size_t counts[6];
        for (size_t i = 0; i < 6; i++) {
            int32_t count = big_endian_32(bytes + start + 20 + 4 * i);
            if (count < 0 || count > 100000)
                return false;
            counts[i] = (size_t)count;
        }
        size_t is_ut = counts[0], is_standard = counts[1], leaps = counts[2], times = counts[3], types = counts[4],
               characters = counts[5];
        size_t body = start + HEADER;
        size_t next =
            body + times * time_size + times + types * 6 + characters + leaps * (time_size + 4) + is_standard + is_ut;
        if (next > length || types == 0)
            return false;
        if (block == 0) {
            start = next;
            continue;
        }
        const unsigned char *index = bytes + body + times * 8, *type = index + times;
        zone->count = times;
        zone->at = x_array(times, sizeof *zone->at);
        zone->offset_after = x_array(times, sizeof *zone->offset_after);
        zone->first_offset = big_endian_32(type) * SECOND_MS;
        for (size_t i = 0; i < times; i++) {
            if (index[i] >= types)
                return false;
            zone->at[i] = to_milliseconds(big_endian_64(bytes + body + 8 * i));
            zone->offset_after[i] = big_endian_32(type + 6 * index[i]) * SECOND_MS;
        }
        const char *rule = (const char *)bytes + next;
        const char *end = next < length ? memchr(rule + 1, '\n', length - next - 1) : NULL;
        if (!end || *rule != '\n' || end - rule - 1 >= 128)
            return false;
        char text[128] = {0};
        memcpy(text, rule + 1, (size_t)(end - rule - 1));
        return !*text || read_rule(zone, text);
    }
    return false;
}

/* POSIX TZ text, e.g. "NZST-12NZDT,M9.5.0,M4.1.0/3"; its offsets count west of Greenwich. */
static bool read_rule(struct zone *zone, const char *rule)
{
    const char *at = rule;
    int64_t west;
    if (!read_abbreviation(&at) || !read_clock(&at, &west))
        return false;
    zone->has_rule = true;
    zone->standard_offset = -west;
    if (!*at)
        return true;
    if (!read_abbreviation(&at))
        return false;
    zone->has_summer = true;
    zone->summer_offset = zone->standard_offset + HOUR_MS;
    if (*at != ',') {
        if (!read_clock(&at, &west))
            return false;
        zone->summer_offset = -west;
    }
    return *at++ == ',' && read_change(&at, &zone->to_summer) && *at++ == ',' && read_change(&at, &zone->to_standard) &&
           !*at;
}

static bool read_abbreviation(const char **at)
{
    const char *start = *at;
    if (**at == '<') {
        while (**at && **at != '>')
            (*at)++;
        if (!**at)
            return false;
        (*at)++;
    } else {
        while (isalpha((unsigned char)**at))
            (*at)++;
    }
    return *at > start;
}

static bool read_clock(const char **at, int64_t *ret)
{
    int sign = **at == '-' ? -1 : 1;
    *at += **at == '-' || **at == '+';
    int64_t unit = HOUR_MS, total = 0;
    for (int part = 0; part < 3; part++, unit /= 60) {
        if (!isdigit((unsigned char)**at))
            return false;
        int64_t value = 0;
        while (isdigit((unsigned char)**at) && value < 1000)
            value = value * 10 + (*(*at)++ - '0');
        total += value * unit;
        if (**at != ':')
            break;
        (*at)++;
    }
    *ret = sign * total;
    return true;
}

static bool read_change(const char **at, struct change *ret)
{
    *ret = (struct change){.form = 'D', .time_of_day = 2 * HOUR_MS};
    int used = 0;
    if (**at == 'M') {
        ret->form = 'M';
        if (sscanf(*at, "M%2d.%1d.%1d%n", &ret->month, &ret->week, &ret->day, &used) != 3 || ret->month < 1 ||
            ret->month > 12 || ret->week < 1 || ret->week > 5 || ret->day > 6)
            return false;
    } else {
        if (**at == 'J') {
            ret->form = 'J';
            (*at)++;
        }
        if (sscanf(*at, "%3d%n", &ret->day, &used) != 1 || ret->day < 0)
            return false;
    }
    *at += used;
    if (**at != '/')
        return true;
    (*at)++;
    return read_clock(at, &ret->time_of_day);
}

/* Local clock reading (as if UTC) at which the change happens, by the clock in force before it. */
static int64_t change_in_year(const struct change *change, int year)
{
    struct civil first = {.year = year, .month = change->form == 'M' ? change->month : 1, .day = 1};
    int64_t start = timestamp_from_civil(&first);
    if (change->form != 'M') {
        bool skips_leap_day = change->form == 'J' && change->day >= 60 && civil_days_in_month(year, 2) == 29;
        int64_t day = change->form == 'J' ? change->day - 1 + skips_leap_day : change->day;
        return start + day * DAY_MS + change->time_of_day;
    }
    int weekday = (int)((timestamp_floor(start, DAY_MS) / DAY_MS + 4) % 7); /* 1970-01-01 was a Thursday */
    weekday = weekday < 0 ? weekday + 7 : weekday;
    int day = 1 + (change->day - weekday + 7) % 7 + (change->week - 1) * 7;
    while (day > civil_days_in_month(year, change->month))
        day -= 7;
    return start + (day - 1) * DAY_MS + change->time_of_day;
}

static int64_t offset_by_rule(const struct zone *zone, int64_t time)
{
    if (!zone->has_summer)
        return zone->standard_offset;
    int year = timestamp_to_civil(time + zone->standard_offset).year;
    int64_t begins = change_in_year(&zone->to_summer, year) - zone->standard_offset;
    int64_t ends = change_in_year(&zone->to_standard, year) - zone->summer_offset;
    bool is_summer = begins < ends ? time >= begins && time < ends : time >= begins || time < ends;
    return is_summer ? zone->summer_offset : zone->standard_offset;
}

/* Files of older compilers begin at -2^59 s: whatever we cannot count lies before or after all our times. */
static int64_t to_milliseconds(int64_t seconds)
{
    int64_t most = INT64_MAX / SECOND_MS;
    return (seconds < -most ? -most : seconds > most ? most : seconds) * SECOND_MS;
}

static int32_t big_endian_32(const unsigned char *bytes)
{
    return (int32_t)((uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3]);
}

static int64_t big_endian_64(const unsigned char *bytes)
{
    return (int64_t)((uint64_t)(uint32_t)big_endian_32(bytes) << 32 | (uint32_t)big_endian_32(bytes + 4));
}
