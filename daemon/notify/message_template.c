/* SPDX-License-Identifier: MIT */
#include "notify/message_parts.h"

#include "base/memory.h"
#include "config/template.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

static void put_template_value(struct text *text, const struct notice *notice, const struct config *config,
                               enum template_value value);
static void put_link(struct text *text, const struct notice *notice, const struct config *config);
static void put_escaped(struct text *text, const char *value, enum body_type type);
static void put_entities(struct text *text, const char *value);
static void put_form(struct text *text, const char *value);

bool message_render_body(const struct notice *notice, const struct config *config, const struct recipient *recipient,
                         struct text *ret, struct error *error)
{
    struct template_piece piece;
    struct error broken = {0};
    CLEANUP(text_done) struct text value;
    CLEANUP(text_done) struct text marked;
    text_init(&value, MESSAGE_TEXT_LIMIT);
    text_init(&marked, MESSAGE_TEXT_LIMIT);
    for (const char *at = recipient->body; template_next(&at, &piece, &broken);) {
        if (piece.value == TEMPLATE_VALUE_COUNT) {
            text_add(ret, piece.bytes, piece.length);
            continue;
        }
        text_clear(&value);
        text_clear(&marked);
        put_template_value(&value, notice, config, piece.value);
        if (piece.has_entities && value.length)
            put_entities(&marked, value.bytes);
        const struct text *source = piece.has_entities ? &marked : &value;
        put_escaped(ret, source->length ? source->bytes : "", recipient->body_type);
        ret->is_full |= source->is_full;
    }
    if (broken.kind != ERROR_NONE)
        return fail(error, ERROR_CONFIG, "'body' %s", broken.text);
    if (ret->is_full)
        return fail(error, ERROR_INPUT, "notice '%s' is longer than %d bytes in its template, leave out '%%{text}'",
                    notice->uid, MESSAGE_EVENT_LIMIT);
    return true;
}

const char *message_body_kind(const struct recipient *recipient)
{
    static const char *const kinds[] = {[BODY_JSON] = "application/json",
                                        [BODY_FORM] = "application/x-www-form-urlencoded",
                                        [BODY_TEXT] = "text/plain; charset=UTF-8"};
    return recipient->body ? kinds[recipient->body_type] : "application/cloudevents+json; charset=UTF-8";
}

static void put_template_value(struct text *text, const struct notice *notice, const struct config *config,
                               enum template_value value)
{
    bool is_alarm = notice->event != NOTICE_TEST && !message_is_many(notice);
    switch (value) {
    case TEMPLATE_SUBJECT: message_render_subject(notice, config, text); break;
    case TEMPLATE_TEXT: message_render_text(notice, config, text); break;
    case TEMPLATE_SUMMARY: message_put_summary(text, notice, config); break;
    case TEMPLATE_EVENT: text_puts(text, notice_event_word(notice->event)); break;
    case TEMPLATE_PRIORITY: text_puts(text, priority_word(notice->priority)); break;
    case TEMPLATE_STATE: text_puts(text, is_alarm ? alarm_state_word(notice->alarm.state) : ""); break;
    case TEMPLATE_TITLE: text_puts(text, notice->rule_title); break;
    case TEMPLATE_RULE: text_puts(text, notice->alarm.rule); break;
    case TEMPLATE_PLACE: text_puts(text, notice->station_name); break;
    case TEMPLATE_STATION: text_puts(text, notice->alarm.station); break;
    case TEMPLATE_ADVICE: text_puts(text, notice->advice); break;
    case TEMPLATE_LINK: put_link(text, notice, config); break;
    case TEMPLATE_ALARM:
        if (is_alarm)
            text_printf(text, "%" PRId64, notice->alarm.id);
        break;
    case TEMPLATE_ID: text_puts(text, notice->uid); break;
    case TEMPLATE_NETWORK: text_puts(text, config->network_name); break;
    case TEMPLATE_VALUE_COUNT: break;
    }
}

static void put_link(struct text *text, const struct notice *notice, const struct config *config)
{
    size_t before = text->length;
    if (notice->event != NOTICE_TEST && !message_is_many(notice))
        message_render_page(notice, config, text);
    if (text->length == before)
        text_puts(text, config->public_url);
}

static void put_escaped(struct text *text, const char *value, enum body_type type)
{
    if (type == BODY_FORM) {
        put_form(text, value);
    } else if (type == BODY_JSON) { /* as a string, without its quotes */
        CLEANUP(text_done) struct text quoted;
        text_init(&quoted, (size_t)MESSAGE_TEXT_LIMIT * 6 + 2);
        text_json(&quoted, value);
        text_add(text, quoted.bytes + 1, quoted.length - 2);
    } else {
        for (const char *line = value; *line;) {
            size_t length = strcspn(line, "\n");
            CLEANUP(cleanup_free) char *copy = x_strndup(line, length);
            message_put_visible(text, copy);
            text_puts(text, line[length] ? "\n" : "");
            line += length + (line[length] == '\n');
        }
    }
}

static void put_entities(struct text *text, const char *value)
{
    for (const char *c = value; *c; c++)
        switch (*c) {
        case '&': text_puts(text, "&amp;"); break;
        case '<': text_puts(text, "&lt;"); break;
        case '>': text_puts(text, "&gt;"); break;
        default: text_putc(text, *c);
        }
}

/* What is not unreserved (RFC 3986) is escaped; a space too, so that no reader takes it for something else. */
static void put_form(struct text *text, const char *value)
{
    for (const char *c = value; *c; c++) {
        unsigned char byte = (unsigned char)*c;
        if (byte < 0x80 && (isalnum(byte) || strchr("-._~", byte)))
            text_putc(text, *c);
        else
            text_printf(text, "%%%02X", byte);
    }
}
