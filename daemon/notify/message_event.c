/* SPDX-License-Identifier: MIT */
#include "notify/message_parts.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <ctype.h>
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROOM_BEHIND_ITEMS = 1000 }; /* bytes: the caution and the end of the event */

const char message_caution[] = "Values are provisional until a qualified person has reviewed them. This "
                               "message does not replace official flood or "
                               "water-quality warnings, and it can be late because the data are. Limits "
                               "follow local rules and licensed practice. At "
                               "the water, follow your own safety rules.";

static bool is_place(const struct config *config, const char *id);
static void put_type(struct text *text, const struct notice *notice, const struct config *config);
static void put_reversed_host(struct text *text, const char *url);
static void put_source(struct text *text, const struct notice *notice, const struct config *config);
static void put_escaped_path(struct text *text, const char *string);
static void put_data(struct text *text, const struct notice *notice);
static void put_many(struct text *text, const struct notice *notice);
static void put_items(struct text *text, const struct notice *notice);
static void put_alarm(struct text *text, const struct notice *notice);
static void put_quantity(struct text *text, const struct notice *notice);
static void put_times(struct text *text, const struct notice *notice);
static void put_string(struct text *text, const char *key, const char *value);
static void put_attribute(struct text *text, const char *key, const char *value);
static void put_time(struct text *text, const char *key, int64_t time);
static void put_number(struct text *text, const char *key, double value, int decimals);
static bool is_episode(const struct notice *notice);

bool message_render_event(const struct notice *notice, const struct config *config, struct text *ret,
                          struct error *error)
{
    const struct alarm *alarm = &notice->alarm;
    bool is_test = notice->event == NOTICE_TEST;
    text_puts(ret, "{\"specversion\":\"1.0\"");
    put_attribute(ret, "id", notice->uid);
    put_source(ret, notice, config);
    put_type(ret, notice, config);
    CLEANUP(cleanup_free)
    char *subject = is_test                   ? x_strdup("test")
                    : message_is_many(notice) ? x_strdup(notice_event_word(notice->event))
                                              : x_printf("%s/%s", alarm->station, alarm->rule);
    put_attribute(ret, "subject", subject);
    put_time(ret, "time",
             is_test || message_is_many(notice) || alarm->episode.start == TIME_NONE ? notice->created
                                                                                     : alarm->episode.start);
    put_string(ret, "datacontenttype", "application/json");
    text_puts(ret, ",\"data\":{");
    if (message_is_many(notice))
        put_many(ret, notice);
    else
        put_data(ret, notice);
    text_puts(ret, "}}");
    if (ret->is_full)
        return fail(error, ERROR_INPUT, "notice '%s' is longer than %d bytes as an event, shorten the rule's advice",
                    notice->uid, MESSAGE_EVENT_LIMIT);
    return true;
}

bool message_is_still_so(const struct notice *notice)
{
    return is_episode(notice) && notice->event != NOTICE_WITHDRAWN && notice->alarm.state != ALARM_WITHDRAWN &&
           notice->alarm.episode.end == TIME_NONE;
}

void message_render_page(const struct notice *notice, const struct config *config, struct text *ret)
{
    if (!*config->public_url || !is_place(config, notice->alarm.station))
        return;
    text_puts(ret, config->public_url);
    if (!text_ends_with(config->public_url, "/"))
        text_putc(ret, '/');
    text_puts(ret, "stations/");
    put_escaped_path(ret, notice->alarm.station);
    text_putc(ret, '/');
}

void message_put_limit(struct text *text, double limit)
{
    struct text number;
    text_init(&number, 512);
    text_number(&number, limit, 9);
    while (text_ends_with(number.bytes, "0"))
        number.bytes[--number.length] = '\0';
    if (text_ends_with(number.bytes, "."))
        number.length--;
    text_add(text, number.bytes, number.length);
    text_done(&number);
}

static bool is_place(const struct config *config, const char *id)
{
    return config_find_station(config, id) < config->station_count ||
           config_find_barometer(config, id) < config->barometer_count;
}

/* "org.example.water.alarm.raised.v1": the operator's own name space, so that events of two networks never
 * look alike. */
static void put_type(struct text *text, const struct notice *notice, const struct config *config)
{
    struct text type;
    text_init(&type, 512);
    put_reversed_host(&type, config->public_url);
    text_printf(&type, "%salarm.%s.v1", type.length ? "." : "rillward.", notice_event_word(notice->event));
    put_attribute(text, "type", type.bytes);
    text_done(&type);
}

/* Nothing where the host is a number or has no dot. */
static void put_reversed_host(struct text *text, const char *url)
{
    const char *host = strstr(url, "://");
    if (!host)
        return;
    host += 3;
    size_t length = strcspn(host, "/?#:@[");
    const char *dot = memrchr(host, '.', length);
    if (!dot || dot + 1 == host + length || isdigit((unsigned char)dot[1]) || host[length] == '@' || length > 253)
        return;
    const char *end = host + length;
    while (end > host) {
        const char *start = end;
        while (start > host && start[-1] != '.')
            start--;
        for (const char *c = start; c < end; c++)
            text_putc(text, (char)tolower((unsigned char)*c));
        if (start > host)
            text_putc(text, '.');
        end = start > host ? start - 1 : host;
    }
}

static void put_source(struct text *text, const struct notice *notice, const struct config *config)
{
    struct text source;
    text_init(&source, MESSAGE_EVENT_LIMIT);
    bool is_at_place =
        notice->event != NOTICE_TEST && !message_is_many(notice) && is_place(config, notice->alarm.station);
    if (is_at_place)
        message_render_page(notice, config, &source);
    else
        text_puts(&source, config->public_url);
    if (source.length == 0) {
        text_puts(&source, "urn:rillward:");
        put_escaped_path(&source, config->network_id);
        if (is_at_place) {
            text_puts(&source, ":station:");
            put_escaped_path(&source, notice->alarm.station);
        }
    }
    put_attribute(text, "source", source.bytes);
    text_done(&source);
}

/* RFC 3986: what is not unreserved is escaped. */
static void put_escaped_path(struct text *text, const char *string)
{
    for (const char *c = string; *c; c++) {
        unsigned char byte = (unsigned char)*c;
        if (byte < 0x80 && (isalnum(byte) || strchr("-._~", byte)))
            text_putc(text, *c);
        else
            text_printf(text, "%%%02X", byte);
    }
}

static void put_data(struct text *text, const struct notice *notice)
{
    put_alarm(text, notice);
    put_string(text, "advice", notice->advice);
    if (notice->body && *notice->body)
        put_string(text, "text", notice->body);
    text_puts(text, ",\"provisional\":true");
    put_string(text, "caution", message_caution);
}

/* About no single alarm: what there is in common, and a list. */
static void put_many(struct text *text, const struct notice *notice)
{
    text_puts(text, "\"event\":");
    text_json(text, notice_event_word(notice->event));
    put_string(text, "priority", priority_word(notice->priority));
    if (notice->event == NOTICE_GROUP) {
        text_puts(text, ",\"rule\":{\"id\":");
        text_json(text, notice->alarm.rule);
        put_string(text, "kind", notice->rule_kind);
        put_string(text, "title", notice->rule_title);
        text_putc(text, '}');
        put_string(text, "advice", notice->advice);
    }
    put_string(text, "text", notice->body && *notice->body ? notice->body : NULL);
    if (notice->event != NOTICE_DIGEST)
        put_items(text, notice);
    text_puts(text, ",\"provisional\":true");
    put_string(text, "caution", message_caution);
}

/* As many as there is room for, the urgent first; "count" is that of all. */
static void put_items(struct text *text, const struct notice *notice)
{
    size_t count = notice->item_count;
    text_printf(text, ",\"count\":%" PRId64 ",\"alarms\":[",
                notice->item_total > (int64_t)count ? notice->item_total : (int64_t)count);
    for (size_t k = 0; k < count; k++) {
        struct text item;
        text_init(&item, MESSAGE_EVENT_LIMIT);
        put_alarm(&item, &notice->items[k]);
        bool has_room = !item.is_full && text->length + item.length + ROOM_BEHIND_ITEMS < MESSAGE_EVENT_LIMIT;
        if (has_room)
            text_printf(text, "%s{%s}", k ? "," : "", item.bytes);
        text_done(&item);
        if (!has_room)
            break;
    }
    text_putc(text, ']');
}

static void put_alarm(struct text *text, const struct notice *notice)
{
    const struct alarm *alarm = &notice->alarm;
    text_puts(text, "\"alarm\":");
    text_integer(text, alarm->id);
    text_puts(text, ",\"sequence\":");
    text_integer(text, alarm->sequence);
    put_string(text, "state", alarm_state_word(alarm->state));
    put_string(text, "event", notice_event_word(notice->event));
    put_string(text, "priority", priority_word(notice->priority));
    text_puts(text, ",\"station\":{\"id\":");
    text_json(text, alarm->station);
    put_string(text, "name", notice->station_name);
    text_puts(text, "},\"rule\":{\"id\":");
    text_json(text, alarm->rule);
    put_string(text, "kind", notice->rule_kind);
    put_string(text, "title", notice->rule_title);
    text_putc(text, '}');
    put_quantity(text, notice);
    put_times(text, notice);
    put_string(text, "detail", alarm->episode.detail);
}

static void put_quantity(struct text *text, const struct notice *notice)
{
    const struct episode *episode = &notice->alarm.episode;
    bool has_quantity = *notice->quantity;
    put_string(text, "quantity", has_quantity ? notice->quantity : NULL);
    put_string(text, "unit", has_quantity ? notice->unit : NULL);
    text_puts(text, ",\"limit\":");
    if (has_quantity && isfinite(notice->limit))
        message_put_limit(text, notice->limit);
    else
        text_puts(text, "null");
    put_number(text, "worst", has_quantity ? notice->worst : NAN, notice->decimals);
    put_time(text, "worst_at", is_episode(notice) ? episode->worst_time : TIME_NONE);
    put_number(text, "last", has_quantity ? notice->last : NAN, notice->decimals);
    put_time(text, "last_at", is_episode(notice) ? episode->last_time : TIME_NONE);
}

static void put_times(struct text *text, const struct notice *notice)
{
    const struct alarm *alarm = &notice->alarm;
    bool has_episode = is_episode(notice);
    put_time(text, "happened_at", has_episode ? alarm->episode.start : TIME_NONE);
    put_time(text, "raised_at", has_episode ? alarm->episode.raised : TIME_NONE);
    put_time(text, "ended_at", has_episode ? alarm->episode.end : TIME_NONE);
    put_time(text, "learnt_at", has_episode ? alarm->learnt : notice->created);
    text_puts(text, ",\"still_so\":");
    text_puts(text, !has_episode ? "null" : message_is_still_so(notice) ? "true" : "false");
    put_time(text, "data_until", notice->data_until);
    text_puts(text, ",\"late_by_s\":");
    int64_t raised = alarm->episode.raised;
    if (!has_episode || raised == TIME_NONE || alarm->learnt == TIME_NONE)
        text_puts(text, "null");
    else
        text_integer(text, alarm->learnt > raised ? (alarm->learnt - raised) / SECOND_MS : 0);
}

static void put_string(struct text *text, const char *key, const char *value)
{
    text_printf(text, ",\"%s\":", key);
    text_json(text, value);
}

/* Strings of the event itself must not hold control characters, escaped or not. */
static void put_attribute(struct text *text, const char *key, const char *value)
{
    size_t size = strlen(value) * 4 + 1;
    CLEANUP(cleanup_free) char *shown = x_alloc(size);
    text_make_visible(value, shown, size);
    put_string(text, key, shown);
}

static void put_time(struct text *text, const char *key, int64_t time)
{
    char printed[TIMESTAMP_SIZE];
    put_string(text, key, time == TIME_NONE || time == TIME_FOREVER ? NULL : timestamp_print(time, printed));
}

static void put_number(struct text *text, const char *key, double value, int decimals)
{
    text_printf(text, ",\"%s\":", key);
    if (isfinite(value))
        text_number(text, value, decimals < 0 ? 0 : decimals > 9 ? 9 : decimals);
    else
        text_puts(text, "null");
}

/* A test message has no alarm behind it. */
static bool is_episode(const struct notice *notice)
{
    return notice->event != NOTICE_TEST;
}
