/* SPDX-License-Identifier: MIT */
#include "notify/sign.h"

#include "base/memory.h"

#include <assert.h>
#include <openssl/evp.h>
#include <openssl/hmac.h>
#include <stdio.h>
#include <string.h>

enum { KEY_LEAST = 24, DIGEST_SIZE = 32, BASE64_SIZE = (SIGN_KEY_SIZE + 2) / 3 * 4 };

static const char prefix[] = "whsec_";

static bool decode(const char *base64, struct sign_key *ret);

bool sign_key_decode(const char *secret, struct sign_key *ret, struct error *error)
{
    sign_key_wipe(ret);
    if (!text_starts_with(secret, prefix))
        return fail(error, ERROR_CONFIG, "a signing secret must begin with '%s'", prefix);
    if (!decode(secret + strlen(prefix), ret)) {
        sign_key_wipe(ret);
        return fail(error, ERROR_CONFIG,
                    "a signing secret must be '%s' and the base64 of %d to %d random bytes", prefix,
                    KEY_LEAST, SIGN_KEY_SIZE);
    }
    return true;
}

void sign_key_wipe(struct sign_key *key)
{
    explicit_bzero(key, sizeof *key);
}

void sign_message(const struct sign_key *keys, size_t key_count, const char *id, int64_t seconds,
                  const char *body, size_t length, struct text *ret)
{
    assert(!strchr(id, '.'));
    struct text content;
    text_init(&content, length + 128);
    text_printf(&content, "%s.%lld.", id, (long long)seconds);
    text_add(&content, body, length);
    assert(!content.is_full);
    for (size_t i = 0; i < key_count; i++) {
        unsigned char digest[DIGEST_SIZE], base64[DIGEST_SIZE / 3 * 4 + 5];
        unsigned digest_length = 0;
        HMAC(EVP_sha256(), keys[i].bytes, (int)keys[i].length, (const unsigned char *)content.bytes,
             content.length, digest, &digest_length);
        assert(digest_length == DIGEST_SIZE);
        EVP_EncodeBlock(base64, digest, DIGEST_SIZE);
        text_printf(ret, "%sv1,%s", i ? " " : "", (const char *)base64);
    }
    text_done(&content);
}

/* The library's decoder wants whole groups of four, counts the padding as bytes, and is told both here. */
static bool decode(const char *base64, struct sign_key *ret)
{
    size_t length = strlen(base64), digits = strcspn(base64, "=");
    if (strspn(base64 + digits, "=") != length - digits || length - digits > 2 || length > BASE64_SIZE ||
        digits % 4 == 1)
        return false;
    if (strspn(base64, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/") != digits)
        return false;
    unsigned char padded[BASE64_SIZE + 4], decoded[BASE64_SIZE];
    memset(padded, '=', sizeof padded);
    memcpy(padded, base64, digits);
    int got = EVP_DecodeBlock(decoded, padded, (int)((digits + 3) / 4 * 4));
    size_t bytes = digits * 3 / 4;
    bool is_good = got >= 0 && bytes >= KEY_LEAST && bytes <= SIGN_KEY_SIZE;
    if (is_good) {
        memcpy(ret->bytes, decoded, bytes);
        ret->length = bytes;
    }
    explicit_bzero(decoded, sizeof decoded);
    explicit_bzero(padded, sizeof padded);
    return is_good;
}
