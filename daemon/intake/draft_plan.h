/* SPDX-License-Identifier: MIT */
/* What a draft says, between the evidence and the YAML. Private to the draft. */
#ifndef RILLWARD_INTAKE_DRAFT_PLAN_H
#define RILLWARD_INTAKE_DRAFT_PLAN_H

#include "base/text.h"
#include "config/config.h"
#include "intake/draft_shape.h"

/* A part of the draft that a person should look at: `why` becomes "# unsure: why", `question` is asked at the end; NULL
 * for none. `remark`: a comment that asks nothing. */
struct doubt {
    const char *why, *question, *remark;
};

struct planned_column {
    const struct evidence *evidence;
    const char *header; /* pattern */
    enum column_role role;
    enum quantity quantity;
    enum note_kind note_kind;
    bool is_reference, is_optional;
    const char *unit; /* NULL: from the header */
    struct doubt doubt;
};

struct planned_word {
    const char *word;
    int meaning; /* note kind or quantity */
    struct doubt doubt;
};

struct plan {
    struct arena *arena;
    const char *id;
    bool is_notes;
    struct doubt kind_doubt;
    const struct shape *shape;
    char decimal;
    struct doubt decimal_doubt;
    const char *missing[SHAPE_MOST_WORDS];
    size_t missing_count;
    struct doubt missing_doubt;
    const char *end_mark; /* NULL */
    const char *serial_label, *station_label;
    const char *time_headers[2];
    const char *format;
    struct doubt format_doubt;
    const char *zone;
    struct doubt zone_doubt;
    struct planned_column columns[SHAPE_MOST_COLUMNS];
    size_t column_count;
    struct planned_word kinds[SHAPE_MOST_WORDS], quantities[SHAPE_MOST_WORDS];
    size_t kind_count, quantity_count;
};

/* A header cell as a pattern: line ends and other control bytes, which settings do not take, become '?'. */
const char *plan_pattern(struct arena *arena, struct cell header);
/* Can the settings hold the text? */
bool plan_can_write(const char *text);

/* Roles, quantities and units of the columns, words of a notebook. `files`: how many the evidence is from. */
void plan_columns(struct plan *plan, const struct evidence_set *set, size_t files);
/* As text; the questions are collected on the way, and follow. */
void plan_write(const struct plan *plan, struct text *yaml, const char **questions, size_t most_questions,
                size_t *ret_question_count);

#endif
