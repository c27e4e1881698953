/* SPDX-License-Identifier: MIT */
#include "service/tell.h"

#include "alarms/lifecycle.h"
#include "base/text.h"
#include "base/timestamp.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static bool tell_is_about(const char *place, const char *recipient);
static bool mark_pages(const struct teller *t, const struct alarm *alarm, struct error *error);
static bool fill_place(const struct teller *t, struct notice *notice, struct error *error);
static void fill_values(const struct rule *rule, struct notice *notice);
static const char *first_words(const struct teller *t, const struct alarm *alarm, enum notice_event event,
                               const char *why);
static void add_chattering(const struct teller *t, struct alarm *alarm);

bool tell_people(const struct teller *t, const struct alarm *alarm, const struct rule *rule, enum notice_event event,
                 const char *why, const struct word_list *to, struct error *error)
{
    struct notice notice = {
        .event = event,
        .created = alarm->changed,
        .alarm = *alarm,
        .priority = rule->priority,
        .rule_title = rule->title,
        .advice = rule->advice,
        .rule_kind = rule_kind_word(rule->kind),
    };
    if (to->count == 0)
        return true;
    if (!fill_place(t, &notice, error))
        return false;
    fill_values(rule, &notice);
    notice.body = first_words(t, alarm, event, why);
    add_chattering(t, &notice.alarm);
    CLEANUP(cleanup_free) char *what = x_printf("%" PRId64 "-%s", alarm->id, notice_event_word(event));
    for (size_t k = 0; k < to->count; k++) {
        notice.recipient = to->words[k];
        if (rule->kind == RULE_UNDELIVERED && tell_is_about(alarm->station, notice.recipient))
            continue; /* the others must hear of it */
        notice.uid = tell_uid(t, what, alarm->sequence, notice.recipient, alarm->changed);
        if (!store_notice_add(t->store, &notice, error))
            return false;
    }
    return true;
}

bool tell_change(const struct teller *t, struct alarm *alarm, enum notice_event event, const char *who,
                 const char *what, struct error *error)
{
    if (!store_alarm_put(t->store, alarm, who, what, error))
        return false;
    if (!mark_pages(t, alarm, error))
        return false;
    size_t r = config_find_rule(t->config, alarm->rule);
    if (event == ANNOUNCE_NOTHING || r == t->config->rule_count)
        return true;
    const struct rule *rule = &t->config->rules[r];
    bool knows_above = alarm->escalated != TIME_NONE;
    return tell_people(t, alarm, rule, event, what, &rule->tell, error) &&
           (!knows_above || tell_people(t, alarm, rule, event, what, &rule->escalate_to, error));
}

/* Alarms stand on the network's page and their station's, which time and people alone can make untrue. */
static bool mark_pages(const struct teller *t, const struct alarm *alarm, struct error *error)
{
    struct place_fact place = {.number = 0};
    bool is_station = config_find_station(t->config, alarm->station) < t->config->station_count;
    if (is_station && !store_place_find(t->store, alarm->station, t->arena, &place, error))
        return false;
    return store_manifest_due(t->store, 0, error) &&
           (place.number == 0 || store_manifest_due(t->store, place.number, error));
}

const char *tell_uid(const struct teller *t, const char *what, int64_t number, const char *recipient, int64_t now)
{
    char *uid = arena_printf(t->arena, "%s-%s-%" PRId64 "-%s-%" PRIx64, t->config->network_id, what, number, recipient,
                             (uint64_t)now);
    for (char *c = uid; *c; c++)
        if (!isalnum((unsigned char)*c) && *c != '-')
            *c = '-';
    return uid;
}

static const char about_recipient[] = "recipient ";

const char *tell_place_of(const struct teller *t, const char *recipient)
{
    return arena_printf(t->arena, "%s%s", about_recipient, recipient);
}

static bool tell_is_about(const char *place, const char *recipient)
{
    return text_starts_with(place, about_recipient) && strcmp(place + strlen(about_recipient), recipient) == 0;
}

/* A station, a barometer, or the path of a drop. */
static bool fill_place(const struct teller *t, struct notice *notice, struct error *error)
{
    const char *id = notice->alarm.station;
    size_t s = config_find_station(t->config, id), b = config_find_barometer(t->config, id);
    notice->station_name = id;
    notice->data_until = TIME_NONE;
    if (s < t->config->station_count) {
        notice->station_name = t->config->stations[s].name;
        notice->utc_offset = t->config->stations[s].utc_offset;
    } else if (b < t->config->barometer_count) {
        notice->station_name = t->config->barometers[b].name;
        notice->utc_offset = t->config->barometers[b].utc_offset;
    } else {
        return true;
    }
    struct place_fact fact;
    if (!store_place_find(t->store, id, t->arena, &fact, error))
        return false;
    notice->data_until = fact.last_time;
    return true;
}

/* Values as people read them: the quantity's written unit; days for silence, hours for a drop that waits. */
static void fill_values(const struct rule *rule, struct notice *notice)
{
    const struct episode *e = &notice->alarm.episode;
    notice->unit = notice->quantity = "";
    if (rule->quantity < QUANTITY_COUNT) {
        const struct quantity_info *info = quantity_info(rule->quantity);
        notice->unit = info->unit;
        notice->quantity = info->key;
        notice->decimals = info->decimals > 2 ? 2 : info->decimals;
        notice->limit = rule->limit * info->scale;
        if (rule->kind == RULE_OUTSIDE) /* the end that it went past */
            notice->limit = (e->worst > rule->high ? rule->high : rule->low) * info->scale;
        notice->worst = e->worst * info->scale;
        notice->last = e->last * info->scale;
        return;
    }
    bool in_days = rule->kind == RULE_SILENCE || rule->kind == RULE_VISIT_DUE;
    double unit = (double)(in_days ? DAY_MS : HOUR_MS);
    notice->unit = in_days ? "d" : "h";
    notice->decimals = 1;
    /* A visit can be due before its window is over: when its logger runs out of something. */
    int64_t visited = e->last_time - (int64_t)e->last;
    int64_t longest = rule->kind == RULE_VISIT_DUE ? e->start - visited : rule->window;
    notice->limit = (double)longest / unit;
    notice->worst = e->worst / unit;
    notice->last = e->last / unit;
}

/* Why somebody hears of it again. */
static const char *first_words(const struct teller *t, const struct alarm *alarm, enum notice_event event,
                               const char *why)
{
    static const char withdrawn[] = "withdrawn: ";
    char duration[TIMESTAMP_SIZE];
    if (event == NOTICE_WITHDRAWN)
        return why && text_starts_with(why, withdrawn) ? arena_printf(t->arena, "Why: %s.", why + strlen(withdrawn))
                                                       : "";
    if (event != NOTICE_REMINDED && event != NOTICE_ESCALATED)
        return "";
    duration_print(alarm->changed - alarm->asked, duration);
    if (event == NOTICE_REMINDED)
        return arena_printf(t->arena, "REMINDER: nobody has answered this alarm for %s.", duration);
    return arena_printf(t->arena, "PASSED ON TO YOU: those who were told have not answered this alarm for %s.",
                        duration);
}

/* Behind what was seen, cut where there is no room for both. */
static void add_chattering(const struct teller *t, struct alarm *alarm)
{
    char window[TIMESTAMP_SIZE], words[96], *detail = alarm->episode.detail;
    const size_t size = sizeof alarm->episode.detail;
    if (alarm->times < CHATTERING_TIMES)
        return;
    int length = snprintf(words, sizeof words, "%schattering: it began %" PRId64 " times within %s",
                          *detail ? "; " : "", alarm->times, duration_print(t->config->chattering_window, window));
    size_t keep = size - 1 - (size_t)length;
    if (strlen(detail) > keep) {
        while (keep > 0 && ((unsigned char)detail[keep] & 0xC0) == 0x80) /* at the start of a character */
            keep--;
        detail[keep] = '\0';
    }
    strcat(detail, words);
}
