/* SPDX-License-Identifier: MIT */
/* What the pages have in common; private to page*.c. `text` is the page. */
#ifndef RILLWARD_ARCHIVE_PAGE_PARTS_H
#define RILLWARD_ARCHIVE_PAGE_PARTS_H

#include "archive/page.h"

/* From the doctype to <main>. `root` leads to the archive's top: "" or "../../". `with_script`: the one script of the
 * archive may run. */
void part_begin(struct text *text, const struct config *config, const char *title, const char *root, bool with_script);
void part_end(struct text *text, const struct config *config, const char *root);
/* "Provisional", in the words of every file. */
void part_cautions(struct text *text);

/* Escaped and isolated, so that no name turns around the words beside it. */
void part_name(struct text *text, const char *name);
/* <time>20 Apr 2026 17:45</time> by the clock of `offset`; an en dash for TIME_NONE. */
void part_time(struct text *text, int64_t time, int64_t offset);
/* "memory full about 14 Aug 2026, battery empty about 1 Oct 2026", the first first; nothing where nothing is known. */
void part_supply(struct text *text, const struct supply *supply, int64_t offset);
/* "UTC−06:00" */
void part_zone(struct text *text, int64_t offset);
/* "1.77 mg/L", and the flag in words where it is not pass. */
void part_value(struct text *text, const struct network_value *value, bool with_unit);
/* "12.3 kB" */
void part_bytes(struct text *text, int64_t bytes);
void part_short_sha256(struct text *text, const char *sha256);

/* The rule behind an alarm; NULL where it left the settings. */
const struct rule *part_rule(const struct config *config, const struct alarm *alarm);
/* Title of the rule; its id where it left the settings. */
void part_alarm_title(struct text *text, const struct config *config, const struct alarm *alarm);
/* "lowest 1.71 mg/L at ..., last 1.77 mg/L at ...", or what was seen in words. */
void part_alarm_values(struct text *text, const struct config *config, const struct alarm *alarm, int64_t offset);
/* An open alarm as a list item; `place` may be NULL on the place's own page, `href` where there is no page. */
void part_open_alarm(struct text *text, const struct config *config, const struct alarm *alarm, const char *place,
                     const char *href, int64_t offset);
void part_waiting(struct text *text, const struct network_waiting *waiting, const char *place, const char *href,
                  int64_t offset);

/* A table in a frame that scrolls by itself where it is too wide, reachable by keyboard. `label` names both. A '#'
 * before a heading says that numbers stand below it. */
void part_table_begin(struct text *text, const char *class, const char *label, const char *const *headings, size_t n);
void part_table_end(struct text *text);
/* <td data-label="..."> for tables that become cards on narrow screens. */
void part_cell(struct text *text, const char *class, const char *heading);

/* What the crew wrote, as it was understood (model/note_words.h), escaped. Without the remark that stands beside it. */
void part_note(struct text *text, const struct note *note, int64_t offset);
/* "by staff", "by tape", "as found", "after cleaning", "in a standard" */
const char *part_check_word(enum check_kind kind);
const char *part_finding_word(enum finding_kind kind);
/* A difference with its sign; of a level in mm. */
void part_difference(struct text *text, enum quantity quantity, double inside);

/* Stations where only a visit helps, why, and what to bring. Nothing where there are none. */
void part_visits(struct text *text, const struct page_network *network);

/* Sketch of where the stations are. Nothing with fewer than two places. */
void part_map(struct text *text, const struct page_network *network);

#endif
