/* SPDX-License-Identifier: MIT */
/* Which network addresses a message may go to. Pure. Judged after name lookup, on the address that is
 * really about to be connected: every spelling of an address, every redirect and every name that changes
 * its answer comes down to it. */
#ifndef RILLWARD_NOTIFY_PEER_H
#define RILLWARD_NOTIFY_PEER_H

#include <stdbool.h>
#include <sys/socket.h>

/* Not a host on the public internet: loopback, private, link-local, shared, multicast, reserved. IPv4
 * addresses inside IPv6 ones (mapped, compatible, NAT64, 6to4) are unwrapped first. Families other than
 * IPv4 and IPv6 count as private. */
bool peer_is_private(const struct sockaddr *address);

bool peer_is_loopback(const struct sockaddr *address);

/* "127.0.0.1", "::1"; "?" for other families. `ret` holds at least PEER_SIZE bytes; returns ret. */
#define PEER_SIZE 64
char *peer_print(const struct sockaddr *address, char *ret);

#endif
