/* SPDX-License-Identifier: MIT */
#include "notify/sign.h"

#include "base/memory.h"

#include <criterion/criterion.h>
#include <string.h>

/* The test vector that the Standard Webhooks libraries share. */
static const char published_secret[] = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";
static const char published_id[] = "msg_p5jXN8AQM9LWM0D4loKWxJek";
static const char published_body[] = "{\"test\": 2432232314}";
static const char published_signature[] = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=";

Test(sign, gives_the_published_signature)
{
    struct sign_key key;
    cr_assert(sign_key_decode(published_secret, &key, NULL));
    cr_expect_eq(key.length, 24);
    struct text text;
    text_init(&text, 256);
    sign_message(&key, 1, published_id, 1614265330, published_body, strlen(published_body), &text);
    cr_expect_str_eq(text.bytes, published_signature);
    text_done(&text);
}

Test(sign, signs_with_both_secrets_while_they_are_rotated)
{
    struct sign_key keys[2];
    cr_assert(sign_key_decode("whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=", &keys[0], NULL));
    cr_assert(sign_key_decode(published_secret, &keys[1], NULL));
    struct text text;
    text_init(&text, 256);
    sign_message(keys, 2, published_id, 1614265330, published_body, strlen(published_body), &text);
    const char *second = strchr(text.bytes, ' ');
    cr_assert_not_null(second);
    cr_expect_str_eq(second + 1, published_signature);
    cr_expect_eq(strlen(text.bytes), 2 * strlen(published_signature) + 1);
    text_done(&text);
}

Test(sign, depends_on_id_time_and_body)
{
    struct sign_key key;
    cr_assert(sign_key_decode(published_secret, &key, NULL));
    static const struct {
        const char *id, *body;
        int64_t seconds;
    } rows[] = {{"msg_other", published_body, 1614265330},
                {published_id, published_body, 1614265331},
                {published_id, "{\"test\": 2432232315}", 1614265330}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct text text;
        text_init(&text, 256);
        sign_message(&key, 1, rows[i].id, rows[i].seconds, rows[i].body, strlen(rows[i].body), &text);
        cr_expect_str_neq(text.bytes, published_signature);
        text_done(&text);
    }
}

/* "whsec_" and the base64 of that many zero bytes. */
static void write_secret(size_t bytes, bool is_padded, char ret[256])
{
    size_t digits = (bytes * 8 + 5) / 6, padding = is_padded ? (4 - digits % 4) % 4 : 0;
    strcpy(ret, "whsec_");
    memset(ret + 6, 'A', digits);
    memset(ret + 6 + digits, '=', padding);
    ret[6 + digits + padding] = '\0';
}

Test(sign, decodes_every_length_of_key_with_and_without_padding)
{
    for (size_t bytes = 0; bytes < 100; bytes++)
        for (int is_padded = 0; is_padded < 2; is_padded++) {
            char secret[256];
            struct sign_key key;
            write_secret(bytes, is_padded, secret);
            bool is_fine = bytes >= 24 && bytes <= 64;
            cr_expect_eq(sign_key_decode(secret, &key, NULL), is_fine, "%zu bytes: %s", bytes, secret);
            cr_expect_eq(key.length, is_fine ? bytes : 0);
        }
}

Test(sign, refuses_what_is_no_secret_and_does_not_repeat_it)
{
    static const char *const secrets[] = {
        "",
        "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
        "whsk_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
        "whsec_",
        "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaS", /* 23 bytes */
        "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaS!",
        "whsec_MfKQ9r8GKYqr=TwjUPD8ILPZIo2LaLaSw",
    };
    for (size_t i = 0; i < COUNT_OF(secrets); i++) {
        struct sign_key key;
        struct error error = {0};
        cr_expect_not(sign_key_decode(secrets[i], &key, &error), "'%s'", secrets[i]);
        cr_expect_eq(error.kind, ERROR_CONFIG);
        cr_expect_eq(key.length, 0);
        cr_expect(strlen(secrets[i]) < 12 || !strstr(error.text, secrets[i] + 6), "%s", error.text);
    }
}
