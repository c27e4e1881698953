/* SPDX-License-Identifier: MIT */
/* What a notice says: to programs as an event, to people as mail. Pure: the same notice under the same
 * settings always gives the same bytes, so that every attempt of one delivery is the same message. No
 * texts of the notice are trusted: names and details may come from files that somebody synced. */
#ifndef RILLWARD_NOTIFY_MESSAGE_H
#define RILLWARD_NOTIFY_MESSAGE_H

#include "base/error.h"
#include "base/text.h"
#include "config/config.h"
#include "model/facts.h"

#include <stdbool.h>

#define MESSAGE_EVENT_LIMIT 20000 /* bytes; the signature scheme asks receivers for no more */
#define MESSAGE_TEXT_LIMIT 65536
#define MESSAGE_PICTURE_LIMIT 98304 /* bytes of PNG; a larger one is left out */
#define MESSAGE_MAIL_LIMIT 524288

/* Body of a webhook: one CloudEvents 1.0 event in its JSON form, keys in a fixed order. Values and limits
 * are in `unit`; what is not known is null. `still_so` is about the last sample, null where the question
 * makes no sense. `ret` was initialised with MESSAGE_EVENT_LIMIT; false with an INPUT error where the
 * notice is too long for it. */
bool message_render_event(const struct notice *notice, const struct config *config, struct text *ret,
                          struct error *error);

/* Body of a webhook by the recipient's template. `ret` as above; INPUT error where it is too long. */
bool message_render_body(const struct notice *notice, const struct config *config, const struct recipient *recipient,
                         struct text *ret, struct error *error);
/* Its Content-Type, or that of an event. */
const char *message_body_kind(const struct recipient *recipient);

/* A chart for the mail's page: a PNG, and the same in words for who cannot see it. */
struct message_picture {
    const char *png;
    size_t length;
    int width, height; /* px as shown; the file may hold more of them */
    const char *words;
};

/* A whole mail to `address`, header and body, lines ended by CRLF, 7-bit: the text part, and beside it a page that
 * says the same with the picture in it. `picture` may be NULL. `ret` was initialised with MESSAGE_MAIL_LIMIT. CONFIG
 * error where an address cannot stand in a mail; INPUT error where the notice is too long or its uid is none. */
bool message_render_mail(const struct notice *notice, const struct config *config, const char *address,
                         const struct message_picture *picture, struct text *ret, struct error *error);

/* The subject and the text part on their own: UTF-8, '\n', no line but an address wider than 60 columns: a phone
 * shows so many. */
void message_render_subject(const struct notice *notice, const struct config *config, struct text *ret);
void message_render_text(const struct notice *notice, const struct config *config, struct text *ret);
/* The page on its own; `picture` may be NULL. */
void message_render_html(const struct notice *notice, const struct config *config,
                         const struct message_picture *picture, struct text *ret);

/* Does the condition still hold at the last sample? Also what the subject and the event say. */
bool message_is_still_so(const struct notice *notice);

/* Where the archive shows the alarm's station or barometer, or "" where it does not (no public address, or
 * not a place). */
void message_render_page(const struct notice *notice, const struct config *config, struct text *ret);

/* A finite limit as it was set: a setting is no measurement, and has neither trailing zeros nor rounding. */
void message_put_limit(struct text *text, double limit);

/* The short form of what every warning has to carry. */
extern const char message_caution[];

#endif
