/* SPDX-License-Identifier: MIT */
#include "service/try_recipient.h"

#include "base/timestamp.h"
#include "service/tell.h"
#include "service/wake.h"

#include <inttypes.h>
#include <time.h>

enum { LOOK_EVERY = 50 /* ms */ };

static bool check_recipients(const struct config *config, char *const *ids, int count, struct error *error);
static bool add_test(const struct teller *t, const char *recipient, int64_t now, int64_t *ret_id, struct error *error);
static bool await_answer(struct store *store, struct arena *arena, int64_t id, int64_t until, struct notice_fact *ret,
                         struct error *error);
static void put_outcome(const struct notice_fact *fact, struct text *ret, bool *ret_needs_hand);

bool try_recipients(const struct config *config, struct store *store, char *const *ids, int count, int64_t now,
                    int64_t patience, struct text *ret, bool *ret_needs_hand, struct error *error)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    const struct teller teller = {config, store, arena};
    int64_t *notices = arena_array(arena, (size_t)count, sizeof *notices);
    if (!check_recipients(config, ids, count, error) || !store_begin(store, __func__, error))
        return false;
    bool ok = true;
    for (int k = 0; ok && k < count; k++)
        ok = add_test(&teller, ids[k], now, &notices[k], error);
    if (!ok || !store_commit(store, error)) {
        store_rollback(store);
        return false;
    }
    wake_ring(config->state);
    int64_t until = clock_monotonic() + patience;
    for (int k = 0; k < count; k++) {
        struct notice_fact fact;
        if (!await_answer(store, arena, notices[k], until, &fact, error))
            return false;
        put_outcome(&fact, ret, ret_needs_hand);
    }
    return true;
}

static bool check_recipients(const struct config *config, char *const *ids, int count, struct error *error)
{
    if (count == 0)
        return fail(error, ERROR_INPUT, "'alarms test' needs the id of a recipient");
    for (int k = 0; k < count; k++)
        if (config_find_recipient(config, ids[k]) == config->recipient_count)
            return fail(error, ERROR_INPUT, "'%.60s' is no recipient of the settings", ids[k]);
    return true;
}

static bool add_test(const struct teller *t, const char *recipient, int64_t now, int64_t *ret_id, struct error *error)
{
    struct notice notice = {.event = NOTICE_TEST,
                            .recipient = recipient,
                            .created = now,
                            .priority = PRIORITY_LOW,
                            .data_until = TIME_NONE,
                            .alarm = {.episode = {.end = TIME_NONE}}};
    notice.station_name = notice.rule_title = notice.advice = notice.rule_kind = notice.unit = notice.quantity = "";
    notice.alarm.station = notice.alarm.rule = notice.body = "";
    /* The real clock too: two tests while the clock is held are two messages. */
    notice.uid = tell_uid(t, "test", clock_wall(), recipient, now);
    return store_notice_add(t->store, &notice, error) && store_notice_id(t->store, notice.uid, ret_id, error);
}

/* The service writes down what came of it; there is no other way to hear. */
static bool await_answer(struct store *store, struct arena *arena, int64_t id, int64_t until, struct notice_fact *ret,
                         struct error *error)
{
    for (;;) {
        if (!store_notice_outcome(store, id, arena, ret, error))
            return false;
        if (ret->attempts > 0 || clock_monotonic() >= until)
            return true;
        const struct timespec pause = {.tv_nsec = LOOK_EVERY * 1000000L};
        nanosleep(&pause, NULL);
    }
}

static void put_outcome(const struct notice_fact *fact, struct text *ret, bool *ret_needs_hand)
{
    char answer[512];
    text_make_visible(fact->answer, answer, sizeof answer);
    *ret_needs_hand |= fact->state != NOTICE_DELIVERED;
    if (fact->state == NOTICE_DELIVERED)
        text_printf(ret, "%s: delivered: %s\n", fact->recipient, answer);
    else if (fact->attempts == 0)
        text_printf(ret, "%s: waits: no service has sent it yet; is one running? It is sent when one does\n",
                    fact->recipient);
    else
        text_printf(ret, "%s: not delivered%s: %s\n", fact->recipient,
                    fact->state == NOTICE_DUE ? ", it will be tried again" : "", answer);
}
