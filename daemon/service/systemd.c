/* SPDX-License-Identifier: MIT */
#include "service/systemd.h"

#include "base/file.h"
#include "base/memory.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

static void send_line(const char *line);

void systemd_notify_ready(void)
{
    send_line("READY=1");
}

void systemd_notify_reloading(int64_t monotonic)
{
    char line[96];
    snprintf(line, sizeof line, "RELOADING=1\nMONOTONIC_USEC=%" PRId64, monotonic * 1000);
    send_line(line);
}

void systemd_notify_stopping(void)
{
    send_line("STOPPING=1");
}

void systemd_notify_watchdog(void)
{
    send_line("WATCHDOG=1");
}

void systemd_notify_status(const char *format, ...)
{
    char line[512] = "STATUS=";
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(line + 7, sizeof line - 7, format, arguments);
    va_end(arguments);
    send_line(line);
}

int64_t systemd_watchdog_interval(void)
{
    const char *interval = getenv("WATCHDOG_USEC"), *pid = getenv("WATCHDOG_PID");
    if (!interval || (pid && strtoll(pid, NULL, 10) != (long long)getpid()))
        return 0;
    long long microseconds = strtoll(interval, NULL, 10);
    return microseconds > 0 ? (int64_t)(microseconds / 2000) : 0;
}

static void send_line(const char *line)
{
    const char *path = getenv("NOTIFY_SOCKET");
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    if (!path || (*path != '/' && *path != '@') || strlen(path) >= sizeof address.sun_path)
        return;
    memcpy(address.sun_path, path, strlen(path));
    if (*path == '@')
        address.sun_path[0] = '\0'; /* abstract socket */
    CLEANUP(cleanup_fd) int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (fd < 0)
        return;
    socklen_t length = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + strlen(path));
    ssize_t sent = sendto(fd, line, strlen(line), MSG_NOSIGNAL, (struct sockaddr *)&address, length);
    (void)sent; /* a service manager that does not listen is not our fault to report */
}
