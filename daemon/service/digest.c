/* SPDX-License-Identifier: MIT */
#include "service/digest.h"

#include "alarms/hours.h"
#include "alarms/lifecycle.h"
#include "base/timestamp.h"
#include "base/zone.h"

#include <inttypes.h>
#include <string.h>

enum { DIGEST_LIMIT = 12000, LINES_MOST = 15 }; /* bytes: as an event it must fit, too; lines of one heading */

static bool send(const struct teller *t, int64_t from, int64_t now, struct error *error);
static bool put_old_news(const struct teller *t, struct span span, struct text *ret, struct error *error);
static bool put_open(const struct teller *t, int64_t now, struct text *ret, struct error *error);
static void put_alarms(const struct teller *t, const char *heading, const struct alarm *alarms, size_t n,
                       bool (*is_meant)(const struct teller *, const struct alarm *), int64_t now, struct text *ret);
static bool is_open(const struct teller *t, const struct alarm *alarm);
static bool is_silent(const struct teller *t, const struct alarm *alarm);
static bool is_old(const struct teller *t, const struct alarm *alarm);
static void put_alarm(const struct teller *t, const struct alarm *alarm, int64_t now, struct text *ret);
static bool put_held(const struct teller *t, struct text *ret, struct error *error);
static bool put_drops(const struct teller *t, int64_t now, struct text *ret, struct error *error);
static bool put_undelivered(const struct teller *t, struct span span, struct text *ret, struct error *error);
static void put_heading(struct text *ret, const char *heading, size_t count);
static void put_rest(struct text *ret, size_t count);
static void put_time(const struct teller *t, struct text *ret, int64_t time);
static void put_visible(struct text *ret, const char *text);
static const struct rule *rule_of(const struct teller *t, const struct alarm *alarm);

bool digest_people(const struct teller *t, int64_t now, int64_t *ret_next, struct error *error)
{
    const struct digest_mail *settings = &t->config->digest_mail;
    struct listener_fact fact;
    *ret_next = TIME_FOREVER;
    if (!settings->zone)
        return true;
    if (!store_listener_find(t->store, "", &fact, error))
        return false;
    bool is_first = fact.digest_at == TIME_NONE;
    int64_t from = is_first ? now - DAY_MS : fact.digest_at; /* what a first import brought belongs into the first */
    int64_t due = hours_next_minute(settings->zone, settings->at, is_first ? now : from);
    *ret_next = due > now ? due : hours_next_minute(settings->zone, settings->at, now);
    if (due > now && !is_first)
        return true;
    if (due <= now && !send(t, from, now, error))
        return false;
    fact.digest_at = due <= now ? now : from;
    return store_listener_put(t->store, "", &fact, error);
}

bool digest_render(const struct teller *t, int64_t from, int64_t now, struct text *ret, struct error *error)
{
    struct span span = {from, now};
    return put_old_news(t, span, ret, error) && put_open(t, now, ret, error) && put_held(t, ret, error) &&
           put_drops(t, now, ret, error) && put_undelivered(t, span, ret, error);
}

static bool send(const struct teller *t, int64_t from, int64_t now, struct error *error)
{
    const struct digest_mail *settings = &t->config->digest_mail;
    CLEANUP(text_done) struct text body;
    text_init(&body, DIGEST_LIMIT);
    if (!digest_render(t, from, now, &body, error))
        return false;
    if (body.length == 0 && !settings->is_always)
        return true;
    struct notice notice = {.event = NOTICE_DIGEST,
                            .created = now,
                            .priority = PRIORITY_LOW,
                            .body = body.length ? body.bytes
                                                : "Nothing to tell: no old news, no open alarms, all stations "
                                                  "heard from, no drops set aside, all notices delivered.",
                            .data_until = TIME_NONE,
                            .alarm = {.episode = {.end = TIME_NONE}}};
    notice.station_name = notice.rule_title = notice.advice = notice.rule_kind = notice.unit = notice.quantity = "";
    notice.alarm.station = notice.alarm.rule = "";
    for (size_t k = 0; k < settings->tell.count; k++) {
        notice.recipient = settings->tell.words[k];
        notice.uid = tell_uid(t, "digest", 0, notice.recipient, now);
        if (!store_notice_add(t->store, &notice, error))
            return false;
    }
    return true;
}

/* ---- what it says ---- */

static bool put_old_news(const struct teller *t, struct span span, struct text *ret, struct error *error)
{
    struct alarm *alarms;
    size_t n;
    if (!store_alarms_learnt(t->store, span, t->arena, &alarms, &n, error))
        return false;
    put_alarms(t, "Old news: learnt of too late to wake anybody", alarms, n, is_old, span.to, ret);
    return true;
}

static bool put_open(const struct teller *t, int64_t now, struct text *ret, struct error *error)
{
    struct alarm *alarms;
    size_t n;
    if (!store_alarms_open(t->store, t->arena, &alarms, &n, error))
        return false;
    put_alarms(t, "Open alarms", alarms, n, is_open, now, ret);
    put_alarms(t, "Silent", alarms, n, is_silent, now, ret);
    return true;
}

static void put_alarms(const struct teller *t, const char *heading, const struct alarm *alarms, size_t n,
                       bool (*is_meant)(const struct teller *, const struct alarm *), int64_t now, struct text *ret)
{
    size_t count = 0, shown = 0;
    for (size_t k = 0; k < n; k++)
        count += is_meant(t, &alarms[k]);
    if (count == 0)
        return;
    put_heading(ret, heading, count);
    for (size_t k = 0; k < n && shown < LINES_MOST; k++)
        if (is_meant(t, &alarms[k])) {
            put_alarm(t, &alarms[k], now, ret);
            shown++;
        }
    put_rest(ret, count - shown);
}

static bool is_open(const struct teller *t, const struct alarm *alarm)
{
    const struct rule *rule = rule_of(t, alarm);
    bool is_elsewhere =
        rule && (rule->kind == RULE_SILENCE || rule->kind == RULE_UNREADABLE_DROP || rule->kind == RULE_UNDELIVERED);
    return !is_elsewhere && !alarm->is_old_news;
}

static bool is_silent(const struct teller *t, const struct alarm *alarm)
{
    const struct rule *rule = rule_of(t, alarm);
    return rule && rule->kind == RULE_SILENCE && lifecycle_is_active(alarm->state);
}

static bool is_old(const struct teller *t, const struct alarm *alarm)
{
    (void)t; /* as its siblings */
    return alarm->is_old_news && alarm->state != ALARM_WITHDRAWN;
}

/* "- Oxygen low at Heron Creek: worst 1.5 mg/L, from ... to ..., alarm 12" */
static void put_alarm(const struct teller *t, const struct alarm *alarm, int64_t now, struct text *ret)
{
    const struct rule *rule = rule_of(t, alarm);
    const struct episode *e = &alarm->episode;
    char duration[TIMESTAMP_SIZE];
    size_t s = config_find_station(t->config, alarm->station);
    text_puts(ret, "- ");
    put_visible(ret, rule ? rule->title : alarm->rule);
    text_puts(ret, " at ");
    put_visible(ret, s < t->config->station_count ? t->config->stations[s].name : alarm->station);
    if (*e->detail) {
        text_puts(ret, ": ");
        put_visible(ret, e->detail);
    } else if (rule && rule->quantity < QUANTITY_COUNT) {
        const struct quantity_info *info = quantity_info(rule->quantity);
        text_printf(ret, ": worst %.*f %s", info->decimals > 2 ? 2 : info->decimals, e->worst * info->scale,
                    strcmp(info->unit, "1") == 0 ? "" : info->unit);
    }
    text_puts(ret, "; since ");
    put_time(t, ret, e->start);
    if (e->end != TIME_NONE)
        text_printf(ret, ", it was over after %s", duration_print(e->end - e->start, duration));
    else if (now > e->last_time)
        text_printf(ret, ", last sample %s ago", duration_print(now - e->last_time, duration));
    text_printf(ret, "; %s, alarm %" PRId64 "\n", alarm_state_word(alarm->state), alarm->id);
}

/* What was reviewed, and later facts would change. */
static bool put_held(const struct teller *t, struct text *ret, struct error *error)
{
    struct waiting_span *held;
    size_t n;
    if (!store_held_load(t->store, 0, t->arena, &held, &n, error))
        return false;
    if (n > 0)
        put_heading(ret, "Reviewed, and later facts would change it: a person's word is asked for", n);
    for (size_t k = 0; k < n && k < LINES_MOST; k++) {
        size_t s = config_find_station(t->config, held[k].key);
        text_puts(ret, "- ");
        put_visible(ret, s < t->config->station_count ? t->config->stations[s].name : held[k].key);
        text_puts(ret, ", ");
        put_time(t, ret, held[k].span.from);
        text_puts(ret, " to ");
        put_time(t, ret, held[k].span.to);
        text_printf(ret, ": %s\n", held[k].reason);
    }
    put_rest(ret, n > LINES_MOST ? n - LINES_MOST : 0);
    return true;
}

static bool put_drops(const struct teller *t, int64_t now, struct text *ret, struct error *error)
{
    struct path_fact *paths;
    size_t n, count = 0, shown = 0;
    char duration[TIMESTAMP_SIZE];
    if (!store_paths_unfinished(t->store, t->arena, &paths, &n, error))
        return false;
    for (size_t k = 0; k < n; k++)
        count += paths[k].state == DROP_SET_ASIDE;
    if (count > 0)
        put_heading(ret, "Drops set aside", count);
    for (size_t k = 0; k < n && shown < LINES_MOST; k++) {
        if (paths[k].state != DROP_SET_ASIDE)
            continue;
        shown++;
        text_puts(ret, "- ");
        put_visible(ret, paths[k].path);
        text_printf(ret, ", %s ago: ", duration_print(now - paths[k].since, duration));
        put_visible(ret, arena_strndup(t->arena, paths[k].message, strcspn(paths[k].message, "\n")));
        text_putc(ret, '\n');
    }
    put_rest(ret, count - shown);
    return true;
}

static bool put_undelivered(const struct teller *t, struct span span, struct text *ret, struct error *error)
{
    struct outbox_line *lines;
    size_t n;
    bool has_heading = false;
    if (!store_outbox_summary(t->store, t->arena, &lines, &n, error))
        return false;
    for (size_t k = 0; k < n; k++) {
        int64_t given_up;
        if (!store_given_up_count(t->store, lines[k].recipient, span, &given_up, error))
            return false;
        bool is_late = lines[k].due > 0 && *lines[k].last_answer && span.to - lines[k].oldest_due > HOUR_MS;
        if (!is_late && given_up == 0)
            continue;
        if (!has_heading)
            put_heading(ret, "Notices that were not delivered", 0);
        has_heading = true;
        text_printf(ret, "- to %s: %" PRId64 " wait, %" PRId64 " given up; ", lines[k].recipient, lines[k].due,
                    given_up);
        put_visible(ret, lines[k].last_answer);
        text_putc(ret, '\n');
    }
    return true;
}

static void put_heading(struct text *ret, const char *heading, size_t count)
{
    text_puts(ret, ret->length ? "\n" : "");
    if (count > 0)
        text_printf(ret, "%s (%zu)\n", heading, count);
    else
        text_printf(ret, "%s\n", heading);
}

static void put_rest(struct text *ret, size_t count)
{
    if (count > 0)
        text_printf(ret, "- and %zu more\n", count);
}

static void put_time(const struct teller *t, struct text *ret, int64_t time)
{
    char when[TIMESTAMP_SIZE];
    const struct zone *zone = t->config->digest_mail.zone;
    text_puts(ret, timestamp_print_offset(time, zone ? zone_offset(zone, time) : 0, when));
}

static void put_visible(struct text *ret, const char *text)
{
    char shown[1024];
    text_make_visible(text, shown, sizeof shown);
    text_puts(ret, shown);
}

static const struct rule *rule_of(const struct teller *t, const struct alarm *alarm)
{
    size_t r = config_find_rule(t->config, alarm->rule);
    return r < t->config->rule_count ? &t->config->rules[r] : NULL;
}
