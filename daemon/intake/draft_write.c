/* SPDX-License-Identifier: MIT */
/* A draft as YAML. */
#include "config/vocabulary.h"
#include "intake/draft_plan.h"
#include "intake/read_csv.h"

#include <string.h>

struct writer {
    struct text *yaml;
    const char **questions;
    size_t most_questions;
    size_t *question_count;
};

static void write_head(struct writer *writer, const struct plan *plan);
static void write_time(struct writer *writer, const struct plan *plan);
static void write_columns(struct writer *writer, const struct plan *plan);
static const char *role_word(const struct planned_column *column);
static void write_words(struct writer *writer, const char *key, const struct planned_word *words, size_t count,
                        const char *(*meaning)(int));
static const char *note_kind_name(int meaning);
static const char *quantity_name(int meaning);
static void write_list(struct writer *writer, const char *indent, const char *key, const char *const *words,
                       size_t count);
static void write_text(struct writer *writer, const char *key, const char *value);
static void put_quoted(struct text *yaml, const char *value);
static void end_line(struct writer *writer, const struct doubt *doubt);

void plan_write(const struct plan *plan, struct text *yaml, const char **questions, size_t most_questions,
                size_t *ret_question_count)
{
    struct writer writer = {yaml, questions, most_questions, ret_question_count};
    *ret_question_count = 0;
    text_printf(yaml, "layouts:\n  %s:", plan->id);
    end_line(&writer, &(struct doubt){.remark = "name it as you like"});
    write_head(&writer, plan);
    write_time(&writer, plan);
    write_columns(&writer, plan);
    if (plan->kind_count > 0)
        write_words(&writer, "kinds", plan->kinds, plan->kind_count, note_kind_name);
    if (plan->quantity_count > 0)
        write_words(&writer, "quantities", plan->quantities, plan->quantity_count, quantity_name);
    if (*ret_question_count > 0)
        text_puts(yaml, "\n# To be answered before this is used:\n");
    for (size_t i = 0; i < *ret_question_count; i++)
        text_printf(yaml, "# %zu. %s\n", i + 1, questions[i]);
}

static void write_head(struct writer *writer, const struct plan *plan)
{
    const struct shape *shape = plan->shape;
    static const struct doubt none = {0};
    text_printf(writer->yaml, "    holds: %s", plan->is_notes ? "notes" : "readings");
    end_line(writer, &plan->kind_doubt);
    if (shape->delimiter) {
        text_printf(writer->yaml, "    delimiter: %s", csv_delimiter_word(shape->delimiter));
        end_line(writer, &none);
    }
    if (plan->decimal == ',' || plan->decimal_doubt.why) {
        text_printf(writer->yaml, "    decimal: \"%c\"", plan->decimal);
        end_line(writer, &plan->decimal_doubt);
    }
    if (plan->missing_count > 0) {
        write_list(writer, "    ", "missing", plan->missing, plan->missing_count);
        end_line(writer, &plan->missing_doubt);
    }
    if (plan->end_mark) {
        write_list(writer, "    ", "end_marks", &plan->end_mark, 1);
        end_line(writer, &none);
    }
    if (*shape->comment)
        write_text(writer, "comment", shape->comment);
    if (shape->has_rivals)
        write_text(writer, "sheet", plan_pattern(plan->arena, cell_from(shape->sheet)));
    if (plan->serial_label)
        write_text(writer, "serial_label", plan->serial_label);
    if (plan->station_label)
        write_text(writer, "station_label", plan->station_label);
}

static void write_time(struct writer *writer, const struct plan *plan)
{
    static const struct doubt none = {0};
    text_puts(writer->yaml, "    time:\n");
    write_list(writer, "      ", "columns", plan->time_headers, plan->shape->time_cell_count);
    end_line(writer, &none);
    text_puts(writer->yaml, "      format: ");
    put_quoted(writer->yaml, plan->format);
    end_line(writer, &plan->format_doubt);
    text_puts(writer->yaml, "      zone: ");
    put_quoted(writer->yaml, plan->zone);
    end_line(writer, &plan->zone_doubt);
}

static void write_columns(struct writer *writer, const struct plan *plan)
{
    text_puts(writer->yaml, "    columns:\n");
    for (size_t i = 0; i < plan->column_count; i++) {
        const struct planned_column *column = &plan->columns[i];
        text_puts(writer->yaml, "      - {header: ");
        put_quoted(writer->yaml, column->header);
        text_printf(writer->yaml, ", is: %s", role_word(column));
        if (column->role == COLUMN_NOTE)
            text_printf(writer->yaml, ", note: %s", note_kind_word(column->note_kind));
        if (column->role == COLUMN_NOTE && column->quantity < QUANTITY_COUNT)
            text_printf(writer->yaml, ", quantity: %s", quantity_info(column->quantity)->key);
        if (column->role == COLUMN_NOTE && column->is_reference)
            text_puts(writer->yaml, ", reference: true");
        if (column->unit) {
            text_puts(writer->yaml, ", unit: ");
            put_quoted(writer->yaml, column->unit);
        }
        text_puts(writer->yaml, column->is_optional ? ", optional: true}" : "}");
        end_line(writer, &column->doubt);
    }
}

static const char *role_word(const struct planned_column *column)
{
    return column->role == COLUMN_QUANTITY ? quantity_info(column->quantity)->key
                                           : column_role_choice((int)column->role);
}

static void write_words(struct writer *writer, const char *key, const struct planned_word *words, size_t count,
                        const char *(*meaning)(int))
{
    text_printf(writer->yaml, "    %s:\n", key);
    for (size_t i = 0; i < count; i++) {
        text_puts(writer->yaml, "      ");
        put_quoted(writer->yaml, words[i].word);
        text_printf(writer->yaml, ": %s", meaning(words[i].meaning));
        end_line(writer, &words[i].doubt);
    }
}

static const char *note_kind_name(int meaning)
{
    return note_kind_word((enum note_kind)meaning);
}

static const char *quantity_name(int meaning)
{
    return quantity_info((enum quantity)meaning)->key;
}

static void write_list(struct writer *writer, const char *indent, const char *key, const char *const *words,
                       size_t count)
{
    text_printf(writer->yaml, "%s%s: [", indent, key);
    for (size_t i = 0; i < count; i++) {
        text_puts(writer->yaml, i > 0 ? ", " : "");
        put_quoted(writer->yaml, words[i]);
    }
    text_puts(writer->yaml, "]");
}

static void write_text(struct writer *writer, const char *key, const char *value)
{
    static const struct doubt none = {0};
    text_printf(writer->yaml, "    %s: ", key);
    put_quoted(writer->yaml, value);
    end_line(writer, &none);
}

/* Double quotes take every text; words that YAML could take for something else need them. */
static void put_quoted(struct text *yaml, const char *value)
{
    text_putc(yaml, '"');
    for (const char *at = value; *at; at++) {
        unsigned char c = (unsigned char)*at;
        if (c == '"' || c == '\\')
            text_putc(yaml, '\\');
        if (c < 0x20 || c == 0x7F)
            text_printf(yaml, "\\x%02X", c);
        else
            text_putc(yaml, *at);
    }
    text_putc(yaml, '"');
}

static void end_line(struct writer *writer, const struct doubt *doubt)
{
    if (doubt->why)
        text_printf(writer->yaml, "  # unsure: %s", doubt->why);
    else if (doubt->remark)
        text_printf(writer->yaml, "  # %s", doubt->remark);
    text_putc(writer->yaml, '\n');
    if (doubt->question && *writer->question_count < writer->most_questions)
        writer->questions[(*writer->question_count)++] = doubt->question;
}
