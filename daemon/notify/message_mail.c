/* SPDX-License-Identifier: MIT */
#include "notify/message_parts.h"

#include "base/memory.h"
#include "base/timestamp.h"
#include "config/address.h"
#include "notify/mime.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
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

static void put_limit(struct text *text, const struct notice *notice);

static void put_heading(struct text *text, const struct notice *notice);
static void put_state(struct text *text, const struct notice *notice);
static void put_still_so(struct text *text, const struct notice *notice);
static void put_over(struct text *text, const struct notice *notice);
static void put_facts(struct text *text, const struct notice *notice);
static void put_value_row(struct text *text, const char *label, const struct notice *notice, double value,
                          int64_t time);
static void put_learnt(struct text *row, const struct notice *notice);
static void put_advice(struct text *text, const struct notice *notice);
static void put_where_to_look(struct text *text, const struct notice *notice, const struct config *config);
static void put_footer(struct text *text, const struct notice *notice, const struct config *config);
static void put_test(struct text *text, const struct notice *notice, const struct config *config);

static bool put_thread(struct text *text, const struct notice *notice, const struct config *config,
                       const char *domain, struct error *error);
static bool is_atom(const char *string);

/* ---- The mail ---- */

/* One part today. An HTML part and a picture would make it multipart: their headers start where this one's
 * Content-Type is. */
bool message_render_mail(const struct notice *notice, const struct config *config, const char *address,
                         struct text *ret, struct error *error)
{
    const char *from = config->mail.from;
    if (!from || !address_is_mail(from))
        return fail(error, ERROR_CONFIG,
                    "mail: 'from' must be one plain address, such as rillward@example.org");
    if (!address || !address_is_mail(address))
        return fail(error, ERROR_CONFIG,
                    "recipient '%s' must have one plain address, such as desk@example.org",
                    notice->recipient);
    struct text subject, body;
    text_init(&subject, MESSAGE_MAIL_LIMIT);
    text_init(&body, MESSAGE_MAIL_LIMIT);
    message_render_subject(notice, config, &subject);
    message_render_text(notice, config, &body);
    mime_put_date(ret, notice->created);
    mime_put_mailbox(ret, "From", config->network_name, from);
    mime_put_mailbox(ret, "To", "", address);
    mime_put_header(ret, "Subject", subject.bytes);
    bool is_good = put_thread(ret, notice, config, strrchr(from, '@') + 1, error);
    text_puts(ret, "Auto-Submitted: auto-generated\r\n");
    if (notice->priority == PRIORITY_HIGH && notice->event != NOTICE_TEST)
        text_puts(ret, "Importance: high\r\n");
    text_puts(ret, "MIME-Version: 1.0\r\n"
                   "Content-Type: text/plain; charset=utf-8\r\n"
                   "Content-Transfer-Encoding: quoted-printable\r\n"
                   "\r\n");
    mime_put_quoted_printable(ret, body.bytes);
    if (is_good && (ret->is_full || body.is_full))
        is_good =
            fail(error, ERROR_INPUT, "notice '%s' is longer than %d bytes as mail, shorten the rule's advice",
                 notice->uid, MESSAGE_MAIL_LIMIT);
    text_done(&subject);
    text_done(&body);
    return is_good;
}

void message_render_subject(const struct notice *notice, const struct config *config, struct text *ret)
{
    if (notice->event == NOTICE_TEST) {
        text_printf(ret, "[TEST] Message from %s", config->network_name);
        return;
    }
    text_putc(ret, '[');
    for (const char *c = priority_word(notice->priority); *c; c++)
        text_putc(ret, (char)toupper((unsigned char)*c));
    text_puts(ret, "] ");
    if (message_is_many(notice)) {
        message_put_many_subject(ret, notice, config);
        return;
    }
    if (notice->event == NOTICE_REMINDED || notice->event == NOTICE_ESCALATED)
        text_puts(ret, notice->event == NOTICE_REMINDED ? "Reminder: " : "Nobody answers: ");
    text_printf(ret, "%s%s%s: ", notice->rule_title,
                message_kind(notice) == RULE_UNREADABLE_DROP ? ", " : " at ", notice->station_name);
    message_put_state(ret, notice);
}

void message_render_text(const struct notice *notice, const struct config *config, struct text *ret)
{
    if (notice->event == NOTICE_TEST) {
        put_test(ret, notice, config);
    } else if (message_is_many(notice)) {
        message_put_many(ret, notice, config);
    } else {
        put_heading(ret, notice);
        if (notice->body && *notice->body) {
            message_put_paragraph(ret, notice->body, 0, 0);
            text_putc(ret, '\n');
        }
        put_state(ret, notice);
        put_facts(ret, notice);
        put_advice(ret, notice);
        put_where_to_look(ret, notice, config);
        text_puts(ret, "\nPlease note\n");
        message_put_paragraph(ret, message_caution, 0, 0);
    }
    put_footer(ret, notice, config);
}

/* Every mail about one alarm names one root, which nobody has to have received: mail programs show them
 * together even where the first was lost. Message-ID repeats with each attempt. */
static bool put_thread(struct text *text, const struct notice *notice, const struct config *config,
                       const char *domain, struct error *error)
{
    if (!is_atom(notice->uid))
        return fail(error, ERROR_INPUT, "'%s' is no uid of a notice, expected letters, digits and '-'",
                    notice->uid);
    if (!is_atom(config->network_id))
        return fail(error, ERROR_CONFIG, "network: 'id' must be letters, digits, '-', '_' and '.'");
    text_printf(text, "Message-ID: <%s@%s>\r\n", notice->uid, domain);
    if (notice->event == NOTICE_TEST || message_is_many(notice))
        return true;
    CLEANUP(cleanup_free)
    char *root = x_printf("<alarm-%lld.1.%s@%s>", (long long)notice->alarm.id, config->network_id, domain);
    if (notice->event != NOTICE_RAISED)
        text_printf(text, "In-Reply-To: %s\r\n", root);
    text_printf(text, "References: %s\r\n", root);
    return true;
}

static bool is_atom(const char *string)
{
    if (!*string || string[0] == '.' || strlen(string) > 250)
        return false;
    for (const char *c = string; *c; c++)
        if ((unsigned char)*c >= 0x80 || !(isalnum((unsigned char)*c) || strchr("-_.", *c)) ||
            (c[0] == '.' && c[1] == '.'))
            return false;
    return !text_ends_with(string, ".");
}

/* ---- Values ---- */

enum rule_kind message_kind(const struct notice *notice)
{
    for (enum rule_kind kind = 0; kind < RULE_KIND_COUNT; kind++)
        if (strcmp(notice->rule_kind, rule_kind_word(kind)) == 0)
            return kind;
    return RULE_KIND_COUNT;
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

void message_put_state(struct text *text, const struct notice *notice)
{
    char duration[TIMESTAMP_SIZE];
    bool is_still_so = message_is_still_so(notice);
    if (message_is_withdrawn(notice)) {
        text_puts(text, "withdrawn, it was not so");
    } else if (message_has_value(notice)) {
        text_puts(text, is_still_so ? "" : "over, worst ");
        message_put_value(text, notice, is_still_so && isfinite(notice->last) ? notice->last : notice->worst);
        text_puts(text, is_still_so ? ", still so" : "");
    } else if (missing_word(notice)) {
        const char *before = is_still_so || message_kind(notice) == RULE_GAP ? "" : "over, ";
        text_printf(text, "%sno %s for %s%s", before, missing_word(notice),
                    duration_print((int64_t)notice->alarm.episode.worst, duration), is_still_so ? ", still so" : "");
    } else {
        text_puts(text, is_still_so ? "still so" : "over");
    }
}

/* NULL where nothing is waited for. */
static const char *missing_word(const struct notice *notice)
{
    enum rule_kind kind = message_kind(notice);
    return kind < RULE_KIND_COUNT && isfinite(notice->alarm.episode.worst) ? waiting_words[kind].missing : NULL;
}

/* ---- The text part, from top to bottom ---- */

static void put_heading(struct text *text, const struct notice *notice)
{
    struct text heading;
    text_init(&heading, MESSAGE_ROW_LIMIT);
    message_put_visible(&heading, notice->rule_title);
    text_putc(&heading, '\n');
    message_put_visible(&heading, notice->station_name);
    if (strcmp(notice->station_name, notice->alarm.station) != 0) {
        text_puts(&heading, " (");
        message_put_visible(&heading, notice->alarm.station);
        text_putc(&heading, ')');
    }
    message_put_paragraph(text, heading.bytes, 0, 0);
    text_done(&heading);
    text_putc(text, '\n');
}

static void put_state(struct text *text, const struct notice *notice)
{
    struct text state;
    text_init(&state, MESSAGE_ROW_LIMIT);
    if (message_is_withdrawn(notice))
        text_puts(&state,
                  "WITHDRAWN: data or notes that came later show that it was not so. What was said before no "
                  "longer holds.");
    else if (message_is_still_so(notice))
        put_still_so(&state, notice);
    else
        put_over(&state, notice);
    message_put_paragraph(text, state.bytes, 0, 0);
    text_done(&state);
    text_putc(text, '\n');
}

static void put_still_so(struct text *text, const struct notice *notice)
{
    const struct episode *episode = &notice->alarm.episode;
    char duration[TIMESTAMP_SIZE];
    if (message_has_value(notice)) {
        text_puts(text, "STILL SO at the last sample: ");
        message_put_value(text, notice, isfinite(notice->last) ? notice->last : notice->worst);
        put_limit(text, notice);
        text_puts(text, ".");
        if (episode->last_time != TIME_NONE && notice->created > episode->last_time)
            text_printf(text,
                        "\nThat sample was already %s old when this was written. What the water does now is "
                        "not known.",
                        duration_print(notice->created - episode->last_time, duration));
    } else if (missing_word(notice)) {
        text_printf(text, "STILL SO: no %s for %s.", missing_word(notice),
                    duration_print((int64_t)episode->worst, duration));
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

static void put_facts(struct text *text, const struct notice *notice)
{
    const struct episode *episode = &notice->alarm.episode;
    bool is_still_so = message_is_still_so(notice);
    struct text row;
    text_init(&row, MESSAGE_ROW_LIMIT);
    text_puts(text, notice->utc_offset ? "Station standard time (UTC in brackets)\n" : "Times are UTC\n");
    message_put_visible(&row, episode->detail);
    message_put_row(text, "Seen", &row);
    message_put_time(&row, episode->start, notice->utc_offset);
    message_put_row(text, "Began", &row);
    if (message_has_value(notice))
        put_value_row(text, "Worst", notice, notice->worst, episode->worst_time);
    if (message_has_value(notice) && is_still_so)
        put_value_row(text, "Last", notice, notice->last, episode->last_time);
    if (is_still_so)
        text_puts(&row, "not seen yet");
    else if (!message_is_withdrawn(notice))
        message_put_time(&row, episode->end, notice->utc_offset);
    message_put_row(text, "End", &row);
    if (notice->data_until != TIME_NONE && !(is_still_so && notice->data_until == episode->last_time)) {
        message_put_time(&row, notice->data_until, notice->utc_offset);
        message_put_row(text, "Data to", &row);
    }
    put_learnt(&row, notice);
    message_put_row(text, "Learnt", &row);
    text_done(&row);
}

static void put_value_row(struct text *text, const char *label, const struct notice *notice, double value,
                          int64_t time)
{
    struct text row;
    text_init(&row, MESSAGE_ROW_LIMIT);
    message_put_value(&row, notice, value);
    text_putc(&row, '\n');
    message_put_time(&row, time, notice->utc_offset);
    message_put_row(text, label, &row);
    text_done(&row);
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

static void put_advice(struct text *text, const struct notice *notice)
{
    if (!*notice->advice || message_is_withdrawn(notice))
        return;
    text_puts(text, message_is_still_so(notice) ? "\nWhat to do\n" : "\nWhat to do while it is so\n");
    message_put_paragraph(text, notice->advice, 0, 0);
}

/* Commands are broken as a shell allows it: they are there to be copied. */
static void put_where_to_look(struct text *text, const struct notice *notice, const struct config *config)
{
    text_puts(text, "\nTo look further\n");
    size_t before = text->length;
    message_render_page(notice, config, text);
    if (text->length > before)
        text_putc(text, '\n');
    if (notice->alarm.state == ALARM_UNACKNOWLEDGED || notice->alarm.state == ALARM_RETURNED_UNACKNOWLEDGED)
        text_printf(text, "rillward alarms -c FILE acknowledge %lld\n", (long long)notice->alarm.id);
    text_puts(text, "rillward status -c FILE\n");
    const char *station = notice->alarm.station;
    if (!message_has_value(notice) || notice->alarm.episode.worst_time == TIME_NONE ||
        config_find_station(config, station) == config->station_count)
        return;
    char time[TIMESTAMP_SIZE];
    timestamp_print(notice->alarm.episode.worst_time, time);
    bool is_long = strlen(station) + strlen(time) + strlen(notice->quantity) >
                   MESSAGE_COLUMNS - sizeof "rillward explain -c FILE  ";
    text_printf(text, "rillward explain -c FILE %s%s %s %s\n", is_long ? "\\\n    " : "", station, time,
                notice->quantity);
}

static void put_footer(struct text *text, const struct notice *notice, const struct config *config)
{
    struct text line;
    text_init(&line, MESSAGE_ROW_LIMIT);
    text_puts(text, "\n");
    if (notice->event != NOTICE_TEST && !message_is_many(notice)) {
        text_printf(&line, "Alarm %lld, message %lld: %s. State: %s. Priority: %s. Rule: ",
                    (long long)notice->alarm.id, (long long)notice->alarm.sequence,
                    notice_event_word(notice->event), alarm_state_word(notice->alarm.state),
                    priority_word(notice->priority));
        message_put_visible(&line, notice->alarm.rule);
        text_printf(&line, " (%s).\n", notice->rule_kind);
    }
    text_puts(&line, config->network_name);
    if (*config->operator_name)
        text_printf(&line, ", %s", config->operator_name);
    if (*config->contact)
        text_printf(&line, ", %s", config->contact);
    message_put_paragraph(text, line.bytes, 0, 0);
    text_done(&line);
}

static void put_test(struct text *text, const struct notice *notice, const struct config *config)
{
    CLEANUP(cleanup_free)
    char *words = x_printf("This is a test. Nothing is wrong at the water.\n\nIt was sent to '%s' by %s. "
                           "When you read this, alarms of "
                           "this network reach you here.",
                           notice->recipient, config->network_name);
    message_put_paragraph(text, words, 0, 0);
}

