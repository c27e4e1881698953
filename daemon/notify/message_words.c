/* SPDX-License-Identifier: MIT */
#include "notify/message_parts.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <math.h>
#include <string.h>

/* How the limit of each kind is said: "alarm below 3 mg/L". NULL: the kind has no value to compare. */
static const char *const limit_words[] = {
    [RULE_BELOW] = "alarm below",
    [RULE_ABOVE] = "alarm above",
    [RULE_RISE] = "alarm when it rises by more than",
    [RULE_FALL] = "alarm when it falls by more than",
    [RULE_OUTSIDE] = "alarm past",
    [RULE_CHANGE] = "alarm when it changes by more than",
    [RULE_FLAT] = "alarm when it changes by no more than",
    [RULE_DRIFT] = "alarm when a check differs by more than",
    [RULE_SILENCE] = NULL,
    [RULE_GAP] = NULL,
    [RULE_VISIT_DUE] = NULL,
    [RULE_UNREADABLE_DROP] = NULL,
    [RULE_UNDELIVERED] = NULL,
};
_Static_assert(COUNT_OF(limit_words) == RULE_KIND_COUNT, "every kind has its words");

/* What is missing, for kinds that measure how long; and what its end means. */
static const struct {
    const char *missing, *ended;
} waiting_words[RULE_KIND_COUNT] = {
    [RULE_SILENCE] = {"data", "data have come again"},
    [RULE_GAP] = {"data", "between two samples there are none"},
    [RULE_VISIT_DUE] = {"visit", "somebody has been there"},
};

static const char *missing_word(const struct notice *notice);
static void put_cause(struct text *text, const struct notice *notice);
static void put_limit(struct text *text, const struct notice *notice);
static bool is_easing(const struct notice *notice);
static void put_still_so(struct text *text, const struct notice *notice);
static void put_over(struct text *text, const struct notice *notice);

enum rule_kind message_kind(const struct notice *notice)
{
    for (enum rule_kind kind = 0; kind < RULE_KIND_COUNT; kind++)
        if (strcmp(notice->rule_kind, rule_kind_word(kind)) == 0)
            return kind;
    return RULE_KIND_COUNT;
}

bool message_is_of_water(const struct notice *notice)
{
    enum rule_kind kind = message_kind(notice);
    return kind != RULE_UNREADABLE_DROP && kind != RULE_UNDELIVERED;
}

bool message_is_withdrawn(const struct notice *notice)
{
    return notice->event == NOTICE_WITHDRAWN || notice->alarm.state == ALARM_WITHDRAWN;
}

bool message_has_value(const struct notice *notice)
{
    return *notice->quantity && isfinite(notice->worst);
}

void message_put_value(struct text *text, const struct notice *notice, double value)
{
    if (!isfinite(value)) {
        text_puts(text, "unknown");
        return;
    }
    text_number(text, value, notice->decimals < 0 ? 0 : notice->decimals > 9 ? 9 : notice->decimals);
    if (*notice->unit && strcmp(notice->unit, "1") != 0)
        text_printf(text, " %s", notice->unit);
}

void message_put_state(struct text *text, const struct notice *notice)
{
    char duration[TIMESTAMP_SIZE];
    bool is_still_so = message_is_still_so(notice);
    if (message_is_withdrawn(notice)) {
        text_puts(text, "withdrawn, it was not so");
    } else if (is_easing(notice)) {
        message_put_value(text, notice, notice->last);
        text_puts(text, " after ");
        message_put_value(text, notice, notice->worst);
        text_puts(text, ", not over yet");
    } else if (message_has_value(notice)) {
        text_puts(text, is_still_so ? "" : "over, worst ");
        message_put_value(text, notice, is_still_so && isfinite(notice->last) ? notice->last : notice->worst);
        text_puts(text, is_still_so ? ", still so" : "");
    } else if (missing_word(notice)) {
        const char *before = is_still_so || message_kind(notice) == RULE_GAP ? "" : "over, ";
        text_printf(text, "%sno %s for %s", before, missing_word(notice),
                    duration_print((int64_t)notice->alarm.episode.worst, duration));
        if (is_still_so)
            put_cause(text, notice);
        text_puts(text, is_still_so ? ", still so" : "");
    } else {
        text_puts(text, is_still_so ? "still so" : "over");
    }
}

void message_put_sentences(struct text *text, const struct notice *notice)
{
    if (message_is_withdrawn(notice))
        text_puts(text, "WITHDRAWN: data or notes that came later show that it was not so. What was said before no "
                        "longer holds.");
    else if (message_is_still_so(notice))
        put_still_so(text, notice);
    else
        put_over(text, notice);
}

/* The last sample is on the good side again, and the deadband or the off-delay keeps the episode open. Told apart where
 * one value says so. */
static bool is_easing(const struct notice *notice)
{
    enum rule_kind kind = message_kind(notice);
    if (!message_is_still_so(notice) || message_is_withdrawn(notice) || !isfinite(notice->last))
        return false;
    return (kind == RULE_BELOW && notice->last >= notice->limit) ||
           (kind == RULE_ABOVE && notice->last <= notice->limit);
}

static void put_still_so(struct text *text, const struct notice *notice)
{
    const struct episode *episode = &notice->alarm.episode;
    char duration[TIMESTAMP_SIZE];
    if (message_has_value(notice)) {
        bool eases = is_easing(notice);
        text_puts(text,
                  eases
                      ? "NOT OVER YET. The last sample is beyond the limit no more, but not for long enough to count: "
                      : "STILL SO at the last sample: ");
        message_put_value(text, notice, isfinite(notice->last) ? notice->last : notice->worst);
        put_limit(text, notice);
        text_puts(text, ".");
        if (episode->last_time != TIME_NONE && notice->created > episode->last_time)
            text_printf(text,
                        "\nThat sample was already %s old when this was written. What the water does now is "
                        "not known.",
                        duration_print(notice->created - episode->last_time, duration));
    } else if (missing_word(notice)) {
        text_printf(text, "STILL SO: no %s for %s", missing_word(notice),
                    duration_print((int64_t)episode->worst, duration));
        put_cause(text, notice);
        text_putc(text, '.');
    } else {
        text_puts(text, "STILL SO: it needs a hand.");
    }
}

static void put_over(struct text *text, const struct notice *notice)
{
    const struct episode *episode = &notice->alarm.episode;
    char duration[TIMESTAMP_SIZE];
    if (message_has_value(notice)) {
        text_puts(text, "OVER: it had ended by the last sample. The worst was ");
        message_put_value(text, notice, notice->worst);
        put_limit(text, notice);
        text_puts(text, ".");
    } else if (message_kind(notice) == RULE_GAP) {
        text_printf(text, "A GAP of %s: there are data before and behind it, and none between. A file may be missing.",
                    duration_print((int64_t)episode->worst, duration));
    } else if (missing_word(notice)) {
        text_printf(text, "OVER: %s, after %s without.", waiting_words[message_kind(notice)].ended,
                    duration_print((int64_t)episode->worst, duration));
    } else {
        text_puts(text, "OVER: it needs no hand any more.");
    }
}

/* " (alarm below 3 mg/L)" */
static void put_limit(struct text *text, const struct notice *notice)
{
    enum rule_kind kind = message_kind(notice);
    if (kind == RULE_KIND_COUNT || !limit_words[kind] || !isfinite(notice->limit))
        return;
    text_printf(text, " (%s ", limit_words[kind]);
    message_put_limit(text, notice->limit);
    bool has_unit = *notice->unit && strcmp(notice->unit, "1") != 0;
    text_printf(text, "%s%s)", has_unit ? " " : "", has_unit ? notice->unit : "");
}

/* ", memory full about 2026-08-14": what makes a visit due before its time; what was seen says it first. */
static void put_cause(struct text *text, const struct notice *notice)
{
    const char *detail = notice->alarm.episode.detail, *end = strstr(detail, "; no visit");
    if (message_kind(notice) != RULE_VISIT_DUE || !end)
        return;
    text_puts(text, ", ");
    text_add(text, detail, (size_t)(end - detail));
}

/* NULL where nothing is waited for. */
static const char *missing_word(const struct notice *notice)
{
    enum rule_kind kind = message_kind(notice);
    return kind < RULE_KIND_COUNT && isfinite(notice->alarm.episode.worst) ? waiting_words[kind].missing : NULL;
}
