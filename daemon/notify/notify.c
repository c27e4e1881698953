/* SPDX-License-Identifier: MIT */
#include "notify/notify.h"

#include "base/memory.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "notify/backoff.h"
#include "notify/message.h"
#include "notify/secret.h"
#include "notify/sign.h"
#include "notify/transport.h"

#include <assert.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MAIL_MOST = 8, LONGEST_PAUSE_S = 24 * 3600 };
static const int64_t slow_delay = 15 * MINUTE_MS; /* at least, where only a person can help */

struct flight {
    char *recipient; /* NULL: the place is free */
    bool is_mail;
    struct attempt attempt;
};

struct notify {
    const struct config *config;
    struct transport *transport;
    struct flight flights[TRANSPORT_MOST];
};

static const struct recipient *find_recipient(const struct config *config, const char *id);
static struct flight *find_flight(struct notify *notify, int64_t notice);
static bool begin_webhook(struct notify *notify, const struct notice *notice,
                          const struct recipient *recipient, int64_t now, struct error *error);
static bool sign(const struct recipient *recipient, const char *uid, int64_t seconds, const struct text *body,
                 struct text *signatures, struct error *error);
static bool add_key(const struct secret *secret, struct sign_key *keys, size_t *count, struct error *error);
static void wipe_keys(struct sign_key (*keys)[2]);
static bool begin_mail(struct notify *notify, const struct notice *notice, const struct recipient *recipient,
                       const struct message_picture *picture, struct error *error);

static enum delivery_outcome outcome_of(const struct transport_result *result, bool *ret_needs_hand);
static enum delivery_outcome outcome_of_status(int status, bool *ret_needs_hand);
static int64_t delay_of(const struct attempt *attempt, const struct transport_result *result,
                        bool needs_hand);

struct notify *notify_open(const struct config *config, struct error *error)
{
    struct transport *transport = transport_open(&transport_usual_limits, error);
    if (!transport) {
        within(error, "getting ready to send notices");
        return NULL;
    }
    struct notify *notify = x_alloc(sizeof *notify);
    notify->config = config;
    notify->transport = transport;
    return notify;
}

void notify_close(struct notify *notify)
{
    if (!notify)
        return;
    transport_close(notify->transport);
    for (size_t i = 0; i < TRANSPORT_MOST; i++)
        free(notify->flights[i].recipient);
    free(notify);
}

void notify_reconfigure(struct notify *notify, const struct config *config)
{
    notify->config = config;
}

int notify_fd(const struct notify *notify)
{
    return transport_fd(notify->transport);
}

int notify_room(const struct notify *notify, const char *recipient)
{
    const struct recipient *found = find_recipient(notify->config, recipient);
    size_t used = 0, mails = 0;
    for (size_t i = 0; i < TRANSPORT_MOST; i++) {
        const struct flight *flight = &notify->flights[i];
        if (!flight->recipient)
            continue;
        if (strcmp(flight->recipient, recipient) == 0)
            return 0;
        used++;
        mails += flight->is_mail;
    }
    bool is_mail = found && found->kind == RECIPIENT_MAIL;
    return used < TRANSPORT_MOST && (!is_mail || mails < MAIL_MOST);
}

void notify_begin(struct notify *notify, const struct notice *notice, const struct message_picture *picture,
                  int64_t now)
{
    assert(notify_room(notify, notice->recipient) > 0);
    const struct recipient *recipient = find_recipient(notify->config, notice->recipient);
    struct flight *flight = notify->flights;
    while (flight->recipient)
        flight++;
    *flight = (struct flight){
        .recipient = x_strdup(notice->recipient),
        .is_mail = recipient && recipient->kind == RECIPIENT_MAIL,
        .attempt = {.notice = notice->id,
                    .created = notice->created,
                    .attempts = notice->attempts + 1,
                    .seed = backoff_seed(notice->uid)},
    };
    struct error error = {0};
    bool is_begun = false;
    if (!recipient)
        fail(&error, ERROR_CONFIG, "recipient '%s' is not in the settings any more", notice->recipient);
    else if (flight->is_mail)
        is_begun = begin_mail(notify, notice, recipient, picture, &error);
    else
        is_begun = begin_webhook(notify, notice, recipient, now, &error);
    if (!is_begun)
        transport_report(notify->transport, notice->id,
                         recipient ? TRANSPORT_FORBIDDEN : TRANSPORT_TURNED_AWAY, error.text);
}

size_t notify_collect(struct notify *notify, int64_t now, struct delivery *ret, size_t most)
{
    struct transport_result results[TRANSPORT_MOST];
    size_t count =
        transport_collect(notify->transport, results, most < TRANSPORT_MOST ? most : TRANSPORT_MOST);
    for (size_t i = 0; i < count; i++) {
        struct flight *flight = find_flight(notify, results[i].id);
        ret[i] = notify_judge(&flight->attempt, &results[i], now);
        free(flight->recipient);
        *flight = (struct flight){0};
    }
    return count;
}

struct delivery notify_judge(const struct attempt *attempt, const struct transport_result *result,
                             int64_t now)
{
    bool needs_hand = false;
    enum delivery_outcome outcome = outcome_of(result, &needs_hand);
    bool gives_up = outcome == TRY_AGAIN && backoff_gives_up(attempt->created, now);
    struct delivery delivery = {
        .notice = attempt->notice,
        .outcome = gives_up ? REFUSED : outcome,
        .next_try = TIME_NONE,
        .response = result->response,
        .needs_hand = needs_hand || gives_up || outcome == REFUSED,
    };
    if (delivery.outcome == TRY_AGAIN)
        delivery.next_try = now + delay_of(attempt, result, needs_hand);
    char text[sizeof delivery.text + 64];
    snprintf(text, sizeof text, "%s%s", gives_up ? "given up after five days, at last: " : "", result->text);
    text_make_visible(text, delivery.text, sizeof delivery.text); /* cuts between characters */
    return delivery;
}

static const struct recipient *find_recipient(const struct config *config, const char *id)
{
    size_t index = config_find_recipient(config, id);
    return index < config->recipient_count ? &config->recipients[index] : NULL;
}

static struct flight *find_flight(struct notify *notify, int64_t notice)
{
    struct flight *flight = notify->flights;
    while (!flight->recipient || flight->attempt.notice != notice) {
        flight++;
        assert(flight < notify->flights + TRANSPORT_MOST);
    }
    return flight;
}

/* ---- Webhook ---- */

static bool begin_webhook(struct notify *notify, const struct notice *notice,
                          const struct recipient *recipient, int64_t now, struct error *error)
{
    CLEANUP(text_done) struct text body, signatures;
    text_init(&body, MESSAGE_EVENT_LIMIT);
    text_init(&signatures, 256);
    int64_t seconds = now / SECOND_MS;
    bool is_rendered = recipient->body ? message_render_body(notice, notify->config, recipient, &body, error)
                                       : message_render_event(notice, notify->config, &body, error);
    if (!is_rendered ||
        !sign(recipient, notice->uid, seconds, &body, &signatures, error))
        return within(error, "recipient '%s'", recipient->id);
    CLEANUP(cleanup_free) char *id = x_printf("webhook-id: %s", notice->uid);
    CLEANUP(cleanup_free) char *timestamp = x_printf("webhook-timestamp: %lld", (long long)seconds);
    CLEANUP(cleanup_free)
    char *signature = x_printf("webhook-signature: %s", signatures.length ? signatures.bytes : "");
    CLEANUP(cleanup_free) char *kind = x_printf("Content-Type: %s", message_body_kind(recipient));
    const char *headers[] = {kind, id, timestamp, signature};
    const struct transport_post post = {
        .url = recipient->url,
        .headers = headers,
        .header_count = signatures.length ? COUNT_OF(headers) : COUNT_OF(headers) - 1,
        .body = body.bytes,
        .body_length = body.length,
        .ca_file = recipient->ca_file,
        .allows_private_address = recipient->allows_private_address,
    };
    transport_start_post(notify->transport, notice->id, &post);
    return true;
}

void notify_ping(struct notify *notify, int64_t now)
{
    const struct heartbeat *heartbeat = &notify->config->heartbeat;
    static const char *const headers[] = {"Content-Type: text/plain"};
    assert(notify_room(notify, "") > 0 && heartbeat->url);
    struct flight *flight = notify->flights;
    while (flight->recipient)
        flight++;
    *flight = (struct flight){.recipient = x_strdup(""), .attempt = {.created = now}};
    const struct transport_post post = {
        .url = heartbeat->url,
        .headers = headers,
        .header_count = COUNT_OF(headers),
        .body = "",
        .ca_file = heartbeat->ca_file,
        .allows_private_address = heartbeat->allows_private_address,
    };
    transport_start_post(notify->transport, 0, &post);
}

/* Without a secret nothing is signed: the settings may say so for a receiver behind the same walls. */
static bool sign(const struct recipient *recipient, const char *uid, int64_t seconds, const struct text *body,
                 struct text *signatures, struct error *error)
{
    CLEANUP(wipe_keys) struct sign_key keys[2] = {0};
    size_t count = 0;
    if (!add_key(&recipient->secret, keys, &count, error) ||
        !add_key(&recipient->old_secret, keys, &count, error))
        return false;
    if (strchr(uid, '.'))
        return fail(error, ERROR_INPUT, "'%s' is no uid of a notice, expected letters, digits and '-'", uid);
    if (count > 0)
        sign_message(keys, count, uid, seconds, body->bytes, body->length, signatures);
    return true;
}

static bool add_key(const struct secret *secret, struct sign_key *keys, size_t *count, struct error *error)
{
    if (secret->kind == SECRET_NONE)
        return true;
    CLEANUP(secret_wipe) struct secret_text text = {0};
    if (!secret_read(secret, &text, error))
        return false;
    if (!sign_key_decode(text.bytes, &keys[*count], error))
        return within(error, "'%s'", secret->name);
    ++*count;
    return true;
}

static void wipe_keys(struct sign_key (*keys)[2])
{
    explicit_bzero(keys, sizeof *keys);
}

/* ---- Mail ---- */

static bool begin_mail(struct notify *notify, const struct notice *notice, const struct recipient *recipient,
                       const struct message_picture *picture, struct error *error)
{
    static const enum transport_security securities[] = {
        [MAIL_STARTTLS] = TRANSPORT_STARTTLS, [MAIL_TLS] = TRANSPORT_TLS, [MAIL_PLAIN] = TRANSPORT_PLAIN};
    const struct mail_server *server = &notify->config->mail;
    if (!server->host)
        return fail(error, ERROR_CONFIG, "recipient '%s' wants mail, but no mail server is set",
                    recipient->id);
    CLEANUP(text_done) struct text message;
    text_init(&message, MESSAGE_MAIL_LIMIT);
    CLEANUP(secret_wipe) struct secret_text password = {0};
    if (!message_render_mail(notice, notify->config, recipient->address, picture, &message, error) ||
        (server->user && server->password.kind != SECRET_NONE &&
         !secret_read(&server->password, &password, error)))
        return within(error, "recipient '%s'", recipient->id);
    const struct transport_mail mail = {
        .host = server->host,
        .port = server->port,
        .security = securities[server->security],
        .hello_name = server->hello_name,
        .user = server->user,
        .password = password.bytes,
        .from = server->from,
        .to = recipient->address,
        .message = message.bytes,
        .message_length = message.length,
        .ca_file = server->ca_file,
    };
    transport_start_mail(notify->transport, notice->id, &mail);
    return true;
}

/* ---- Judgement ---- */

static enum delivery_outcome outcome_of(const struct transport_result *result, bool *ret_needs_hand)
{
    switch (result->end) {
    case TRANSPORT_ANSWERED: return outcome_of_status(result->response, ret_needs_hand);
    case TRANSPORT_TURNED_AWAY: return REFUSED;
    case TRANSPORT_UNREACHED: return TRY_AGAIN;
    case TRANSPORT_DISTRUSTED:
    case TRANSPORT_FORBIDDEN: break;
    }
    *ret_needs_hand = true;
    return TRY_AGAIN;
}

/* A receiver's number; 250, an accepted mail, is one of the good ones. */
static enum delivery_outcome outcome_of_status(int status, bool *ret_needs_hand)
{
    if (status >= 200 && status < 300)
        return DELIVERED;
    if (status == 410) /* gone: the receiver asks never to be called again */
        return REFUSED;
    bool is_passing = status == 408 || status == 425 || status == 429 || status >= 500;
    *ret_needs_hand = !is_passing; /* moved, unknown, forbidden, not understood */
    return TRY_AGAIN;
}

static int64_t delay_of(const struct attempt *attempt, const struct transport_result *result, bool needs_hand)
{
    int64_t delay = backoff_delay(attempt->attempts, attempt->seed);
    if (needs_hand && delay < slow_delay)
        delay = slow_delay;
    int64_t wanted = result->retry_after > LONGEST_PAUSE_S ? LONGEST_PAUSE_S : result->retry_after;
    return wanted * SECOND_MS > delay ? wanted * SECOND_MS : delay;
}
