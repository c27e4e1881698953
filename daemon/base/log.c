/* SPDX-License-Identifier: MIT */
#include "base/log.h"

#include "base/text.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

/* The one piece of process-wide state: where lines go belongs to the process, not to any caller. */
static enum log_level highest_level = LOG_LEVEL_INFO;

void log_set_level(enum log_level level)
{
    highest_level = level;
}

void log_line(enum log_level level, const char *format, ...)
{
    if (level > highest_level)
        return;
    char line[2048], visible[4096 + 64];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(line, sizeof line, format, arguments);
    va_end(arguments);
    size_t used;
    if (getenv("JOURNAL_STREAM")) {
        used = (size_t)snprintf(visible, 32, "<%d>", (int)level);
    } else {
        time_t now = time(NULL);
        struct tm broken_down;
        gmtime_r(&now, &broken_down);
        used = strftime(visible, 32, "%Y-%m-%dT%H:%M:%SZ ", &broken_down);
        used += (size_t)snprintf(visible + used, 16, "%s",
                                 level <= LOG_LEVEL_ERROR ? "error: " : level == LOG_LEVEL_WARNING ? "warning: " : "");
    }
    used += text_make_visible(line, visible + used, sizeof visible - used - 1);
    visible[used++] = '\n';
    /* A log that cannot be written (closed pipe) must not stop the work; SIGPIPE is ignored by the service. */
    ssize_t written = write(STDERR_FILENO, visible, used);
    (void)written;
}
