/* SPDX-License-Identifier: MIT */
#include "base/timestamp.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

static int64_t days_from_civil(int year, int month, int day);
static bool read_digits(const char **at, const char *end, int count, int *ret);

int64_t timestamp_from_civil(const struct civil *civil)
{
    int64_t days = days_from_civil(civil->year, civil->month, civil->day);
    int64_t seconds = (int64_t)civil->hour * 3600 + civil->minute * 60 + civil->second;
    return days * DAY_MS + seconds * SECOND_MS + civil->millisecond;
}

struct civil timestamp_to_civil(int64_t time)
{
    int64_t days = timestamp_floor(time, DAY_MS) / DAY_MS;
    int64_t rest = time - days * DAY_MS;
    /* Days counted from 0000-03-01, so that the leap day is the last of its year; eras of 400 years. */
    int64_t shifted = days + 719468;
    int64_t era = timestamp_floor(shifted, 146097) / 146097;
    int64_t day_of_era = shifted - era * 146097;
    int64_t year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36524 - day_of_era / 146096) / 365;
    int64_t day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    int64_t month_index = (5 * day_of_year + 2) / 153;
    struct civil civil = {
        .day = (int)(day_of_year - (153 * month_index + 2) / 5 + 1),
        .month = (int)(month_index < 10 ? month_index + 3 : month_index - 9),
        .hour = (int)(rest / HOUR_MS),
        .minute = (int)(rest / MINUTE_MS % 60),
        .second = (int)(rest / SECOND_MS % 60),
        .millisecond = (int)(rest % SECOND_MS),
    };
    civil.year = (int)(year_of_era + era * 400 + (civil.month <= 2));
    return civil;
}

bool civil_is_valid(const struct civil *civil)
{
    return civil->year >= 1 && civil->year <= 9999 && civil->month >= 1 && civil->month <= 12 && civil->day >= 1 &&
           civil->day <= civil_days_in_month(civil->year, civil->month) && civil->hour >= 0 && civil->hour <= 23 &&
           civil->minute >= 0 && civil->minute <= 59 && civil->second >= 0 && civil->second <= 59 &&
           civil->millisecond >= 0 && civil->millisecond <= 999;
}

int civil_days_in_month(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool is_leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return month == 2 && is_leap ? 29 : days[month - 1];
}

int64_t timestamp_month_start(int64_t time, int64_t offset)
{
    struct civil civil = timestamp_to_civil(time + offset);
    struct civil first = {.year = civil.year, .month = civil.month, .day = 1};
    return timestamp_from_civil(&first) - offset;
}

int64_t timestamp_next_month(int64_t time, int64_t offset)
{
    struct civil civil = timestamp_to_civil(time + offset);
    bool is_december = civil.month == 12;
    struct civil first = {.year = civil.year + is_december, .month = is_december ? 1 : civil.month + 1, .day = 1};
    return timestamp_from_civil(&first) - offset;
}

int64_t timestamp_floor(int64_t time, int64_t step)
{
    int64_t rest = time % step;
    return time - (rest < 0 ? rest + step : rest);
}

/* "2026-03-01T00:05:00"; by hand, since files are full of them. Returns the length. */
static int print_seconds(const struct civil *c, char *ret)
{
    if (c->year < 0 || c->year > 9999)
        return snprintf(ret, TIMESTAMP_SIZE, "%04d-%02d-%02dT%02d:%02d:%02d", c->year, c->month, c->day, c->hour,
                        c->minute, c->second);
    memcpy(ret, "....-..-..T..:..:..", sizeof "....-..-..T..:..:..");
    const int parts[] = {c->year / 100, c->year % 100, c->month, c->day, c->hour, c->minute, c->second};
    static const uint8_t places[] = {0, 2, 5, 8, 11, 14, 17};
    for (size_t k = 0; k < sizeof places; k++) {
        ret[places[k]] = (char)('0' + parts[k] / 10);
        ret[places[k] + 1] = (char)('0' + parts[k] % 10);
    }
    return 19;
}

char *timestamp_print(int64_t time, char *ret)
{
    if (time == TIME_NONE || time == TIME_FOREVER)
        return strcpy(ret, "-");
    struct civil c = timestamp_to_civil(time);
    int used = print_seconds(&c, ret);
    if (c.millisecond)
        used += snprintf(ret + used, TIMESTAMP_SIZE - (size_t)used, ".%03d", c.millisecond);
    ret[used] = 'Z';
    ret[used + 1] = '\0';
    return ret;
}

char *timestamp_print_offset(int64_t time, int64_t offset, char *ret)
{
    if (time == TIME_NONE || time == TIME_FOREVER)
        return strcpy(ret, "-");
    timestamp_print(time + offset, ret);
    size_t used = strlen(ret) - 1; /* over the Z */
    int64_t minutes = (offset < 0 ? -offset : offset) / MINUTE_MS;
    snprintf(ret + used, TIMESTAMP_SIZE - used, "%c%02d:%02d", offset < 0 ? '-' : '+', (int)(minutes / 60),
             (int)(minutes % 60));
    return ret;
}

char *duration_print(int64_t duration, char *ret)
{
    const char *sign = duration < 0 ? "-" : "";
    int64_t ms = duration < 0 ? -duration : duration;
    int d = (int)(ms / DAY_MS), h = (int)(ms / HOUR_MS % 24), m = (int)(ms / MINUTE_MS % 60);
    if (d > 0)
        snprintf(ret, TIMESTAMP_SIZE, h ? "%s%d d %d h" : "%s%d d", sign, d, h);
    else if (h > 0)
        snprintf(ret, TIMESTAMP_SIZE, m ? "%s%d h %d min" : "%s%d h", sign, h, m);
    else if (ms >= MINUTE_MS)
        snprintf(ret, TIMESTAMP_SIZE, "%s%d min", sign, m);
    else
        snprintf(ret, TIMESTAMP_SIZE, "%s%d s", sign, (int)(ms / SECOND_MS));
    return ret;
}

bool timestamp_parse(const char *string, size_t length, int64_t *ret)
{
    const char *at = string, *end = string + length;
    struct civil c = {0};
    bool ok = read_digits(&at, end, 4, &c.year) && at < end && *at++ == '-' && read_digits(&at, end, 2, &c.month) &&
              at < end && *at++ == '-' && read_digits(&at, end, 2, &c.day) && at < end && (*at == 'T' || *at == ' ');
    if (!ok)
        return false;
    at++;
    ok = read_digits(&at, end, 2, &c.hour) && at < end && *at++ == ':' && read_digits(&at, end, 2, &c.minute) &&
         at < end && *at++ == ':' && read_digits(&at, end, 2, &c.second);
    if (!ok)
        return false;
    if (at < end && *at == '.') {
        int weight = 100;
        if (at + 1 == end || at[1] < '0' || at[1] > '9')
            return false;
        for (at++; at < end && *at >= '0' && *at <= '9'; at++, weight /= 10)
            c.millisecond += (*at - '0') * weight;
    }
    bool is_leap_second = c.second == 60;
    c.second -= is_leap_second;
    int64_t offset;
    if (!civil_is_valid(&c) || !timestamp_parse_offset(at, (size_t)(end - at), &offset))
        return false;
    *ret = timestamp_from_civil(&c) + (is_leap_second ? SECOND_MS : 0) - offset;
    return true;
}

bool timestamp_parse_offset(const char *string, size_t length, int64_t *ret)
{
    if ((length == 1 && (*string == 'Z' || *string == 'z')) || (length == 3 && memcmp(string, "UTC", 3) == 0)) {
        *ret = 0;
        return true;
    }
    const char *at = string, *end = string + length;
    if (length < 3 || (*at != '+' && *at != '-'))
        return false;
    int sign = *at++ == '-' ? -1 : 1, hours, minutes = 0;
    if (!read_digits(&at, end, 2, &hours))
        return false;
    if (at < end) {
        at += *at == ':';
        if (!read_digits(&at, end, 2, &minutes))
            return false;
    }
    if (at != end || minutes > 59 || hours * 60 + minutes > 18 * 60)
        return false;
    *ret = sign * (hours * HOUR_MS + minutes * MINUTE_MS);
    return true;
}

int64_t clock_wall(void)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

int64_t clock_monotonic(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static int64_t days_from_civil(int year, int month, int day)
{
    int64_t y = year - (month <= 2);
    int64_t era = timestamp_floor(y, 400) / 400;
    int64_t year_of_era = y - era * 400;
    int64_t day_of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    int64_t day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    return era * 146097 + day_of_era - 719468;
}

static bool read_digits(const char **at, const char *end, int count, int *ret)
{
    int value = 0;
    for (int i = 0; i < count; i++, (*at)++) {
        if (*at >= end || **at < '0' || **at > '9')
            return false;
        value = value * 10 + (**at - '0');
    }
    *ret = value;
    return true;
}
