/* SPDX-License-Identifier: MIT */
/* Signatures by which a webhook's receiver knows that the bytes are ours, fresh and whole: the open
 * Standard Webhooks scheme, version 1. HMAC-SHA256 over "<id>.<seconds>.<body>" with the decoded bytes of
 * the shared secret as key. */
#ifndef RILLWARD_NOTIFY_SIGN_H
#define RILLWARD_NOTIFY_SIGN_H

#include "base/error.h"
#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define SIGN_KEY_SIZE 64

/* Wipe it after use: CLEANUP(sign_key_wipe) struct sign_key key = {0}; */
struct sign_key {
    unsigned char bytes[SIGN_KEY_SIZE];
    size_t length;
};

/* `secret` is "whsec_" and the base64 (RFC 4648, padded or not) of 24 to 64 bytes. CONFIG error else. */
bool sign_key_decode(const char *secret, struct sign_key *ret, struct error *error);
void sign_key_wipe(struct sign_key *key);

/* Add the value of the `webhook-signature` header to `ret`: "v1,<base64>", one for each key, with spaces
 * between. While secrets are rotated a receiver that knows either of them accepts the message.
 * `id` is the value of `webhook-id` and holds no '.'; `seconds` (Unix time of this attempt) that of
 * `webhook-timestamp`; `body` the exact bytes sent. */
void sign_message(const struct sign_key *keys, size_t key_count, const char *id, int64_t seconds,
                  const char *body, size_t length, struct text *ret);

#endif
