/* SPDX-License-Identifier: MIT */
/* Private to the messages: what they say, apart from how it is written. A message is a list of parts; one function
 * writes them as narrow text, another as a page. */
#ifndef RILLWARD_NOTIFY_MESSAGE_PARTS_H
#define RILLWARD_NOTIFY_MESSAGE_PARTS_H

#include "notify/message.h"

enum { MESSAGE_COLUMNS = 60, MESSAGE_LABEL = 9, MESSAGE_ROW_LIMIT = 8192 };

enum part_kind {
    PART_TITLE,     /* what it is about, and below it where; the first part */
    PART_STATE,     /* still so, over, withdrawn */
    PART_PARAGRAPH,
    PART_HEADING,   /* of what follows up to the next one */
    PART_ROW,       /* a label and what stands behind it */
    PART_ITEM,      /* one of a list */
    PART_LINK,      /* an address */
    PART_COMMAND,   /* to be copied: never wrapped but where a shell allows it */
    PART_FOOT,      /* which message of which network it was; the last part */
};

/* Texts may hold '\n'; control bytes of what others wrote are visible already, or will be. */
struct message_part {
    enum part_kind kind;
    const char *label; /* PART_ROW */
    char *text;
};
struct message_parts {
    struct message_part *list;
    size_t count, capacity;
    bool is_full; /* a text passed its limit */
};
void message_parts_done(struct message_parts *parts);
/* Takes what `text` holds and clears it; nothing is added where it is empty. */
void message_add(struct message_parts *parts, enum part_kind kind, const char *label, struct text *text);
void message_add_words(struct message_parts *parts, enum part_kind kind, const char *words);

/* ---- what it says (message_content.c; message_many.c of many alarms) ---- */

void message_compose(const struct notice *notice, const struct config *config, struct message_parts *ret);
void message_compose_many(const struct notice *notice, const struct config *config, struct message_parts *ret);
void message_put_many_subject(struct text *text, const struct notice *notice, const struct config *config);
bool message_is_many(const struct notice *notice); /* a group, a summary or a digest: about no single alarm */

/* ---- how it is written (message_layout.c, message_page.c) ---- */

/* Lines of MESSAGE_COLUMNS at most, but for addresses. */
void message_put_text(struct text *text, const struct message_parts *parts);
/* An HTML page, complete by itself. `picture_id`: the Content-ID of the picture, NULL where there is none. */
void message_put_page(struct text *text, const struct message_parts *parts, const char *title,
                      const struct message_picture *picture, const char *picture_id);

/* "Tue 2026-11-24 19:05 -08:00 (Wed 03:05 UTC)": the day names tell on which side of midnight UTC stands. */
void message_put_time(struct text *text, int64_t time, int64_t offset);
/* A text of the notice as one line: a file's name must not be able to add a paragraph of its own. */
void message_put_visible(struct text *text, const char *string);
/* Words wrapped, '\n' kept, control bytes visible; ends the last line. The pen stands at `column`. */
void message_put_paragraph(struct text *text, const char *string, size_t indent, size_t column);

/* ---- words about one alarm (message_words.c) ---- */

enum rule_kind message_kind(const struct notice *notice); /* RULE_KIND_COUNT where unknown */
/* Of a station or barometer; false: of a drop or a recipient. */
bool message_is_of_water(const struct notice *notice);
bool message_is_withdrawn(const struct notice *notice);
/* Silence, gaps, visits and drops have none. */
bool message_has_value(const struct notice *notice);
/* Practical salinity has the unit 1, which nobody says. */
void message_put_value(struct text *text, const struct notice *notice, double value);
/* "1.83 mg/L, still so", "over, no data for 12 d" */
void message_put_state(struct text *text, const struct notice *notice);
/* The same as whole sentences: "STILL SO at the last sample: 1.83 mg/L (alarm below 3 mg/L)." */
void message_put_sentences(struct text *text, const struct notice *notice);
/* The same of any notice: of many alarms how many, of a test that it is one. */
void message_put_summary(struct text *text, const struct notice *notice, const struct config *config);

#endif
