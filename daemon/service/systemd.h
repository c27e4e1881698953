/* SPDX-License-Identifier: MIT */
/* What the service manager wants to hear: one datagram each to the socket named in NOTIFY_SOCKET (sd_notify(3)).
 * Without a service manager all of it does nothing. */
#ifndef RILLWARD_SERVICE_SYSTEMD_H
#define RILLWARD_SERVICE_SYSTEMD_H

#include <stdint.h>

void systemd_notify_ready(void);
void systemd_notify_reloading(int64_t monotonic);
void systemd_notify_stopping(void);
void systemd_notify_watchdog(void);
void systemd_notify_status(const char *format, ...) __attribute__((format(printf, 1, 2)));

/* ms between two signs of life: half of what the service manager waits; 0: it does not watch. */
int64_t systemd_watchdog_interval(void);

#endif
