/* SPDX-License-Identifier: MIT */
/* One message about many alarms: a group of one rule, a summary in place of many messages, the digest of a day. */
#include "notify/message_parts.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

enum { PLACES_NAMED = 8 }; /* of a rule's alarms in a summary */

static void add_digest(struct message_parts *ret, const char *body);
static int64_t total(const struct notice *notice);
static int64_t count_still_so(const struct notice *notice);
static void put_count(struct text *text, const struct notice *notice);
static void add_item(struct message_parts *ret, const struct notice *item, bool names_rule);
static void add_urgent(struct message_parts *ret, const struct notice *notice);
static void add_by_rule(struct message_parts *ret, const struct notice *notice);
static bool is_first_of_rule(const struct notice *notice, size_t item);
static void add_rule_line(struct message_parts *ret, const struct notice *notice, size_t first);
static void add_rest(struct message_parts *ret, const struct notice *notice);
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

void message_compose_many(const struct notice *notice, const struct config *config, struct message_parts *ret)
{
    bool is_group = notice->event == NOTICE_GROUP;
    if (notice->event == NOTICE_DIGEST) {
        add_digest(ret, notice->body ? notice->body : "");
    } else {
        CLEANUP(text_done) struct text title;
        text_init(&title, MESSAGE_ROW_LIMIT);
        text_printf(&title, "%s\n", is_group ? notice->rule_title : "Several alarms");
        put_count(&title, notice);
        message_add(ret, PART_TITLE, NULL, &title);
        if (notice->body)
            message_add_words(ret, PART_PARAGRAPH, notice->body);
        for (size_t k = 0; is_group && k < notice->item_count; k++)
            add_item(ret, &notice->items[k], false);
        if (!is_group) {
            add_urgent(ret, notice);
            add_by_rule(ret, notice);
        }
        add_rest(ret, notice);
    }
    if (is_group && *notice->advice) {
        message_add_words(ret, PART_HEADING, "What to do");
        message_add_words(ret, PART_PARAGRAPH, notice->advice);
    }
    message_add_words(ret, PART_HEADING, "To look further");
    message_add_words(ret, PART_LINK, config->public_url);
    message_add_words(ret, PART_COMMAND, "rillward alarms -c FILE");
    message_add_words(ret, PART_COMMAND, "rillward alarms -c FILE acknowledge ALARM...");
}

/* Lines that begin with "- " are a list, and what stands above one is its heading. */
static void add_digest(struct message_parts *ret, const char *body)
{
    for (const char *line = body; *line;) {
        size_t length = strcspn(line, "\n");
        const char *next = line + length + (line[length] == '\n');
        bool is_item = text_starts_with(line, "- ");
        CLEANUP(cleanup_free) char *copy = x_strndup(line + (is_item ? 2 : 0), length - (is_item ? 2 : 0));
        message_add_words(ret, is_item                            ? PART_ITEM
                               : text_starts_with(next, "- ") ? PART_HEADING
                                                                  : PART_PARAGRAPH, copy);
        line = next;
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

/* "Weir pool: no data for 12 d 8 h, still so" and below it since when, in the station's time. */
static void add_item(struct message_parts *ret, const struct notice *item, bool names_rule)
{
    CLEANUP(text_done) struct text line;
    text_init(&line, MESSAGE_ROW_LIMIT);
    if (names_rule) {
        message_put_visible(&line, item->rule_title);
        text_puts(&line, message_is_of_water(item) ? " at " : ", ");
    }
    message_put_visible(&line, item->station_name);
    text_puts(&line, ": ");
    message_put_state(&line, item);
    text_puts(&line, "\nsince ");
    message_put_time(&line, item->alarm.episode.start, item->utc_offset);
    int64_t late = item->alarm.learnt - item->alarm.episode.start;
    char duration[TIMESTAMP_SIZE];
    if (item->alarm.learnt != TIME_NONE && late >= MINUTE_MS)
        text_printf(&line, ", learnt %s later", duration_print(late, duration));
    text_printf(&line, ", alarm %lld", (long long)item->alarm.id);
    if (!message_is_of_water(item)) {
        text_puts(&line, ": ");
        message_put_visible(&line, item->alarm.episode.detail);
    }
    message_add(ret, PART_ITEM, NULL, &line);
}

static void add_urgent(struct message_parts *ret, const struct notice *notice)
{
    bool is_first = true;
    for (size_t k = 0; k < notice->item_count; k++) {
        if (notice->items[k].priority != PRIORITY_HIGH)
            continue;
        if (is_first)
            message_add_words(ret, PART_HEADING, "High priority");
        is_first = false;
        add_item(ret, &notice->items[k], true);
    }
}

static void add_by_rule(struct message_parts *ret, const struct notice *notice)
{
    bool is_first = true;
    for (size_t k = 0; k < notice->item_count; k++) {
        if (notice->items[k].priority == PRIORITY_HIGH || !is_first_of_rule(notice, k))
            continue;
        if (is_first)
            message_add_words(ret, PART_HEADING, "By rule");
        is_first = false;
        add_rule_line(ret, notice, k);
    }
}

static bool is_first_of_rule(const struct notice *notice, size_t item)
{
    for (size_t k = 0; k < item; k++)
        if (is_alike(&notice->items[k], &notice->items[item]))
            return false;
    return true;
}

/* "Silent (medium): 8 alarms, 8 still so: Weir pool, Mill race, ..." */
static void add_rule_line(struct message_parts *ret, const struct notice *notice, size_t first)
{
    size_t count = 0, still_so = 0;
    CLEANUP(text_done) struct text places;
    CLEANUP(text_done) struct text line;
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
    message_put_visible(&line, notice->items[first].rule_title);
    text_printf(&line, " (%s): %zu alarm%s, %zu still so: %s", priority_word(notice->items[first].priority), count,
                count == 1 ? "" : "s", still_so, places.bytes);
    if (count > PLACES_NAMED)
        text_printf(&line, " and %zu more", count - PLACES_NAMED);
    message_add(ret, PART_ITEM, NULL, &line);
}

static void add_rest(struct message_parts *ret, const struct notice *notice)
{
    int64_t rest = total(notice) - (int64_t)notice->item_count;
    if (rest <= 0)
        return;
    CLEANUP(cleanup_free) char *words = x_printf("and %" PRId64 " more", rest);
    message_add_words(ret, PART_ITEM, words);
}

static bool is_alike(const struct notice *a, const struct notice *b)
{
    return a->priority == b->priority && strcmp(a->alarm.rule, b->alarm.rule) == 0;
}
