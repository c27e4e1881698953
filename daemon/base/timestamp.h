/* SPDX-License-Identifier: MIT */
/* Instants as int64 milliseconds since 1970-01-01T00:00:00Z, without leap seconds (POSIX), years 1 to 9999.
 * Civil dates are proleptic Gregorian. Nothing here knows the process's time zone. */
#ifndef RILLWARD_BASE_TIMESTAMP_H
#define RILLWARD_BASE_TIMESTAMP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define SECOND_MS ((int64_t)1000)
#define MINUTE_MS (60 * SECOND_MS)
#define HOUR_MS (60 * MINUTE_MS)
#define DAY_MS (24 * HOUR_MS)

#define TIME_NONE INT64_MIN    /* no time known */
#define TIME_FOREVER INT64_MAX /* after every time */

struct civil {
    int year, month, day;                  /* month 1..12, day 1..31 */
    int hour, minute, second, millisecond; /* 0..23, 0..59, 0..59, 0..999 */
};

int64_t timestamp_from_civil(const struct civil *civil); /* fields must be in range */
struct civil timestamp_to_civil(int64_t time);
bool civil_is_valid(const struct civil *civil);
int civil_days_in_month(int year, int month);

/* First instant of the month that holds `time`, and of the next one, for clocks that stand `offset` ms ahead of UTC. */
int64_t timestamp_month_start(int64_t time, int64_t offset);
int64_t timestamp_next_month(int64_t time, int64_t offset);
/* Largest multiple of `step` (> 0) not above `time`. */
int64_t timestamp_floor(int64_t time, int64_t step);

/* "2026-03-01T00:00:00Z", with ".250" only where there are milliseconds; "-" for TIME_NONE and TIME_FOREVER.
 * `ret` holds at least TIMESTAMP_SIZE bytes; returns ret. */
#define TIMESTAMP_SIZE 32
char *timestamp_print(int64_t time, char *ret);
/* As above for a clock `offset` ms ahead of UTC: "2026-03-01T10:00:00+10:00". */
char *timestamp_print_offset(int64_t time, int64_t offset, char *ret);
/* Duration for people: "45 s", "30 min", "2 h 5 min", "3 d 4 h". */
char *duration_print(int64_t duration, char *ret);

/* Strict RFC 3339 with 'T' or one space; the zone is required, in a form of timestamp_parse_offset; second 60 reads as
 * the next second. */
bool timestamp_parse(const char *string, size_t length, int64_t *ret);
/* "+10:00", "-0330", "+05", "Z", "UTC" -> ms ahead of UTC, within 18 hours. */
bool timestamp_parse_offset(const char *string, size_t length, int64_t *ret);

/* The clocks. Only service/ and main.c call these; everything else is told the time. */
int64_t clock_wall(void);
int64_t clock_monotonic(void);

#endif
