/* SPDX-License-Identifier: MIT */
#include "service/answer.h"

#include "alarms/lifecycle.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "config/value.h"

#include <inttypes.h>
#include <string.h>

enum { LONGEST_TEXT = 400 };         /* bytes of a name or reason */
#define CLOCK_SLACK (10 * MINUTE_MS) /* of whoever wrote the answer */

static const char *const words[] = {
    [ANSWER_ACKNOWLEDGE] = "acknowledge", [ANSWER_SHELVE] = "shelve", [ANSWER_UNSHELVE] = "unshelve"};
_Static_assert(COUNT_OF(words) == ANSWER_KIND_COUNT, "every kind has a word");

static bool check_texts(const struct answer *answer, struct error *error);
static bool acknowledge(const struct teller *t, const struct answer *answer, struct alarm *alarm, int64_t now,
                        const char **ret_said, struct error *error);
static bool shelve(const struct teller *t, const struct answer *answer, struct alarm *alarm, int64_t now,
                   const char **ret_said, struct error *error);
static bool unshelve(const struct teller *t, const struct answer *answer, struct alarm *alarm, int64_t now,
                     const char **ret_said, struct error *error);
static const char *with_reason(const struct teller *t, const char *what, const char *reason);

const char *answer_kind_word(enum answer_kind kind)
{
    return words[kind];
}

enum answer_kind answer_kind_find(const char *word)
{
    enum answer_kind kind = 0;
    while (kind < ANSWER_KIND_COUNT && !value_same_word(words[kind], word))
        kind++;
    return kind;
}

bool answer_give(const struct teller *t, const struct answer *answer, int64_t now, const char **ret_said,
                 struct error *error)
{
    static bool (*const give[])(const struct teller *, const struct answer *, struct alarm *, int64_t, const char **,
                                struct error *) = {
        [ANSWER_ACKNOWLEDGE] = acknowledge, [ANSWER_SHELVE] = shelve, [ANSWER_UNSHELVE] = unshelve};
    struct alarm alarm;
    bool is_found;
    if (!check_texts(answer, error) || !store_alarm_find(t->store, answer->alarm, t->arena, &alarm, &is_found, error))
        return false;
    if (!is_found)
        return fail(error, ERROR_INPUT, "there is no alarm %" PRId64 ": 'rillward alarms' lists those that are open",
                    answer->alarm);
    if (answer->written != 0 && alarm.learnt > answer->written + CLOCK_SLACK)
        return fail(error, ERROR_INPUT, "alarm %" PRId64 " is younger than this answer, which was meant for another",
                    answer->alarm);
    return give[answer->kind](t, answer, &alarm, now, ret_said, error);
}

bool answer_end_shelf(const struct teller *t, struct alarm *alarm, const char *who, const char *what, int64_t now,
                      struct error *error)
{
    alarm->shelved_until = TIME_NONE;
    alarm->shelf_reason = "";
    enum notice_event event = lifecycle_take(alarm, ALARM_EVENT_UNSHELVED, now);
    return tell_change(t, alarm, event, who, what, error);
}

bool answer_parse_until(const char *text, int64_t now, int64_t *ret, struct error *error)
{
    int64_t duration;
    if (timestamp_parse(text, strlen(text), ret))
        return true;
    if (!value_duration(text, strlen(text), &duration, NULL))
        return fail(error, ERROR_INPUT,
                    "'%.60s' is no end of a shelf: expected a time with its zone, such as 2026-04-22T18:00:00Z, or a "
                    "duration, such as '8 h'",
                    text);
    *ret = now + duration;
    return true;
}

static bool check_texts(const struct answer *answer, struct error *error)
{
    if (!answer->who || !*answer->who)
        return fail(error, ERROR_INPUT, "an answer needs a name: say who gives it");
    if (answer->kind == ANSWER_SHELVE && (!answer->reason || !*answer->reason))
        return fail(error, ERROR_INPUT, "shelving needs a reason, for whoever looks next");
    if (strlen(answer->who) > LONGEST_TEXT || (answer->reason && strlen(answer->reason) > LONGEST_TEXT))
        return fail(error, ERROR_INPUT, "a name or reason is longer than %d bytes", LONGEST_TEXT);
    return true;
}

static bool acknowledge(const struct teller *t, const struct answer *answer, struct alarm *alarm, int64_t now,
                        const char **ret_said, struct error *error)
{
    enum alarm_state before = alarm->state;
    lifecycle_take(alarm, ALARM_EVENT_ACKNOWLEDGED, now);
    if (alarm->state == before) {
        *ret_said =
            arena_printf(t->arena, "alarm %" PRId64 " needs no answer, it is %s", alarm->id, alarm_state_word(before));
        return true;
    }
    alarm->shelved_until = TIME_NONE;
    alarm->shelf_reason = "";
    *ret_said = arena_printf(t->arena, "alarm %" PRId64 " is now %s", alarm->id, alarm_state_word(alarm->state));
    return tell_change(t, alarm, ANNOUNCE_NOTHING, answer->who, with_reason(t, "acknowledged", answer->reason), error);
}

static bool shelve(const struct teller *t, const struct answer *answer, struct alarm *alarm, int64_t now,
                   const char **ret_said, struct error *error)
{
    char until[TIMESTAMP_SIZE], longest[TIMESTAMP_SIZE];
    if (answer->until <= now)
        return fail(error, ERROR_INPUT, "alarm %" PRId64 " cannot be shelved until %s: that is past", alarm->id,
                    timestamp_print(answer->until, until));
    if (answer->until - now > t->config->longest_shelf)
        return fail(
            error, ERROR_INPUT,
            "alarm %" PRId64 " cannot be shelved until %s: the longest shelf is %s ('longest_shelf' in the settings)",
            alarm->id, timestamp_print(answer->until, until), duration_print(t->config->longest_shelf, longest));
    if (!lifecycle_is_active(alarm->state))
        return fail(error, ERROR_INPUT, "alarm %" PRId64 " cannot be shelved, it is %s: only one that is still so can",
                    alarm->id, alarm_state_word(alarm->state));
    lifecycle_take(alarm, ALARM_EVENT_SHELVED, now);
    alarm->shelved_until = answer->until;
    alarm->shelf_reason = answer->reason;
    timestamp_print(answer->until, until);
    *ret_said = arena_printf(t->arena, "alarm %" PRId64 " is shelved until %s", alarm->id, until);
    return tell_change(t, alarm, ANNOUNCE_NOTHING, answer->who,
                       with_reason(t, arena_printf(t->arena, "shelved until %s", until), answer->reason), error);
}

static bool unshelve(const struct teller *t, const struct answer *answer, struct alarm *alarm, int64_t now,
                     const char **ret_said, struct error *error)
{
    if (alarm->shelved_until == TIME_NONE) {
        *ret_said = arena_printf(t->arena, "alarm %" PRId64 " is not shelved, it is %s", alarm->id,
                                 alarm_state_word(alarm->state));
        return true;
    }
    /* The shelf is the rule's at this place: one alarm may have come back and another begun meanwhile. */
    struct alarm *list;
    size_t n;
    if (!store_alarms_shelved(t->store, t->arena, &list, &n, error))
        return false;
    const char *what = with_reason(t, "taken off the shelf", answer->reason);
    for (size_t k = 0; k < n; k++)
        if (strcmp(list[k].station, alarm->station) == 0 && strcmp(list[k].rule, alarm->rule) == 0) {
            if (!answer_end_shelf(t, &list[k], answer->who, what, now, error))
                return false;
            if (list[k].id == alarm->id)
                *alarm = list[k];
        }
    *ret_said = arena_printf(t->arena, "alarm %" PRId64 " is now %s", alarm->id, alarm_state_word(alarm->state));
    return true;
}

static const char *with_reason(const struct teller *t, const char *what, const char *reason)
{
    return reason && *reason ? arena_printf(t->arena, "%s: %s", what, reason) : what;
}
