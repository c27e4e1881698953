/* SPDX-License-Identifier: MIT */
#include "notify/message_parts.h"

#include "base/memory.h"
#include "config/address.h"
#include "notify/mime.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

/* The '=' and '_' together stand in no quoted-printable and no base64: no part can hold one of these lines. */
#define BETWEEN_VERSIONS "=_versions"
#define BETWEEN_PAGE_AND_PICTURE "=_page"

static char *print_picture_id(const struct notice *notice, const char *from);
static bool check_addresses(const struct notice *notice, const char *from, const char *to, struct error *error);
static void put_head(struct text *text, const struct notice *notice, const struct config *config, const char *address,
                     const char *subject);
static void put_versions(struct text *text, const struct message_parts *parts, const char *title,
                         const struct message_picture *picture, const char *picture_id);
static void put_picture(struct text *text, const struct message_picture *picture, const char *picture_id);
static bool put_thread(struct text *text, const struct notice *notice, const struct config *config, const char *domain,
                       struct error *error);
static bool is_atom(const char *string);

bool message_render_mail(const struct notice *notice, const struct config *config, const char *address,
                         const struct message_picture *picture, struct text *ret, struct error *error)
{
    const char *from = config->mail.from;
    if (!check_addresses(notice, from, address, error))
        return false;
    struct message_parts parts;
    CLEANUP(text_done) struct text subject;
    text_init(&subject, MESSAGE_TEXT_LIMIT);
    message_render_subject(notice, config, &subject);
    message_compose(notice, config, &parts);
    put_head(ret, notice, config, address, subject.bytes);
    bool is_good = put_thread(ret, notice, config, strrchr(from, '@') + 1, error);
    CLEANUP(cleanup_free) char *picture_id = print_picture_id(notice, from);
    put_versions(ret, &parts, subject.bytes, picture && picture->length <= MESSAGE_PICTURE_LIMIT ? picture : NULL,
                 picture_id);
    if (is_good && (ret->is_full || parts.is_full || subject.is_full))
        is_good = fail(error, ERROR_INPUT, "notice '%s' is longer than %d bytes as mail, shorten the rule's advice",
                       notice->uid, MESSAGE_TEXT_LIMIT);
    message_parts_done(&parts);
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
    text_printf(ret, "%s%s%s: ", notice->rule_title, message_is_of_water(notice) ? " at " : ", ",
                notice->station_name);
    message_put_state(ret, notice);
}

void message_render_text(const struct notice *notice, const struct config *config, struct text *ret)
{
    struct message_parts parts;
    message_compose(notice, config, &parts);
    message_put_text(ret, &parts);
    message_parts_done(&parts);
}

void message_render_html(const struct notice *notice, const struct config *config,
                         const struct message_picture *picture, struct text *ret)
{
    struct message_parts parts;
    CLEANUP(text_done) struct text subject;
    CLEANUP(cleanup_free) char *picture_id = print_picture_id(notice, config->mail.from);
    text_init(&subject, MESSAGE_TEXT_LIMIT);
    message_render_subject(notice, config, &subject);
    message_compose(notice, config, &parts);
    message_put_page(ret, &parts, subject.bytes, picture, picture_id);
    message_parts_done(&parts);
}

/* Unique, of the form of an address (RFC 2392). free() it. */
static char *print_picture_id(const struct notice *notice, const char *from)
{
    const char *at = from ? strrchr(from, '@') : NULL;
    return x_printf("chart.%s%s", notice->uid, at ? at : "@localhost");
}

static bool check_addresses(const struct notice *notice, const char *from, const char *to, struct error *error)
{
    if (!from || !address_is_mail(from))
        return fail(error, ERROR_CONFIG, "mail: 'from' must be one plain address, such as rillward@example.org");
    if (!to || !address_is_mail(to))
        return fail(error, ERROR_CONFIG, "recipient '%s' must have one plain address, such as desk@example.org",
                    notice->recipient);
    return true;
}

static void put_head(struct text *text, const struct notice *notice, const struct config *config, const char *address,
                     const char *subject)
{
    mime_put_date(text, notice->created);
    mime_put_mailbox(text, "From", config->network_name, config->mail.from);
    mime_put_mailbox(text, "To", "", address);
    mime_put_header(text, "Subject", subject);
    text_puts(text, "Auto-Submitted: auto-generated\r\n");
    if (notice->priority == PRIORITY_HIGH && notice->event != NOTICE_TEST)
        text_puts(text, "Importance: high\r\n");
    text_puts(text, "MIME-Version: 1.0\r\n");
}

/* Least preferred first (RFC 2046): the text, which is complete by itself, then the page with its picture. */
static void put_versions(struct text *text, const struct message_parts *parts, const char *title,
                         const struct message_picture *picture, const char *picture_id)
{
    CLEANUP(text_done) struct text body;
    text_init(&body, MESSAGE_TEXT_LIMIT);
    message_put_text(&body, parts);
    text_puts(text, "Content-Type: multipart/alternative; boundary=\"" BETWEEN_VERSIONS "\"\r\n\r\n"
                    "--" BETWEEN_VERSIONS "\r\n"
                    "Content-Type: text/plain; charset=utf-8\r\n"
                    "Content-Transfer-Encoding: quoted-printable\r\n\r\n");
    mime_put_quoted_printable(text, body.bytes);
    text->is_full |= body.is_full;
    text_done(&body);
    text_init(&body, MESSAGE_TEXT_LIMIT);
    message_put_page(&body, parts, title, picture, picture_id);
    text_puts(text, "--" BETWEEN_VERSIONS "\r\n");
    if (picture)
        text_puts(text, "Content-Type: multipart/related; type=\"text/html\";\r\n boundary=\"" BETWEEN_PAGE_AND_PICTURE
                        "\"\r\n\r\n--" BETWEEN_PAGE_AND_PICTURE "\r\n");
    text_puts(text, "Content-Type: text/html; charset=utf-8\r\n"
                    "Content-Transfer-Encoding: quoted-printable\r\n\r\n");
    mime_put_quoted_printable(text, body.bytes);
    text->is_full |= body.is_full;
    if (picture)
        put_picture(text, picture, picture_id);
    text_puts(text, "--" BETWEEN_VERSIONS "--\r\n");
}

static void put_picture(struct text *text, const struct message_picture *picture, const char *picture_id)
{
    text_printf(text,
                "--" BETWEEN_PAGE_AND_PICTURE "\r\n"
                "Content-Type: image/png; name=\"chart.png\"\r\n"
                "Content-Disposition: inline; filename=\"chart.png\"\r\n"
                "Content-ID: <%s>\r\n"
                "Content-Transfer-Encoding: base64\r\n\r\n",
                picture_id);
    mime_put_base64(text, picture->png, picture->length);
    text_puts(text, "--" BETWEEN_PAGE_AND_PICTURE "--\r\n");
}

/* Every mail about one alarm names one root, which nobody has to have received: mail programs show them
 * together even where the first was lost. Message-ID repeats with each attempt. */
static bool put_thread(struct text *text, const struct notice *notice, const struct config *config, const char *domain,
                       struct error *error)
{
    if (!is_atom(notice->uid))
        return fail(error, ERROR_INPUT, "'%s' is no uid of a notice, expected letters, digits and '-'", notice->uid);
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
