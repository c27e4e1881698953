/* SPDX-License-Identifier: MIT */
/* The wire: one HTTP POST or one mail to one address, and what came of it. The only user of the network
 * library.
 *
 * Each transfer runs on a thread of its own, for as long as it lasts, and the caller sees one descriptor
 * that becomes readable when results wait. The library's single-threaded interface would do for HTTP, but
 * it waits inside one call for a mail server's last answer and farewell and for a name server that does
 * not reply; meanwhile nobody else would hear an alarm. Threads share nothing but the list of results. At
 * most TRANSPORT_MOST run at once.
 *
 * In force for every transfer: certificates are checked, TLS 1.2 at least, redirects are not followed, no
 * proxy, no environment, no cookies, no stored logins; limits on time and on what is read. */
#ifndef RILLWARD_NOTIFY_TRANSPORT_H
#define RILLWARD_NOTIFY_TRANSPORT_H

#include "base/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TRANSPORT_MOST 16

/* ms */
struct transport_limits {
    int64_t connect; /* name lookup, connection and TLS */
    int64_t post;    /* a whole POST */
    int64_t mail;    /* a whole mail: servers may look at it for long before they accept */
};
extern const struct transport_limits transport_usual_limits; /* 10 s, 30 s, 120 s */

/* Strings are copied by transport_start. NULL where an option is not used. */
struct transport_post {
    const char *url;            /* https://, or http:// which only ever reaches private addresses */
    const char *const *headers; /* "Name: value", without control bytes */
    size_t header_count;
    const char *body;
    size_t body_length;
    const char *ca_file;         /* one more certificate authority */
    bool allows_private_address; /* else refused after name lookup */
};

enum transport_security {
    TRANSPORT_STARTTLS, /* must be offered, or nothing is sent */
    TRANSPORT_TLS,
    TRANSPORT_PLAIN, /* to a loopback address only, never with a login */
};

struct transport_mail {
    const char *host;
    int port;
    enum transport_security security;
    const char *hello_name; /* what we call ourselves; NULL: the host's name */
    const char *user, *password;
    const char *from, *to; /* bare addresses */
    const char *message;   /* header and body, CRLF */
    size_t message_length;
    const char *ca_file;
};

enum transport_end {
    TRANSPORT_ANSWERED,    /* the receiver's word is `response`: HTTP status, or 250 for an accepted mail */
    TRANSPORT_TURNED_AWAY, /* mail: the server refused this recipient or message, `response` says how */
    TRANSPORT_UNREACHED, /* name, network, time-out, broken connection, busy server: may well work later */
    TRANSPORT_DISTRUSTED, /* certificate, TLS or login: nothing was handed over; a person has to look */
    TRANSPORT_FORBIDDEN,  /* our own rules: a private address, a plain connection, an unusable setting */
};

struct transport_result {
    int64_t id;
    enum transport_end end;
    int response;        /* last status of the receiver, 0 where it said nothing */
    int64_t retry_after; /* s that the receiver asks us to wait, 0 where it does not */
    char text[256];      /* what happened, for people; no control bytes, no secrets */
};

struct transport;

/* NULL with a SYSTEM error, also where the library was built without TLS or mail. */
struct transport *transport_open(const struct transport_limits *limits, struct error *error);

/* Ends running transfers, whose results are lost, and waits for their threads (up to a second). NULL is
 * fine. */
void transport_close(struct transport *transport);

/* Readable while results wait. */
int transport_fd(const struct transport *transport);

/* Begin. What goes wrong at once is a result like any other: each start gives exactly one. Fewer than
 * TRANSPORT_MOST may be under way. */
void transport_start_post(struct transport *transport, int64_t id, const struct transport_post *post);
void transport_start_mail(struct transport *transport, int64_t id, const struct transport_mail *mail);

/* A result that needed no network; comes out of transport_collect() like the others. */
void transport_report(struct transport *transport, int64_t id, enum transport_end end, const char *text);

/* Never waits. Returns how many of `ret` were filled. */
size_t transport_collect(struct transport *transport, struct transport_result *ret, size_t most);

#endif
