/* SPDX-License-Identifier: MIT */
/* From a change of an alarm to notices in the outbox: who is told, and with which facts. In the caller's transaction.
 */
#ifndef RILLWARD_SERVICE_TELL_H
#define RILLWARD_SERVICE_TELL_H

#include "base/error.h"
#include "base/memory.h"
#include "config/config.h"
#include "store/store.h"

enum { CHATTERING_TIMES = 3 }; /* an alarm that begins so often within the window is chattering (ISA-18.2) */

struct teller {
    const struct config *config;
    struct store *store;
    struct arena *arena;
};

/* Put one notice of `event` for each recipient in `to`. `rule` is the alarm's. `why`: the words of the step; of a
 * withdrawal ("withdrawn: ...") they are told. */
bool tell_people(const struct teller *teller, const struct alarm *alarm, const struct rule *rule,
                 enum notice_event event, const char *why, const struct word_list *to, struct error *error);

/* Store a changed alarm with its step, and announce it as its rule says: to those whom the rule tells, and to those
 * further up where they have been told. ANNOUNCE_NOTHING: only the step; `what` NULL: not even that. A rule that is
 * configured no more tells nobody. */
bool tell_change(const struct teller *teller, struct alarm *alarm, enum notice_event event, const char *who,
                 const char *what, struct error *error);

/* The same over all attempts, and never the same for another message: also not after the database was lost and made
 * anew. */
const char *tell_uid(const struct teller *teller, const char *what, int64_t number, const char *recipient, int64_t now);

/* What an alarm about a recipient has in place of a station: "recipient desk", which no station is called. Arena. */
const char *tell_place_of(const struct teller *teller, const char *recipient);

#endif
