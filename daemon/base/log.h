/* SPDX-License-Identifier: MIT */
/* Lines to standard error. Under the service manager each begins with a priority in the form "<6>", which the journal
 * turns into a level; on a terminal or in a file the line begins with the time instead.
 * Only service/ and main.c log; everything below returns its errors. Control bytes in a line come out escaped. */
#ifndef RILLWARD_BASE_LOG_H
#define RILLWARD_BASE_LOG_H

enum log_level {
    LOG_LEVEL_ERROR = 3,
    LOG_LEVEL_WARNING = 4,
    LOG_LEVEL_NOTICE = 5,
    LOG_LEVEL_INFO = 6,
    LOG_LEVEL_DEBUG = 7
};

/* Lines above `level` are dropped. Call once at start. */
void log_set_level(enum log_level level);

void log_line(enum log_level level, const char *format, ...) __attribute__((format(printf, 2, 3)));

#define log_error(...) log_line(LOG_LEVEL_ERROR, __VA_ARGS__)
#define log_warning(...) log_line(LOG_LEVEL_WARNING, __VA_ARGS__)
#define log_notice(...) log_line(LOG_LEVEL_NOTICE, __VA_ARGS__)
#define log_info(...) log_line(LOG_LEVEL_INFO, __VA_ARGS__)
#define log_debug(...) log_line(LOG_LEVEL_DEBUG, __VA_ARGS__)

#endif
