/* SPDX-License-Identifier: MIT */
/* Once a day, what nobody was woken for: old news that was learnt of, what is open, silent, set aside or not delivered.
 */
#ifndef RILLWARD_SERVICE_DIGEST_H
#define RILLWARD_SERVICE_DIGEST_H

#include "base/text.h"
#include "service/tell.h"

/* Put the digest into the outbox where its time has come; nothing where there is nothing to say, unless the settings
 * want it always. After days asleep there is one. In the caller's transaction. ret_next: when to look again,
 * TIME_FOREVER without a digest. */
bool digest_people(const struct teller *teller, int64_t now, int64_t *ret_next, struct error *error);

/* What it says of [from, now); nothing where there is nothing to say. `ret` was initialised. */
bool digest_render(const struct teller *teller, int64_t from, int64_t now, struct text *ret, struct error *error);

#endif
