/* SPDX-License-Identifier: MIT */
#include "config/options.h"

#include "config/value.h"
#include "config/vocabulary.h"

#include <math.h>

static void print_section(struct text *text, const struct section *section);
static void print_option(struct text *text, const struct option *option);
static void print_form(struct text *text, const struct option *option);
static void print_words(struct text *text, const char *(*choice)(int));
static void print_bounds(struct text *text, const struct option *option);
static void print_pair(struct text *text, const char *key, const char *const pair[2]);
static void print_rule_keys(struct text *text, const char *before, unsigned keys);

void config_print_reference(struct text *text)
{
    const struct section *section;
    for (size_t i = 0; (section = option_section(i)) != NULL; i++)
        print_section(text, section);
    option_print_limits(text);
    option_print_rule_kinds(text);
}

static void print_section(struct text *text, const struct section *section)
{
    text_printf(text, "%s\n", *section->path ? section->path : "(top of the file)");
    for (size_t i = 0; i < section->count; i++)
        print_option(text, &section->options[i]);
    text_putc(text, '\n');
}

/* "  settle: duration, default 5 s, between 0 s and 1 h" and the help below. */
static void print_option(struct text *text, const struct option *option)
{
    text_printf(text, "  %s: ", option->key);
    option_print_facts(text, option);
    text_printf(text, "\n      %s\n", option->help);
}

void option_print_facts(struct text *text, const struct option *option)
{
    print_form(text, option);
    if (option->is_required)
        text_puts(text, ", required");
    if (option->standard && *option->standard)
        text_printf(text, ", default %s", option->standard);
    print_bounds(text, option);
}

static void print_form(struct text *text, const struct option *option)
{
    static const char *const forms[] = {
        [OPTION_TEXT] = "text",
        [OPTION_PROSE] = "text, may have several lines",
        [OPTION_PATH] = "path, relative to the folder of the file",
        [OPTION_WORDS] = "list of texts",
        [OPTION_BOOLEAN] = "true or false",
        [OPTION_INTEGER] = "whole number",
        [OPTION_QUANTITY] = "",
        [OPTION_DIFFERENCE] = "",
        [OPTION_RATE] = "",
        [OPTION_RANGE] = "[lowest, highest]",
        [OPTION_DIFFERENCES] = "[suspect, fail]",
        [OPTION_DURATION] = "duration",
        [OPTION_SIZE] = "size",
        [OPTION_OFFSET] = "offset from UTC",
        [OPTION_CLOCK] = "time of day, hh:mm",
        [OPTION_CHOICE] = "",
        [OPTION_CHOICES] = "",
        [OPTION_CHARACTER] = "",
        [OPTION_QUANTITY_NAME] = "",
        [OPTION_NOTE_KIND] = "",
        [OPTION_SECRET] = "{file: PATH} or {credential: NAME}",
        [OPTION_SECTION] = "section",
        [OPTION_OWN] = "as described",
    };
    if (option->type == OPTION_CHOICES)
        text_puts(text, "list of ");
    if (option->choice)
        print_words(text, option->choice);
    else if (option->type == OPTION_QUANTITY_NAME)
        print_words(text, quantity_choice);
    else if (option->type == OPTION_NOTE_KIND)
        print_words(text, note_kind_choice);
    else if (*forms[option->type])
        text_puts(text, forms[option->type]);
    else if (option->dimension == OF_QUANTITY)
        text_puts(text, "in a unit of the quantity");
    else if (option->dimension == NO_DIMENSION)
        text_puts(text, "number");
    else
        text_puts(text, unit_dimension_name((enum unit_dimension)option->dimension));
    if (option->may_be_none)
        text_puts(text, ", or none");
    if (option->may_be_all)
        text_puts(text, ", or all");
}

static void print_words(struct text *text, const char *(*choice)(int))
{
    for (int i = 0; choice(i); i++)
        text_printf(text, "%s%s", i > 0 ? " | " : "", choice(i));
}

static void print_bounds(struct text *text, const struct option *option)
{
    char least[64], most[64];
    if (!(option->minimum < option->maximum) || isinf(option->maximum))
        return;
    option_print_bound(option, option->minimum, least, sizeof least);
    option_print_bound(option, option->maximum, most, sizeof most);
    text_printf(text, ", between %s and %s", least, most);
}

void option_print_limits(struct text *text)
{
    text_puts(text, "quality: defaults (a proposal to start from, not a norm)\n");
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        const struct limits_text *limits = limits_text(q);
        text_printf(text, "  %s:", quantity_info(q)->key);
        print_pair(text, "sensor", limits->sensor);
        print_pair(text, "usual", limits->usual);
        print_pair(text, "spike", limits->spike);
        if (limits->rate)
            text_printf(text, " rate %s/h;", limits->rate);
        if (limits->flat_suspect)
            text_printf(text, " flat within %s, suspect after %s", limits->flat_tolerance, limits->flat_suspect);
        if (limits->flat_fail)
            text_printf(text, ", fails after %s", limits->flat_fail);
        text_putc(text, '\n');
    }
    text_putc(text, '\n');
}

static void print_pair(struct text *text, const char *key, const char *const pair[2])
{
    if (pair[0])
        text_printf(text, " %s [%s, %s];", key, pair[0], pair[1]);
}

void option_print_rule_kinds(struct text *text)
{
    text_puts(text, "rules: kinds\n");
    for (enum rule_kind kind = 0; kind < RULE_KIND_COUNT; kind++) {
        const struct rule_vocabulary *info = rule_vocabulary(kind);
        text_printf(text, "  %s: %s\n", info->word, info->help);
        print_rule_keys(text, "needs", info->needs);
        print_rule_keys(text, "may have", info->takes);
    }
}

static void print_rule_keys(struct text *text, const char *before, unsigned keys)
{
    bool is_first = true;
    for (unsigned bit = 0; bit < RULE_KEY_COUNT; bit++) {
        if (!(keys & 1u << bit))
            continue;
        text_printf(text, "%s%s", is_first ? "      " : ", ", is_first ? before : "");
        text_printf(text, "%s%s", is_first ? " " : "", rule_key_word(bit));
        is_first = false;
    }
    if (!is_first)
        text_putc(text, '\n');
}
