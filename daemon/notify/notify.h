/* SPDX-License-Identifier: MIT */
/* Delivery of notices to webhooks and mailboxes. Knows no store: the caller hands in notices that are due,
 * and writes down what came of each. A notice goes out at least once; its uid goes with it, so that a
 * receiver can drop a repeat.
 *
 *     while a notice is due and notify_room(notify, its recipient) > 0: notify_begin(notify, notice, picture, now)
 *     when notify_fd() is readable: notify_collect(...), write each delivery down
 *
 * Nothing here waits, whatever a server does; there is no deadline to keep, every transfer ends by its own
 * time limits. */
#ifndef RILLWARD_NOTIFY_NOTIFY_H
#define RILLWARD_NOTIFY_NOTIFY_H

#include "base/error.h"
#include "config/config.h"
#include "model/facts.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum delivery_outcome {
    DELIVERED, /* the receiver said so */
    TRY_AGAIN, /* at next_try */
    REFUSED,   /* for good: the receiver said no, the recipient is gone, or it was tried for five days */
};

struct delivery {
    int64_t notice; /* its id */
    enum delivery_outcome outcome;
    int64_t next_try; /* wall clock, ms UTC; TRY_AGAIN only, else TIME_NONE */
    int response;     /* HTTP or SMTP status, 0 where the receiver said nothing */
    bool needs_hand;  /* settings or receiver are wrong: trying again alone seldom helps, report it at once */
    char text[256];   /* what happened, for people: no control bytes, no secrets */
};

struct notify;

/* `config` stays the caller's and must live until notify_close() or notify_reconfigure(). NULL with a
 * SYSTEM error. */
struct notify *notify_open(const struct config *config, struct error *error);

/* What is in the air is given up without a delivery: it stays due. Waits up to a second for that. NULL is
 * fine. */
void notify_close(struct notify *notify);

/* Settings for what is begun from now on; what is in the air goes on with the old ones, of which it has
 * its own copy. */
void notify_reconfigure(struct notify *notify, const struct config *config);

/* Readable while deliveries wait to be collected. */
int notify_fd(const struct notify *notify);

/* How many notices to this recipient may be begun now: 0 or 1. One at a time, so that its order is kept;
 * 16 in all, of which at most 8 are mail, so that a mail server that hangs leaves room for webhooks. */
int notify_room(const struct notify *notify, const char *recipient);

/* Begin one attempt; there must be room. `picture`: the chart for a mail, or NULL. Neither it nor the notice is needed
 * after the call. Each begin gives exactly
 * one delivery, also where nothing could be sent at all (secret unreadable, recipient gone). `now` is wall
 * time. */
struct message_picture;
void notify_begin(struct notify *notify, const struct notice *notice, const struct message_picture *picture,
                  int64_t now);

/* One call of the heartbeat's address, which the settings must name; there must be room for "". What comes of it is a
 * delivery of notice 0, which is written down nowhere. */
void notify_ping(struct notify *notify, int64_t now);

/* Deliveries that are ready, oldest first; returns how many of `ret` were filled. Never waits. `now` is
 * wall time. */
size_t notify_collect(struct notify *notify, int64_t now, struct delivery *ret, size_t most);

/* The judgement of one attempt, pure. */
struct transport_result;
struct attempt {
    int64_t notice, created;
    int64_t attempts; /* this one included */
    uint64_t seed;    /* spreads the delays */
};
struct delivery notify_judge(const struct attempt *attempt, const struct transport_result *result,
                             int64_t now);

#endif
