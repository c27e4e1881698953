/* SPDX-License-Identifier: MIT */
#include "notify/message.h"

#include "base/memory.h"
#include "base/timestamp.h"
#include "config/address.h"
#include "notify/mime.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { COLUMNS = 72, LABEL = 9, ROW_LIMIT = 8192 };

/* How the limit of each kind is said: "alarm below 3 mg/L". NULL: the kind has no value to compare. */
static const char *const limit_words[] = {
    [RULE_BELOW] = "alarm below",
    [RULE_ABOVE] = "alarm above",
    [RULE_RISE] = "alarm when it rises by more than",
    [RULE_FALL] = "alarm when it falls by more than",
    [RULE_DRIFT] = "alarm when a check differs by more than",
    [RULE_SILENCE] = NULL,
    [RULE_UNREADABLE_DROP] = NULL,
};
_Static_assert(COUNT_OF(limit_words) == RULE_KIND_COUNT, "every kind has its words");

static enum rule_kind kind_of(const struct notice *notice);
static bool is_withdrawn(const struct notice *notice);
static bool has_value(const struct notice *notice);
static void put_value(struct text *text, const struct notice *notice, double value);
static void put_limit(struct text *text, const struct notice *notice);
static void put_state_in_subject(struct text *text, const struct notice *notice);

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

static void put_time(struct text *text, int64_t time, int64_t offset);
static void put_clock(struct text *text, int64_t time);
static const char *day_name(int64_t time);
static void put_row(struct text *text, const char *label, struct text *row);
static void put_visible(struct text *text, const char *string);
static void put_paragraph(struct text *text, const char *string, size_t indent, size_t column);
static void put_line_wrapped(struct text *text, const char *line, size_t indent, size_t *column);
static void put_word(struct text *text, const char *word, size_t length, size_t indent, size_t *column);
static char *visible(const char *string, size_t length);
static size_t columns_of(const char *bytes, size_t length);
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
    text_printf(ret, "] %s%s%s: ", notice->rule_title,
                kind_of(notice) == RULE_UNREADABLE_DROP ? ", " : " at ", notice->station_name);
    put_state_in_subject(ret, notice);
}

void message_render_text(const struct notice *notice, const struct config *config, struct text *ret)
{
    if (notice->event == NOTICE_TEST) {
        put_test(ret, notice, config);
    } else {
        put_heading(ret, notice);
        put_state(ret, notice);
        put_facts(ret, notice);
        put_advice(ret, notice);
        put_where_to_look(ret, notice, config);
        text_puts(ret, "\nPlease note\n");
        put_paragraph(ret, message_caution, 0, 0);
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
    if (notice->event == NOTICE_TEST)
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
    if (!*string || string[0] == '.' || strlen(string) > 128)
        return false;
    for (const char *c = string; *c; c++)
        if ((unsigned char)*c >= 0x80 || !(isalnum((unsigned char)*c) || strchr("-_.", *c)) ||
            (c[0] == '.' && c[1] == '.'))
            return false;
    return !text_ends_with(string, ".");
}

/* ---- Values ---- */

static enum rule_kind kind_of(const struct notice *notice)
{
    for (enum rule_kind kind = 0; kind < RULE_KIND_COUNT; kind++)
        if (strcmp(notice->rule_kind, rule_kind_word(kind)) == 0)
            return kind;
    return RULE_KIND_COUNT;
}

static bool is_withdrawn(const struct notice *notice)
{
    return notice->event == NOTICE_WITHDRAWN || notice->alarm.state == ALARM_WITHDRAWN;
}

/* Silence and drops have none. */
static bool has_value(const struct notice *notice)
{
    return *notice->quantity && isfinite(notice->worst);
}

/* Practical salinity has the unit 1, which nobody says. */
static void put_value(struct text *text, const struct notice *notice, double value)
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
    enum rule_kind kind = kind_of(notice);
    if (kind == RULE_KIND_COUNT || !limit_words[kind] || !isfinite(notice->limit))
        return;
    text_printf(text, " (%s ", limit_words[kind]);
    message_put_limit(text, notice->limit);
    bool has_unit = *notice->unit && strcmp(notice->unit, "1") != 0;
    text_printf(text, "%s%s)", has_unit ? " " : "", has_unit ? notice->unit : "");
}

static void put_state_in_subject(struct text *text, const struct notice *notice)
{
    char duration[TIMESTAMP_SIZE];
    bool is_still_so = message_is_still_so(notice);
    if (is_withdrawn(notice)) {
        text_puts(text, "withdrawn, it was not so");
    } else if (has_value(notice)) {
        text_puts(text, is_still_so ? "" : "over, worst ");
        put_value(text, notice, is_still_so && isfinite(notice->last) ? notice->last : notice->worst);
        text_puts(text, is_still_so ? ", still so" : "");
    } else if (kind_of(notice) == RULE_SILENCE && isfinite(notice->alarm.episode.worst)) {
        duration_print((int64_t)notice->alarm.episode.worst, duration);
        text_printf(text, is_still_so ? "no data for %s, still so" : "over, no data for %s", duration);
    } else {
        text_puts(text, is_still_so ? "still so" : "over");
    }
}

/* ---- The text part, from top to bottom ---- */

static void put_heading(struct text *text, const struct notice *notice)
{
    struct text heading;
    text_init(&heading, ROW_LIMIT);
    put_visible(&heading, notice->rule_title);
    text_putc(&heading, '\n');
    put_visible(&heading, notice->station_name);
    if (strcmp(notice->station_name, notice->alarm.station) != 0) {
        text_puts(&heading, " (");
        put_visible(&heading, notice->alarm.station);
        text_putc(&heading, ')');
    }
    put_paragraph(text, heading.bytes, 0, 0);
    text_done(&heading);
    text_putc(text, '\n');
}

static void put_state(struct text *text, const struct notice *notice)
{
    struct text state;
    text_init(&state, ROW_LIMIT);
    if (is_withdrawn(notice))
        text_puts(&state,
                  "WITHDRAWN: data or notes that came later show that it was not so. What was said before no "
                  "longer holds.");
    else if (message_is_still_so(notice))
        put_still_so(&state, notice);
    else
        put_over(&state, notice);
    put_paragraph(text, state.bytes, 0, 0);
    text_done(&state);
    text_putc(text, '\n');
}

static void put_still_so(struct text *text, const struct notice *notice)
{
    const struct episode *episode = &notice->alarm.episode;
    char duration[TIMESTAMP_SIZE];
    if (has_value(notice)) {
        text_puts(text, "STILL SO at the last sample: ");
        put_value(text, notice, isfinite(notice->last) ? notice->last : notice->worst);
        put_limit(text, notice);
        text_puts(text, ".");
        if (episode->last_time != TIME_NONE && notice->created > episode->last_time)
            text_printf(text,
                        "\nThat sample was already %s old when this was written. What the water does now is "
                        "not known.",
                        duration_print(notice->created - episode->last_time, duration));
    } else if (kind_of(notice) == RULE_SILENCE && isfinite(episode->worst)) {
        text_printf(text, "STILL SO: no data for %s.", duration_print((int64_t)episode->worst, duration));
    } else {
        text_puts(text, "STILL SO: it needs a hand.");
    }
}

static void put_over(struct text *text, const struct notice *notice)
{
    const struct episode *episode = &notice->alarm.episode;
    char duration[TIMESTAMP_SIZE];
    if (has_value(notice)) {
        text_puts(text, "OVER: it had ended by the last sample. The worst was ");
        put_value(text, notice, notice->worst);
        put_limit(text, notice);
        text_puts(text, ".");
    } else if (kind_of(notice) == RULE_SILENCE && isfinite(episode->worst)) {
        text_printf(text, "OVER: data have come again, after %s without.",
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
    text_init(&row, ROW_LIMIT);
    text_puts(text, notice->utc_offset ? "Station standard time (UTC in brackets)\n" : "Times are UTC\n");
    put_visible(&row, episode->detail);
    put_row(text, "Seen", &row);
    put_time(&row, episode->start, notice->utc_offset);
    put_row(text, "Began", &row);
    if (has_value(notice))
        put_value_row(text, "Worst", notice, notice->worst, episode->worst_time);
    if (has_value(notice) && is_still_so)
        put_value_row(text, "Last", notice, notice->last, episode->last_time);
    if (is_still_so)
        text_puts(&row, "not seen yet");
    else if (!is_withdrawn(notice))
        put_time(&row, episode->end, notice->utc_offset);
    put_row(text, "End", &row);
    if (notice->data_until != TIME_NONE && !(is_still_so && notice->data_until == episode->last_time)) {
        put_time(&row, notice->data_until, notice->utc_offset);
        put_row(text, "Data to", &row);
    }
    put_learnt(&row, notice);
    put_row(text, "Learnt", &row);
    text_done(&row);
}

static void put_value_row(struct text *text, const char *label, const struct notice *notice, double value,
                          int64_t time)
{
    struct text row;
    text_init(&row, ROW_LIMIT);
    put_value(&row, notice, value);
    text_putc(&row, '\n');
    put_time(&row, time, notice->utc_offset);
    put_row(text, label, &row);
    text_done(&row);
}

/* When we learnt of it, and why that can be long after it happened. */
static void put_learnt(struct text *row, const struct notice *notice)
{
    const struct alarm *alarm = &notice->alarm;
    char duration[TIMESTAMP_SIZE];
    put_time(row, alarm->learnt, notice->utc_offset);
    int64_t late = alarm->learnt - alarm->episode.start;
    if (alarm->learnt == TIME_NONE || alarm->episode.start == TIME_NONE || late < MINUTE_MS)
        return;
    text_printf(row, "\n%s after it began", duration_print(late, duration));
    if (has_value(notice) && late >= HOUR_MS)
        text_puts(row, ": a logger cannot send from under water, so its data arrive in batches, when a crew "
                       "has read it out");
}

static void put_advice(struct text *text, const struct notice *notice)
{
    if (!*notice->advice || is_withdrawn(notice))
        return;
    text_puts(text, message_is_still_so(notice) ? "\nWhat to do\n" : "\nWhat to do while it is so\n");
    put_paragraph(text, notice->advice, 0, 0);
}

/* Commands are broken as a shell allows it: they are there to be copied. */
static void put_where_to_look(struct text *text, const struct notice *notice, const struct config *config)
{
    text_puts(text, "\nTo look further\n");
    size_t before = text->length;
    message_render_page(notice, config, text);
    if (text->length > before)
        text_putc(text, '\n');
    text_puts(text, "rillward status -c FILE\n");
    const char *station = notice->alarm.station;
    if (!has_value(notice) || notice->alarm.episode.worst_time == TIME_NONE ||
        config_find_station(config, station) == config->station_count)
        return;
    char time[TIMESTAMP_SIZE];
    timestamp_print(notice->alarm.episode.worst_time, time);
    bool is_long = strlen(station) + strlen(time) + strlen(notice->quantity) >
                   COLUMNS - sizeof "rillward explain -c FILE  ";
    text_printf(text, "rillward explain -c FILE %s%s %s %s\n", is_long ? "\\\n    " : "", station, time,
                notice->quantity);
}

static void put_footer(struct text *text, const struct notice *notice, const struct config *config)
{
    struct text line;
    text_init(&line, ROW_LIMIT);
    text_puts(text, "\n");
    if (notice->event != NOTICE_TEST) {
        text_printf(&line, "Alarm %lld, message %lld: %s. State: %s. Priority: %s. Rule: ",
                    (long long)notice->alarm.id, (long long)notice->alarm.sequence,
                    notice_event_word(notice->event), alarm_state_word(notice->alarm.state),
                    priority_word(notice->priority));
        put_visible(&line, notice->alarm.rule);
        text_printf(&line, " (%s).\n", notice->rule_kind);
    }
    text_puts(&line, config->network_name);
    if (*config->operator_name)
        text_printf(&line, ", %s", config->operator_name);
    if (*config->contact)
        text_printf(&line, ", %s", config->contact);
    put_paragraph(text, line.bytes, 0, 0);
    text_done(&line);
}

static void put_test(struct text *text, const struct notice *notice, const struct config *config)
{
    CLEANUP(cleanup_free)
    char *words = x_printf("This is a test. Nothing is wrong at the water.\n\nIt was sent to '%s' by %s. "
                           "When you read this, alarms of "
                           "this network reach you here.",
                           notice->recipient, config->network_name);
    put_paragraph(text, words, 0, 0);
}

/* ---- Layout ---- */

/* "Tue 2026-11-24 19:05 -08:00 (Wed 03:05 UTC)": the day names tell on which side of midnight UTC stands. */
static void put_time(struct text *text, int64_t time, int64_t offset)
{
    if (time == TIME_NONE || time == TIME_FOREVER) {
        text_puts(text, "not known");
        return;
    }
    put_clock(text, time + offset);
    if (offset == 0) {
        text_puts(text, " UTC");
        return;
    }
    int64_t minutes = (offset < 0 ? -offset : offset) / MINUTE_MS;
    struct civil utc = timestamp_to_civil(time);
    text_printf(text, " %c%02d:%02d (%s %02d:%02d UTC)", offset < 0 ? '-' : '+', (int)(minutes / 60),
                (int)(minutes % 60), day_name(time), utc.hour, utc.minute);
}

/* "Tue 2026-11-24 19:05" */
static void put_clock(struct text *text, int64_t time)
{
    struct civil c = timestamp_to_civil(time);
    text_printf(text, "%s %04d-%02d-%02d %02d:%02d", day_name(time), c.year, c.month, c.day, c.hour,
                c.minute);
}

static const char *day_name(int64_t time)
{
    static const char *const days[] = {"Thu", "Fri", "Sat", "Sun",
                                       "Mon", "Tue", "Wed"}; /* 1970 began on a Thursday */
    int64_t day = timestamp_floor(time, DAY_MS) / DAY_MS;
    return days[(day % 7 + 7) % 7];
}

/* "Began    ..." with what follows indented below itself; nothing where the row is empty. Clears the row. */
static void put_row(struct text *text, const char *label, struct text *row)
{
    if (row->length > 0) {
        text_printf(text, "%-*s", LABEL, label);
        put_paragraph(text, row->bytes, LABEL, LABEL);
    }
    text_clear(row);
}

/* A text of the notice as one line: a file's name must not be able to add a paragraph of its own. */
static void put_visible(struct text *text, const char *string)
{
    CLEANUP(cleanup_free) char *shown = visible(string, strlen(string));
    text_puts(text, shown);
}

/* Words wrapped at COLUMNS, '\n' kept, control bytes visible; ends the last line. The pen stands at
 * `column`. */
static void put_paragraph(struct text *text, const char *string, size_t indent, size_t column)
{
    for (const char *line = string;;) {
        size_t length = strcspn(line, "\n");
        CLEANUP(cleanup_free) char *shown = visible(line, length);
        put_line_wrapped(text, shown, indent, &column);
        text_putc(text, '\n');
        column = 0;
        if (!line[length] || !line[length + 1])
            break;
        line += length + 1;
    }
}

static void put_line_wrapped(struct text *text, const char *line, size_t indent, size_t *column)
{
    while (*line) {
        line += strspn(line, " ");
        size_t length = strcspn(line, " ");
        put_word(text, line, length, indent, column);
        line += length;
    }
}

/* A word that is wider than a line is cut into lines, unless it is an address that somebody wants to click
 * on. */
static void put_word(struct text *text, const char *word, size_t length, size_t indent, size_t *column)
{
    bool is_address = text_starts_with(word, "https://") || text_starts_with(word, "http://");
    if (length == 0)
        return;
    if (*column > indent && *column + 1 + columns_of(word, length) > COLUMNS) {
        text_putc(text, '\n');
        *column = 0;
    }
    if (*column > indent) {
        text_putc(text, ' ');
        ++*column;
    }
    for (size_t i = 0; i < length;) {
        if (*column >= COLUMNS && !is_address) {
            text_putc(text, '\n');
            *column = 0;
        }
        for (; *column < indent; ++*column)
            text_putc(text, ' ');
        size_t step = text_utf8_length(word + i, length - i);
        text_add(text, word + i, step);
        i += step;
        ++*column;
    }
}

static char *visible(const char *string, size_t length)
{
    CLEANUP(cleanup_free) char *copy = x_strndup(string, length);
    char *shown = x_alloc(length * 4 + 1);
    text_make_visible(copy, shown, length * 4 + 1);
    return shown;
}

static size_t columns_of(const char *bytes, size_t length)
{
    size_t columns = 0;
    for (size_t i = 0; i < length; i++)
        columns += ((unsigned char)bytes[i] & 0xC0) != 0x80;
    return columns;
}
