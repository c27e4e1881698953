/* SPDX-License-Identifier: MIT */
#include "base/log.h"

#include "base/text.h"

#include <endian.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

enum { LINE_SIZE = 2048, PREFIX_SIZE = 64, FOOTER_SIZE = 161, VISIBLE_SIZE = 2 * LINE_SIZE, ENTRY_MOST = 64 * 1024 };

static const char erase_line[] = "\r\033[K";

static void write_entry(enum log_level level, const struct log_field *fields, const char *format, va_list arguments);
static bool send_to_journal(enum log_level level, const struct log_field *fields, const char *message);
static void add_field(struct text *entry, const char *name, const char *value);
static bool is_journal(int fd);
static size_t begin_line(enum log_level level, char *ret, size_t size);

/* The process-wide state: where lines go belongs to the process, not to any caller. */
static enum log_level highest_level = LOG_LEVEL_INFO;
static int journal = -1; /* connected; -1: lines go to standard error */
static char footer[FOOTER_SIZE];

void log_open(const char *journal_socket)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    if (journal >= 0)
        close(journal);
    journal = -1;
    if (!is_journal(STDERR_FILENO) || strlen(journal_socket) >= sizeof address.sun_path)
        return;
    memcpy(address.sun_path, journal_socket, strlen(journal_socket) + 1);
    journal = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (journal >= 0 && connect(journal, (const struct sockaddr *)&address, sizeof address) < 0) {
        close(journal);
        journal = -1;
    }
}

void log_set_level(enum log_level level)
{
    highest_level = level;
}

void log_set_footer(const char *line)
{
    char drawn[sizeof erase_line + FOOTER_SIZE];
    snprintf(footer, sizeof footer, "%s", line);
    int length = snprintf(drawn, sizeof drawn, "%s%s", erase_line, footer);
    ssize_t written = write(STDERR_FILENO, drawn, (size_t)length);
    (void)written;
}

void log_line(enum log_level level, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    write_entry(level, NULL, format, arguments);
    va_end(arguments);
}

void log_entry(enum log_level level, const struct log_field *fields, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    write_entry(level, fields, format, arguments);
    va_end(arguments);
}

static void write_entry(enum log_level level, const struct log_field *fields, const char *format, va_list arguments)
{
    if (level > highest_level)
        return;
    char line[LINE_SIZE], visible[PREFIX_SIZE + VISIBLE_SIZE + FOOTER_SIZE];
    vsnprintf(line, sizeof line, format, arguments);
    size_t erased = *footer ? (size_t)snprintf(visible, sizeof visible, "%s", erase_line) : 0;
    size_t begun = erased + begin_line(level, visible + erased, sizeof visible - erased);
    size_t used = begun + text_make_visible(line, visible + begun, VISIBLE_SIZE - 1);
    if (journal >= 0 && send_to_journal(level, fields, visible + begun))
        return;
    visible[used++] = '\n';
    used += (size_t)snprintf(visible + used, sizeof visible - used, "%s", footer);
    /* A log that cannot be written (closed pipe) must not stop the work; SIGPIPE is ignored by the service. */
    ssize_t written = write(STDERR_FILENO, visible, used);
    (void)written;
}

/* Never waits: a journal that does not read gets the line by standard error, as it would without this. */
static bool send_to_journal(enum log_level level, const struct log_field *fields, const char *message)
{
    const char priority[] = {(char)('0' + level), '\0'};
    struct text entry;
    text_init(&entry, ENTRY_MOST);
    add_field(&entry, "MESSAGE", message);
    add_field(&entry, "PRIORITY", priority);
    add_field(&entry, "SYSLOG_IDENTIFIER", "rillward");
    for (size_t k = 0; fields && k < LOG_FIELDS_MOST && fields[k].name; k++)
        if (fields[k].value && *fields[k].value)
            add_field(&entry, fields[k].name, fields[k].value);
    bool is_sent = send(journal, entry.bytes, entry.length, MSG_DONTWAIT | MSG_NOSIGNAL) == (ssize_t)entry.length;
    text_done(&entry);
    return is_sent;
}

/* NAME=value, or where the value has line ends of its own NAME, its length in eight bytes, the value. */
static void add_field(struct text *entry, const char *name, const char *value)
{
    const size_t length = strlen(value);
    const uint64_t size = htole64(length);
    const bool is_one_line = strchr(value, '\n') == NULL;
    text_puts(entry, name);
    text_putc(entry, is_one_line ? '=' : '\n');
    if (!is_one_line)
        text_add(entry, (const char *)&size, sizeof size);
    text_add(entry, value, length);
    text_putc(entry, '\n');
}

/* JOURNAL_STREAM is also inherited by those whose output was sent elsewhere: the file itself must be the one it names.
 */
static bool is_journal(int fd)
{
    const char *named = getenv("JOURNAL_STREAM");
    char found[64];
    struct stat status;
    if (!named || fstat(fd, &status) < 0)
        return false;
    snprintf(found, sizeof found, "%ju:%ju", (uintmax_t)status.st_dev, (uintmax_t)status.st_ino);
    return strcmp(named, found) == 0;
}

static size_t begin_line(enum log_level level, char *ret, size_t size)
{
    if (getenv("JOURNAL_STREAM"))
        return (size_t)snprintf(ret, size, "<%d>", (int)level);
    time_t now = time(NULL);
    struct tm broken_down;
    gmtime_r(&now, &broken_down);
    size_t used = strftime(ret, size, "%Y-%m-%dT%H:%M:%SZ ", &broken_down);
    return used + (size_t)snprintf(ret + used, size - used, "%s",
                                   level <= LOG_LEVEL_ERROR     ? "error: "
                                   : level == LOG_LEVEL_WARNING ? "warning: "
                                                                : "");
}
