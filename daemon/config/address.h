/* SPDX-License-Identifier: MIT */
/* Syntax of the addresses that we send to: ASCII only, and strict, so that nothing in them can become a second header,
 * a second recipient or a second request. Nothing is looked up. */
#ifndef RILLWARD_CONFIG_ADDRESS_H
#define RILLWARD_CONFIG_ADDRESS_H

#include "base/error.h"

#include <stdbool.h>

/* local@domain of RFC 5321 with a dot-atom as local part; no quotes, comments, address literals or line breaks. */
bool address_is_mail(const char *text);

/* Host name (RFC 1123), or an address: 192.0.2.1, [2001:db8::1] or 2001:db8::1. */
bool address_is_host(const char *text);

/* 'localhost', 127.x.x.x, ::1. */
bool address_is_loopback(const char *host);

/* Absolute http or https address without user, password, fragment, spaces or bytes outside ASCII.
 * CONFIG error as the end of a sentence: "is an https address ..., found ...". */
bool address_check_url(const char *text, bool *ret_is_encrypted, struct error *error);

#endif
