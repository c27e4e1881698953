/* SPDX-License-Identifier: MIT */
#include "notify/message_parts.h"

#include "base/memory.h"
#include "base/timestamp.h"

#include <stdlib.h>
#include <string.h>

static void compose_test(const struct notice *notice, const struct config *config, struct message_parts *ret);
static void compose_alarm(const struct notice *notice, const struct config *config, struct message_parts *ret);
static void add_facts(struct message_parts *ret, const struct notice *notice);
static void add_value_row(struct message_parts *ret, const char *label, const struct notice *notice, double value,
                          int64_t time);
static void put_place(struct text *text, const struct notice *notice);
static void put_learnt(struct text *row, const struct notice *notice);
static void add_advice(struct message_parts *ret, const struct notice *notice);
static void add_answer(struct message_parts *ret, const struct notice *notice, const struct config *config);
static void add_where_to_look(struct message_parts *ret, const struct notice *notice, const struct config *config);
static void add_explain(struct message_parts *ret, const struct notice *notice, const struct config *config);
static void add_foot(struct message_parts *ret, const struct notice *notice, const struct config *config);

void message_parts_done(struct message_parts *parts)
{
    for (size_t k = 0; k < parts->count; k++)
        free(parts->list[k].text);
    free(parts->list);
    *parts = (struct message_parts){0};
}

void message_add(struct message_parts *parts, enum part_kind kind, const char *label, struct text *text)
{
    parts->is_full |= text->is_full;
    if (text->length > 0) {
        parts->list = x_grow(parts->list, parts->count, &parts->capacity, sizeof *parts->list);
        parts->list[parts->count++] = (struct message_part){kind, label, x_strdup(text->bytes)};
    }
    text_clear(text);
}

void message_add_words(struct message_parts *parts, enum part_kind kind, const char *words)
{
    CLEANUP(text_done) struct text text;
    text_init(&text, MESSAGE_TEXT_LIMIT);
    text_puts(&text, words);
    message_add(parts, kind, NULL, &text);
}

void message_compose(const struct notice *notice, const struct config *config, struct message_parts *ret)
{
    *ret = (struct message_parts){0};
    if (notice->event == NOTICE_TEST)
        compose_test(notice, config, ret);
    else if (message_is_many(notice))
        message_compose_many(notice, config, ret);
    else
        compose_alarm(notice, config, ret);
    if (notice->event != NOTICE_TEST) {
        message_add_words(ret, PART_HEADING, "Please note");
        message_add_words(ret, PART_PARAGRAPH, message_caution);
    }
    add_foot(ret, notice, config);
}

/* The first of what is not the title; where there is nothing, the title. */
void message_put_summary(struct text *text, const struct notice *notice, const struct config *config)
{
    struct message_parts parts;
    if (notice->event != NOTICE_TEST && !message_is_many(notice)) {
        message_put_sentences(text, notice);
        return;
    }
    message_compose(notice, config, &parts);
    size_t first = parts.count > 1 && parts.list[0].kind == PART_TITLE && parts.list[1].kind == PART_PARAGRAPH;
    text_puts(text, parts.list[first].text);
    message_parts_done(&parts);
}

static void compose_test(const struct notice *notice, const struct config *config, struct message_parts *ret)
{
    CLEANUP(cleanup_free)
    char *words = x_printf("It was sent to '%s' by %s. When you read this, alarms of this network reach you here.",
                           notice->recipient, config->network_name);
    message_add_words(ret, PART_TITLE, "This is a test. Nothing is wrong at the water.");
    message_add_words(ret, PART_PARAGRAPH, words);
}

static void compose_alarm(const struct notice *notice, const struct config *config, struct message_parts *ret)
{
    CLEANUP(text_done) struct text text;
    text_init(&text, MESSAGE_TEXT_LIMIT);
    message_put_visible(&text, notice->rule_title);
    text_putc(&text, '\n');
    put_place(&text, notice);
    message_add(ret, PART_TITLE, NULL, &text);
    bool is_withdrawn = message_is_withdrawn(notice);
    if (notice->body && !is_withdrawn)
        message_add_words(ret, PART_PARAGRAPH, notice->body);
    message_put_sentences(&text, notice);
    message_add(ret, PART_STATE, NULL, &text);
    if (notice->body && is_withdrawn) /* why */
        message_add_words(ret, PART_PARAGRAPH, notice->body);
    add_facts(ret, notice);
    add_advice(ret, notice);
    add_answer(ret, notice, config);
    add_where_to_look(ret, notice, config);
}

static void put_place(struct text *text, const struct notice *notice)
{
    message_put_visible(text, notice->station_name);
    if (strcmp(notice->station_name, notice->alarm.station) == 0)
        return;
    text_puts(text, " (");
    message_put_visible(text, notice->alarm.station);
    text_putc(text, ')');
}

static void add_facts(struct message_parts *ret, const struct notice *notice)
{
    const struct episode *episode = &notice->alarm.episode;
    bool is_still_so = message_is_still_so(notice);
    CLEANUP(text_done) struct text row;
    text_init(&row, MESSAGE_ROW_LIMIT);
    message_add_words(ret, PART_HEADING,
                      notice->utc_offset ? "Station standard time (UTC in brackets)" : "Times are UTC");
    message_put_visible(&row, episode->detail);
    message_add(ret, PART_ROW, "Seen", &row);
    message_put_time(&row, episode->start, notice->utc_offset);
    message_add(ret, PART_ROW, "Began", &row);
    if (message_has_value(notice))
        add_value_row(ret, "Worst", notice, notice->worst, episode->worst_time);
    if (message_has_value(notice) && is_still_so)
        add_value_row(ret, "Last", notice, notice->last, episode->last_time);
    if (is_still_so)
        text_puts(&row, "not seen yet");
    else if (!message_is_withdrawn(notice))
        message_put_time(&row, episode->end, notice->utc_offset);
    message_add(ret, PART_ROW, "End", &row);
    if (notice->data_until != TIME_NONE && !(is_still_so && notice->data_until == episode->last_time)) {
        message_put_time(&row, notice->data_until, notice->utc_offset);
        message_add(ret, PART_ROW, "Data to", &row);
    }
    put_learnt(&row, notice);
    message_add(ret, PART_ROW, "Learnt", &row);
}

static void add_value_row(struct message_parts *ret, const char *label, const struct notice *notice, double value,
                          int64_t time)
{
    CLEANUP(text_done) struct text row;
    text_init(&row, MESSAGE_ROW_LIMIT);
    message_put_value(&row, notice, value);
    text_putc(&row, '\n');
    message_put_time(&row, time, notice->utc_offset);
    message_add(ret, PART_ROW, label, &row);
}

/* When we learnt of it, and why that can be long after it happened. */
static void put_learnt(struct text *row, const struct notice *notice)
{
    const struct alarm *alarm = &notice->alarm;
    char duration[TIMESTAMP_SIZE];
    message_put_time(row, alarm->learnt, notice->utc_offset);
    int64_t late = alarm->learnt - alarm->episode.start;
    if (alarm->learnt == TIME_NONE || alarm->episode.start == TIME_NONE || late < MINUTE_MS)
        return;
    text_printf(row, "\n%s after it began", duration_print(late, duration));
    if (message_has_value(notice) && late >= HOUR_MS)
        text_puts(row, ": a logger cannot send from under water, so its data arrive in batches, when a crew "
                       "has read it out");
}

static void add_advice(struct message_parts *ret, const struct notice *notice)
{
    if (!*notice->advice || message_is_withdrawn(notice))
        return;
    message_add_words(ret, PART_HEADING, message_is_still_so(notice) ? "What to do" : "What to do while it is so");
    message_add_words(ret, PART_PARAGRAPH, notice->advice);
}

/* By a command, and where the settings trust a folder with it, by a file that any phone can write. */
static void add_answer(struct message_parts *ret, const struct notice *notice, const struct config *config)
{
    if (notice->alarm.state != ALARM_UNACKNOWLEDGED && notice->alarm.state != ALARM_RETURNED_UNACKNOWLEDGED)
        return;
    CLEANUP(text_done) struct text line;
    text_init(&line, MESSAGE_ROW_LIMIT);
    message_add_words(ret, PART_HEADING, "To acknowledge (you have seen it)");
    text_printf(&line, "rillward alarms -c FILE acknowledge %lld", (long long)notice->alarm.id);
    message_add(ret, PART_COMMAND, NULL, &line);
    if (config->answers.count == 0)
        return;
    text_puts(&line, "Or without a shell: put a file named like ");
    message_put_visible(&line, config->answers.words[0]);
    text_puts(&line, " into the shared folder, with these two lines and your name");
    message_add(ret, PART_PARAGRAPH, NULL, &line);
    message_add_words(ret, PART_COMMAND, "alarm,answer,who");
    text_printf(&line, "%lld,acknowledge,NAME", (long long)notice->alarm.id);
    message_add(ret, PART_COMMAND, NULL, &line);
}

static void add_where_to_look(struct message_parts *ret, const struct notice *notice, const struct config *config)
{
    CLEANUP(text_done) struct text line;
    text_init(&line, MESSAGE_ROW_LIMIT);
    message_add_words(ret, PART_HEADING, "To look further");
    message_render_page(notice, config, &line);
    message_add(ret, PART_LINK, NULL, &line);
    message_add_words(ret, PART_COMMAND, "rillward status -c FILE");
    add_explain(ret, notice, config);
}

/* Broken as a shell allows it: it is there to be copied. */
static void add_explain(struct message_parts *ret, const struct notice *notice, const struct config *config)
{
    const char *station = notice->alarm.station;
    if (!message_has_value(notice) || notice->alarm.episode.worst_time == TIME_NONE ||
        config_find_station(config, station) == config->station_count)
        return;
    char time[TIMESTAMP_SIZE];
    timestamp_print(notice->alarm.episode.worst_time, time);
    bool is_long = strlen(station) + strlen(time) + strlen(notice->quantity) >
                   MESSAGE_COLUMNS - sizeof "rillward explain -c FILE  ";
    CLEANUP(text_done) struct text line;
    text_init(&line, MESSAGE_ROW_LIMIT);
    text_printf(&line, "rillward explain -c FILE %s%s %s %s", is_long ? "\\\n    " : "", station, time,
                notice->quantity);
    message_add(ret, PART_COMMAND, NULL, &line);
}

static void add_foot(struct message_parts *ret, const struct notice *notice, const struct config *config)
{
    CLEANUP(text_done) struct text line;
    text_init(&line, MESSAGE_ROW_LIMIT);
    if (notice->event != NOTICE_TEST && !message_is_many(notice)) {
        text_printf(&line, "Alarm %lld, message %lld: %s. State: %s. Priority: %s. Rule: ", (long long)notice->alarm.id,
                    (long long)notice->alarm.sequence, notice_event_word(notice->event),
                    alarm_state_word(notice->alarm.state), priority_word(notice->priority));
        message_put_visible(&line, notice->alarm.rule);
        text_printf(&line, " (%s).\n", notice->rule_kind);
    }
    text_puts(&line, config->network_name);
    if (*config->operator_name)
        text_printf(&line, ", %s", config->operator_name);
    if (*config->contact)
        text_printf(&line, ", %s", config->contact);
    message_add(ret, PART_FOOT, NULL, &line);
}
