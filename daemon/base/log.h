/* SPDX-License-Identifier: MIT */
/* Lines for people and facts for machines. Where standard error is the journal's (JOURNAL_STREAM, systemd.exec(5)) each
 * line goes there as an entry with fields, by the journal's own protocol; where the journal's socket cannot be had, as
 * a line that begins with its priority in the form "<6>" (sd-daemon(3)). On a terminal or in a file the line begins
 * with the time instead, and fields are left out: whatever they say, the words say too.
 *
 * Only service/ and main.c log; everything below returns its errors. Control bytes in a line come out escaped; in a
 * field they stand as they are. */
#ifndef RILLWARD_BASE_LOG_H
#define RILLWARD_BASE_LOG_H

enum log_level {
    LOG_LEVEL_ERROR = 3,
    LOG_LEVEL_WARNING = 4,
    LOG_LEVEL_NOTICE = 5,
    LOG_LEVEL_INFO = 6,
    LOG_LEVEL_DEBUG = 7
};

/* A field of an entry. `name` is of A-Z, 0-9 and _; ours begin with RILLWARD_. A field without a value is left out. */
struct log_field {
    const char *name, *value;
};
#define LOG_FIELDS_MOST 6
#define LOG_FIELDS(...) ((const struct log_field[]){__VA_ARGS__, {NULL, NULL}})

/* Call once at start, before the program confines itself. `journal_socket`: /run/systemd/journal/socket outside of
 * tests. Not called: lines begin with their priority where JOURNAL_STREAM is set. */
void log_open(const char *journal_socket);

/* Lines above `level` are dropped. Call once at start. */
void log_set_level(enum log_level level);

/* A line that stays below the lines that are logged, on a terminal; "": none. Cut where it is longer than 160 bytes. */
void log_set_footer(const char *line);

void log_line(enum log_level level, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* With fields: LOG_FIELDS({"RILLWARD_DROP", path}, ...), at most LOG_FIELDS_MOST. */
void log_entry(enum log_level level, const struct log_field *fields, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#define log_error(...) log_line(LOG_LEVEL_ERROR, __VA_ARGS__)
#define log_warning(...) log_line(LOG_LEVEL_WARNING, __VA_ARGS__)
#define log_notice(...) log_line(LOG_LEVEL_NOTICE, __VA_ARGS__)
#define log_info(...) log_line(LOG_LEVEL_INFO, __VA_ARGS__)
#define log_debug(...) log_line(LOG_LEVEL_DEBUG, __VA_ARGS__)

#endif
