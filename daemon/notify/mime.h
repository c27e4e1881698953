/* SPDX-License-Identifier: MIT */
/* The grammar of mail: header lines (RFC 5322, 2047), dates, quoted-printable and base64 (RFC 2045). Pure. Lines end
 * in CRLF. Nothing that is passed in can end a header line: control bytes come out visible, as "\x0A". */
#ifndef RILLWARD_NOTIFY_MIME_H
#define RILLWARD_NOTIFY_MIME_H

#include "base/text.h"

#include <stdint.h>

/* "Name: value". A value of plain ASCII is folded at spaces; any other becomes encoded words. Cut after
 * 200 characters. */
void mime_put_header(struct text *text, const char *name, const char *value);

/* "Name: display <address>", or "Name: address" where `display` is empty. `address`
 * is one that address_is_mail() accepts. */
void mime_put_mailbox(struct text *text, const char *name, const char *display, const char *address);

/* "Date: Wed, 25 Nov 2026 05:49:03 +0000" from ms UTC. */
void mime_put_date(struct text *text, int64_t time);

/* Body text: '\n' becomes CRLF, lines stay within 76 characters. */
void mime_put_quoted_printable(struct text *text, const char *string);

/* Any bytes, in lines of 76 characters. */
void mime_put_base64(struct text *text, const char *bytes, size_t length);

#endif
