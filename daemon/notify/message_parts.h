/* SPDX-License-Identifier: MIT */
/* Private to the messages: what their texts are made of. */
#ifndef RILLWARD_NOTIFY_MESSAGE_PARTS_H
#define RILLWARD_NOTIFY_MESSAGE_PARTS_H

#include "notify/message.h"

enum { MESSAGE_COLUMNS = 72, MESSAGE_LABEL = 9, MESSAGE_ROW_LIMIT = 8192 };

/* ---- layout (message_layout.c) ---- */

/* "Tue 2026-11-24 19:05 -08:00 (Wed 03:05 UTC)": the day names tell on which side of midnight UTC stands. */
void message_put_time(struct text *text, int64_t time, int64_t offset);
/* "Began    ..." with what follows indented below itself; nothing where the row is empty. Clears the row. */
void message_put_row(struct text *text, const char *label, struct text *row);
/* A text of the notice as one line: a file's name must not be able to add a paragraph of its own. */
void message_put_visible(struct text *text, const char *string);
/* Words wrapped, '\n' kept, control bytes visible; ends the last line. The pen stands at `column`. */
void message_put_paragraph(struct text *text, const char *string, size_t indent, size_t column);

/* ---- one alarm (message_mail.c) ---- */

enum rule_kind message_kind(const struct notice *notice); /* RULE_KIND_COUNT where unknown */
bool message_is_withdrawn(const struct notice *notice);
/* Silence, gaps, visits and drops have none. */
bool message_has_value(const struct notice *notice);
/* Practical salinity has the unit 1, which nobody says. */
void message_put_value(struct text *text, const struct notice *notice, double value);
/* "1.83 mg/L, still so", "over, no data for 12 d" */
void message_put_state(struct text *text, const struct notice *notice);

/* ---- many alarms (message_many.c) ---- */

bool message_is_many(const struct notice *notice); /* a group, a summary or a digest: about no single alarm */
void message_put_many_subject(struct text *text, const struct notice *notice, const struct config *config);
void message_put_many(struct text *text, const struct notice *notice, const struct config *config);

#endif
