/* SPDX-License-Identifier: MIT */
/* Times as crews and loggers write them, to UTC.
 *
 * A format is written with these parts; a space in it stands for one or more in the text; T and all that is no letter
 * stands for itself:
 *
 *   YYYY    year, four digits
 *   YY      year, two digits: 70..99 are 19YY, else 20YY
 *   MM, M   month, two digits; one or two
 *   MON     month, its English name or the first letters of it, three at least
 *   DD, D   day, two digits; one or two
 *   hh, h   hour, two digits; one or two
 *   mm      minute, two digits
 *   ss, s   second, two digits; one or two
 *   .s      fraction of a second, 1 to 9 digits after '.' or ',', rounded to ms; may be absent
 *   AM      AM or PM (a.m., pm), with hours 1 to 12
 *   Z       Z, UTC, or an offset such as -05:00: the text's own zone, which then counts
 *
 * or the word `iso`: YYYY-MM-DD, T or a space, hh:mm, and as there are: seconds, fraction, Z or offset.
 *
 * Everything is strict: days that a month does not have and left-over text are refused. 24:00 (exactly) is 00:00 of the
 * next day. Second 60 is the next second. Without an hour in the format a time is the start of the day. */
#ifndef RILLWARD_INTAKE_CLOCK_H
#define RILLWARD_INTAKE_CLOCK_H

#include "base/error.h"
#include "base/zone.h"
#include "config/config.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { CLOCK_MOST_STEPS = 40 };

struct clock_format {
    const char *text; /* as in the settings; not owned */
    size_t count;
    struct clock_step {
        unsigned char kind;
        char literal;
    } steps[CLOCK_MOST_STEPS];
};

/* CONFIG error that says which letters are no part, or which part is missing. */
bool clock_format_parse(const char *text, struct clock_format *ret, struct error *error);

struct clock_reading {
    int64_t local;  /* the civil reading as if it were UTC [ms] */
    int64_t offset; /* ms ahead of UTC, where the text says so */
    bool has_offset;
};

/* The whole of [text, text+length) by the format. */
bool clock_read(const struct clock_format *format, const char *text, size_t length, struct clock_reading *ret);
/* "2026-04-06", "2026-04-06 13:50:00": what a date in a workbook says, whatever the format; as `iso`, or a date alone.
 */
bool clock_read_civil(const char *text, size_t length, struct clock_reading *ret);
/* "14:05", "2:05 PM", "2:05pm", "14:05:30", "14h05", "1405", "noon": ms since midnight, 24:00 included. */
bool clock_read_time_of_day(const char *text, size_t length, int64_t *ret);

/* A local clock, asked in the order of the file.
 *
 * Repeated hour (clocks go back), rule 'in order': the first pass is the earlier instant; once the local time steps
 * back - or repeats, where samples are an hour or more apart - it is the second pass, until the repeated hour is left.
 * In a file whose times descend it is the other way round. A file that begins inside the second pass cannot be told
 * from one that begins in the first: such a layout needs the rule 'second', or times with their offset. Missing hour
 * (clocks go forward): refused, or by rule 'shift' read with the offset before the change, which moves it behind the
 * change. */
struct clock {
    const struct zone *zone; /* NULL: `offset` always */
    int64_t offset;
    enum repeated_hour repeated_hour;
    enum missing_hour missing_hour;
    /* The offset is `known_offset` for all readings in [known_from, known_to). */
    int64_t known_from, known_to, known_offset;
    int64_t previous_local, previous_utc, previous_step; /* TIME_NONE at the start */
    bool is_in_repeated_hour, is_second_pass;
};

/* `standard_offset`: the station's, for layouts whose zone is "station". */
void clock_init(struct clock *clock, const struct layout *layout, int64_t standard_offset);
/* False where the local time does not exist and the layout refuses it. */
bool clock_to_utc(struct clock *clock, const struct clock_reading *reading, int64_t *ret);
/* The same for a single time that stands in no order: the first pass of a repeated hour unless the rule is 'second'. */
bool clock_to_utc_alone(const struct clock *clock, const struct clock_reading *reading, int64_t *ret);

#endif
