/* SPDX-License-Identifier: MIT */
#include "service/deliver.h"

#include "base/log.h"
#include "base/text.h"
#include "service/gather.h"
#include "service/picture.h"

#include <stdio.h>

enum { NOTICES_AT_ONCE = 32, LARGEST_PICTURE = 4 << 20 };

static bool is_watched(const struct config *config);
static bool has_failed(const struct delivery *results, size_t n);
static bool is_mail(const struct config *config, const struct notice *notice);
static bool begin_one_mail(struct deliverer *d, struct pipeline *p, const struct notice *notices, size_t n,
                           int64_t wall, size_t *begun);
static bool begin(struct deliverer *d, struct pipeline *p, const struct notice *notice, int64_t wall);
static bool has_room(const void *notify, const char *recipient);
static bool write_down(struct store *store, const struct delivery *delivery, int64_t wall, struct error *error);

bool deliver_begin(struct deliverer *d, struct pipeline *p, int64_t wall, bool *ret_worked, struct error *error)
{
    struct notice *notices;
    size_t n, begun = 0;
    if (d->due > wall)
        return true;
    arena_reset(p->arena);
    const struct teller teller = {p->config, p->store, p->arena};
    const struct gather_room room = {has_room, d->notify};
    if (!gather_notices(&teller, &room, d->may_wait, wall, error) ||
        !store_notices_due(p->store, wall, NOTICES_AT_ONCE, p->arena, &notices, &n, error))
        return false;
    for (size_t k = 0; k < n; k++) /* webhooks first, all of them */
        begun += !is_mail(p->config, &notices[k]) && begin(d, p, &notices[k], wall);
    bool is_mail_left = begin_one_mail(d, p, notices, n, wall, &begun);
    d->in_the_air += begun;
    *ret_worked |= begun > 0;
    /* What is due already is in the air, or behind what is: answers wake us for it, not its time. */
    if (!store_notice_deadline(p->store, wall, &d->due, error))
        return false;
    d->due = is_mail_left ? wall : d->due;
    return true;
}

/* A chart takes its time. One a turn, and none in the turn that began something else: in between answers are heard, and
 * drops are looked at. True: there is another that has room. */
static bool begin_one_mail(struct deliverer *d, struct pipeline *p, const struct notice *notices, size_t n,
                           int64_t wall, size_t *begun)
{
    for (size_t k = 0; k < n; k++) {
        if (!is_mail(p->config, &notices[k]) || !has_room(d->notify, notices[k].recipient))
            continue;
        if (*begun > 0)
            return true;
        *begun += begin(d, p, &notices[k], wall);
    }
    return false;
}

bool deliver_collect(struct deliverer *d, struct pipeline *p, int64_t wall, bool *ret_worked, struct error *error)
{
    struct delivery results[NOTICES_AT_ONCE];
    size_t n = notify_collect(d->notify, wall, results, NOTICES_AT_ONCE);
    if (n == 0)
        return true;
    for (size_t k = 0; k < n; k++)
        d->in_the_air -= results[k].notice != 0;
    bool ok = store_begin(p->store, __func__, error);
    for (size_t k = 0; ok && k < n; k++) {
        if (results[k].notice == 0)
            heart_hear(&d->heart, &results[k]);
        else
            ok = write_down(p->store, &results[k], wall, error);
    }
    if (!ok || !store_commit(p->store, error)) {
        store_rollback(p->store);
        return false;
    }
    d->due = wall;
    if (is_watched(p->config) && (p->has_delivery_trouble || has_failed(results, n)))
        p->next_alarm_look = TIME_NONE;
    *ret_worked = true;
    return true;
}

/* By a rule that tells others of it. */
static bool is_watched(const struct config *config)
{
    for (size_t r = 0; r < config->rule_count; r++)
        if (config->rules[r].kind == RULE_UNDELIVERED)
            return true;
    return false;
}

static bool has_failed(const struct delivery *results, size_t n)
{
    for (size_t k = 0; k < n; k++)
        if (results[k].notice != 0 && results[k].outcome != DELIVERED)
            return true;
    return false;
}

static bool is_mail(const struct config *config, const struct notice *notice)
{
    size_t r = config_find_recipient(config, notice->recipient);
    return r < config->recipient_count && config->recipients[r].kind == RECIPIENT_MAIL;
}

static bool begin(struct deliverer *d, struct pipeline *p, const struct notice *notice, int64_t wall)
{
    if (notify_room(d->notify, notice->recipient) <= 0)
        return false;
    CLEANUP(text_done) struct text png;
    struct message_picture picture;
    text_init(&png, LARGEST_PICTURE);
    bool has_picture = is_mail(p->config, notice) && picture_draw(p, notice, &png, &picture);
    log_debug("notice %lld of '%s' goes to '%s'", (long long)notice->id, notice->alarm.station, notice->recipient);
    notify_begin(d->notify, notice, has_picture ? &picture : NULL, wall);
    return true;
}

static bool has_room(const void *notify, const char *recipient)
{
    return notify_room(notify, recipient) > 0;
}

static bool write_down(struct store *store, const struct delivery *delivery, int64_t wall, struct error *error)
{
    enum notice_state state = delivery->outcome == DELIVERED ? NOTICE_DELIVERED
                              : delivery->outcome == REFUSED ? NOTICE_GIVEN_UP
                                                             : NOTICE_DUE;
    char number[24];
    snprintf(number, sizeof number, "%lld", (long long)delivery->notice);
    if (state == NOTICE_DELIVERED)
        log_entry(LOG_LEVEL_INFO, LOG_FIELDS({"RILLWARD_NOTICE", number}, {"RILLWARD_OUTCOME", "delivered"}),
                  "notice %s was delivered", number);
    else
        log_entry(LOG_LEVEL_WARNING,
                  LOG_FIELDS({"RILLWARD_NOTICE", number},
                             {"RILLWARD_OUTCOME", state == NOTICE_DUE ? "undelivered" : "given_up"}),
                  "notice %s was not delivered%s: %s", number, state == NOTICE_DUE ? ", it will be tried again" : "",
                  delivery->text);
    return store_notice_done(store, delivery->notice, state, wall, delivery->next_try, delivery->text, error);
}
