/* SPDX-License-Identifier: MIT */
/* One message about many alarms: a group of one rule, a summary in place of many messages, the digest of a day. */
#include "notify/message_parts.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

enum { PLACES_NAMED = 8 }; /* of a rule's alarms in a summary */

static void put_digest(struct text *text, const char *body);
static int64_t total(const struct notice *notice);
static int64_t count_still_so(const struct notice *notice);
static void put_count(struct text *text, const struct notice *notice);
static void put_item(struct text *text, const struct notice *item, bool names_rule);
static void put_urgent(struct text *text, const struct notice *notice);
static void put_by_rule(struct text *text, const struct notice *notice);
static bool is_first_of_rule(const struct notice *notice, size_t item);
static void put_rule_line(struct text *text, const struct notice *notice, size_t first);
static void put_rest(struct text *text, const struct notice *notice);
static bool is_alike(const struct notice *a, const struct notice *b);

bool message_is_many(const struct notice *notice)
{
    return notice->event == NOTICE_GROUP || notice->event == NOTICE_SUMMARY || notice->event == NOTICE_DIGEST;
}

void message_put_many_subject(struct text *text, const struct notice *notice, const struct config *config)
{
    if (notice->event == NOTICE_DIGEST) {
        text_printf(text, "Digest of %s", config->network_name);
        return;
    }
    if (notice->event == NOTICE_GROUP)
        text_printf(text, "%s: ", notice->rule_title);
    put_count(text, notice);
    if (notice->event == NOTICE_SUMMARY)
        text_printf(text, ", %s", config->network_name);
}

void message_put_many(struct text *text, const struct notice *notice, const struct config *config)
{
    if (notice->event == NOTICE_DIGEST) {
        put_digest(text, notice->body ? notice->body : "");
    } else {
        bool is_group = notice->event == NOTICE_GROUP;
        message_put_paragraph(text, is_group ? notice->rule_title : "Several alarms", 0, 0);
        put_count(text, notice);
        text_puts(text, "\n\n");
        if (notice->body && *notice->body) {
            message_put_paragraph(text, notice->body, 0, 0);
            text_putc(text, '\n');
        }
        if (is_group)
            for (size_t k = 0; k < notice->item_count; k++)
                put_item(text, &notice->items[k], false);
        else
            put_urgent(text, notice), put_by_rule(text, notice);
        put_rest(text, notice);
        if (is_group && *notice->advice) {
            text_puts(text, "\nWhat to do\n");
            message_put_paragraph(text, notice->advice, 0, 0);
        }
    }
    text_puts(text, "\nTo look further\n");
    if (*config->public_url)
        text_printf(text, "%s\n", config->public_url);
    text_puts(text, "rillward alarms -c FILE\nrillward alarms -c FILE acknowledge ALARM...\n");
    text_puts(text, "\nPlease note\n");
    message_put_paragraph(text, message_caution, 0, 0);
}

/* Its lines, those of a list indented where they go on. */
static void put_digest(struct text *text, const char *body)
{
    for (const char *line = body; *line;) {
        size_t length = strcspn(line, "\n");
        CLEANUP(cleanup_free) char *copy = x_strndup(line, length);
        message_put_paragraph(text, copy, text_starts_with(copy, "- ") ? 2 : 0, text_starts_with(copy, "- ") ? 2 : 0);
        line += length + (line[length] == '\n');
    }
}

static int64_t total(const struct notice *notice)
{
    int64_t listed = (int64_t)notice->item_count;
    return notice->item_total > listed ? notice->item_total : listed;
}

static int64_t count_still_so(const struct notice *notice)
{
    int64_t count = 0;
    for (size_t k = 0; k < notice->item_count; k++)
        count += message_is_still_so(&notice->items[k]);
    return count;
}

/* "10 alarms, 8 still so"; of many only so many are at hand to be counted. */
static void put_count(struct text *text, const struct notice *notice)
{
    bool is_whole = total(notice) == (int64_t)notice->item_count;
    text_printf(text, "%" PRId64 " alarm%s, %s%" PRId64 " still so", total(notice), total(notice) == 1 ? "" : "s",
                is_whole ? "" : "at least ", count_still_so(notice));
}

/* "- Weir pool: no data for 12 d 8 h, still so" and below it since when, in the station's time. */
static void put_item(struct text *text, const struct notice *item, bool names_rule)
{
    struct text line;
    text_init(&line, MESSAGE_ROW_LIMIT);
    text_puts(&line, "- ");
    if (names_rule) {
        message_put_visible(&line, item->rule_title);
        text_puts(&line, message_kind(item) == RULE_UNREADABLE_DROP ? ", " : " at ");
    }
    message_put_visible(&line, item->station_name);
    text_puts(&line, ": ");
    message_put_state(&line, item);
    message_put_paragraph(text, line.bytes, 2, 2);
    text_clear(&line);
    message_put_time(&line, item->alarm.episode.start, item->utc_offset);
    int64_t late = item->alarm.learnt - item->alarm.episode.start;
    char duration[TIMESTAMP_SIZE];
    if (item->alarm.learnt != TIME_NONE && late >= MINUTE_MS)
        text_printf(&line, ", learnt %s later", duration_print(late, duration));
    text_printf(&line, ", alarm %lld", (long long)item->alarm.id);
    if (message_kind(item) == RULE_UNREADABLE_DROP) {
        text_puts(&line, ": ");
        message_put_visible(&line, item->alarm.episode.detail);
    }
    text_puts(text, "  since");
    message_put_paragraph(text, line.bytes, 2, 7);
    text_done(&line);
}

static void put_urgent(struct text *text, const struct notice *notice)
{
    bool is_first = true;
    for (size_t k = 0; k < notice->item_count; k++) {
        if (notice->items[k].priority != PRIORITY_HIGH)
            continue;
        text_puts(text, is_first ? "High priority\n" : "");
        is_first = false;
        put_item(text, &notice->items[k], true);
    }
    text_puts(text, is_first ? "" : "\n");
}

static void put_by_rule(struct text *text, const struct notice *notice)
{
    bool is_first = true;
    for (size_t k = 0; k < notice->item_count; k++) {
        if (notice->items[k].priority == PRIORITY_HIGH || !is_first_of_rule(notice, k))
            continue;
        text_puts(text, is_first ? "By rule\n" : "");
        is_first = false;
        put_rule_line(text, notice, k);
    }
}

static bool is_first_of_rule(const struct notice *notice, size_t item)
{
    for (size_t k = 0; k < item; k++)
        if (is_alike(&notice->items[k], &notice->items[item]))
            return false;
    return true;
}

/* "- Silent (medium): 8 alarms, 8 still so: Weir pool, Mill race, ..." */
static void put_rule_line(struct text *text, const struct notice *notice, size_t first)
{
    size_t count = 0, still_so = 0;
    struct text places, line;
    text_init(&places, MESSAGE_ROW_LIMIT);
    text_init(&line, MESSAGE_ROW_LIMIT);
    for (size_t k = first; k < notice->item_count; k++) {
        const struct notice *item = &notice->items[k];
        if (!is_alike(item, &notice->items[first]))
            continue;
        still_so += message_is_still_so(item);
        if (count++ < PLACES_NAMED) {
            text_puts(&places, count > 1 ? ", " : "");
            message_put_visible(&places, item->station_name);
        }
    }
    text_puts(&line, "- ");
    message_put_visible(&line, notice->items[first].rule_title);
    text_printf(&line, " (%s): %zu alarm%s, %zu still so: %s", priority_word(notice->items[first].priority), count,
                count == 1 ? "" : "s", still_so, places.bytes);
    if (count > PLACES_NAMED)
        text_printf(&line, " and %zu more", count - PLACES_NAMED);
    message_put_paragraph(text, line.bytes, 2, 2);
    text_done(&places);
    text_done(&line);
}

static void put_rest(struct text *text, const struct notice *notice)
{
    int64_t rest = total(notice) - (int64_t)notice->item_count;
    if (rest > 0)
        text_printf(text, "and %" PRId64 " more\n", rest);
}

static bool is_alike(const struct notice *a, const struct notice *b)
{
    return a->priority == b->priority && strcmp(a->alarm.rule, b->alarm.rule) == 0;
}
