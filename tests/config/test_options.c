/* SPDX-License-Identifier: MIT */
#include "config/options.h"

#include "base/memory.h"
#include "base/timestamp.h"
#include "config/read.h"
#include "config/value.h"
#include "config/vocabulary.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

Test(options, every_row_has_a_unique_key_and_help)
{
    const struct section *section;
    for (size_t i = 0; (section = option_section(i)) != NULL; i++) {
        cr_expect_leq(section->count, 64);
        for (size_t k = 0; k < section->count; k++) {
            const struct option *option = &section->options[k];
            cr_expect(option->help && strlen(option->help) > 10, "'%s' has no help", option->key);
            cr_expect_eq(option_find(section, option->key), option, "'%s' stands twice", option->key);
            if (option->former)
                cr_expect_eq(option_find(section, option->former), option, "'%s' is taken", option->former);
            bool has_words =
                option->type == OPTION_CHOICE || option->type == OPTION_CHOICES || option->type == OPTION_CHARACTER;
            cr_expect_eq(has_words, option->choice != NULL);
        }
    }
}

/* A section of two settings, of which one had another name, over a file of it. */
static void read_renamed(const char *yaml, struct config *ret, struct config_problems *problems)
{
    static const struct option options[] = {{.key = "rest",
                                             .former = "settle",
                                             .type = OPTION_DURATION,
                                             .offset = offsetof(struct config, settle),
                                             .standard = "5 s",
                                             .maximum = HOUR_MS},
                                            {.key = "rescan",
                                             .type = OPTION_DURATION,
                                             .offset = offsetof(struct config, rescan),
                                             .standard = "10 min",
                                             .maximum = HOUR_MS}};
    static const struct section section = {"", "the file", options, COUNT_OF(options)};
    size_t steps = 1000;
    yaml_parser_t parser;
    yaml_document_t document;
    *ret = (struct config){.arena = arena_new()};
    config_problems_init(problems);
    cr_assert(yaml_parser_initialize(&parser));
    yaml_parser_set_input_string(&parser, (const unsigned char *)yaml, strlen(yaml));
    cr_assert(yaml_parser_load(&parser, &document));
    struct reader reader = {.config = ret,
                            .problems = problems,
                            .document = &document,
                            .file = "test.yaml",
                            .folder = "/",
                            .steps = &steps,
                            .quantity = QUANTITY_COUNT,
                            .about = ""};
    reader_section(&reader, &section, yaml_document_get_root_node(&document), section.title, ret);
    yaml_document_delete(&document);
    yaml_parser_delete(&parser);
}

static void forget(struct config *config, struct config_problems *problems)
{
    arena_free(config->arena);
    config_problems_done(problems);
}

Test(options, a_former_name_is_understood)
{
    struct config config;
    struct config_problems problems;
    read_renamed("settle: 7 s\n", &config, &problems);
    cr_expect_eq(problems.count, 0);
    cr_expect_eq(config.settle, 7000);
    forget(&config, &problems);
    read_renamed("rest: 8 s\n", &config, &problems);
    cr_expect(problems.count == 0 && config.settle == 8000);
    forget(&config, &problems);
}

Test(options, both_names_at_once_are_one_key_twice)
{
    struct config config;
    struct config_problems problems;
    read_renamed("settle: 7 s\nrescan: 9 min\nrest: 8 s\n", &config, &problems);
    cr_assert_eq(problems.count, 1);
    cr_expect_str_eq(problems.list[0].text, "'rest' stands twice in the file, first in line 1");
    forget(&config, &problems);
    read_renamed("rest: 7 s\nsettle: 8 s\n", &config, &problems);
    cr_assert_eq(problems.count, 1);
    cr_expect_str_eq(problems.list[0].text, "'settle' stands twice in the file, first in line 1");
    forget(&config, &problems);
}

Test(options, a_complaint_names_settings_as_they_are_called_now)
{
    struct config config;
    struct config_problems problems;
    read_renamed("settel: 7 s\n", &config, &problems);
    cr_assert_eq(problems.count, 1);
    cr_expect(!strstr(problems.list[0].text, "settle"), "%s", problems.list[0].text);
    forget(&config, &problems);
}

Test(options, the_reference_names_every_key_and_kind)
{
    struct text text;
    const struct section *section;
    text_init(&text, 1 << 20);
    config_print_reference(&text);
    cr_assert_not(text.is_full);
    for (size_t i = 0; (section = option_section(i)) != NULL; i++)
        for (size_t k = 0; k < section->count; k++)
            cr_expect(strstr(text.bytes, section->options[k].key) && strstr(text.bytes, section->options[k].help));
    for (enum rule_kind kind = 0; kind < RULE_KIND_COUNT; kind++)
        cr_expect(strstr(text.bytes, rule_vocabulary(kind)->help));
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++)
        cr_expect(strstr(text.bytes, quantity_info(q)->key));
    cr_expect(strstr(text.bytes, "  settle: duration, default 5 s, between 0 s and 1 h\n"));
    text_done(&text);
}

Test(options, default_limits_are_ordered_and_in_the_unit_of_their_quantity)
{
    for (enum quantity q = 0; q < QUANTITY_COUNT; q++) {
        struct quality_limits limits = default_limits(q);
        cr_expect_lt(limits.sensor_min, limits.sensor_max);
        cr_expect_lt(limits.usual_min, limits.usual_max);
        cr_expect_leq(limits.spike_suspect, limits.spike_fail);
        cr_expect(limits.flat_fail == 0 || limits.flat_suspect <= limits.flat_fail);
    }
    cr_expect_float_eq(default_limits(QUANTITY_WATER_PRESSURE).sensor_min, 40000, 1e-6);
    cr_expect_float_eq(default_limits(QUANTITY_OXYGEN).rate, 2, 0);
}

Test(options, water_without_oxygen_does_not_fail_by_default)
{
    /* A sensor in it shows a little below zero, for days: the alarm must not be lost to a quality test. */
    struct quality_limits limits = default_limits(QUANTITY_OXYGEN);
    cr_expect_lt(limits.sensor_min, -0.1);
    cr_expect_lt(limits.usual_min, -0.1);
    cr_expect_eq(limits.flat_fail, 0);
}

Test(options, kinds_of_rules_have_words_that_round_trip)
{
    for (enum rule_kind kind = 0; kind < RULE_KIND_COUNT; kind++) {
        cr_expect_str_eq(rule_kind_word(kind), rule_kind_choice((int)kind));
        cr_expect_eq(rule_vocabulary(kind)->needs & rule_vocabulary(kind)->takes, 0);
    }
    cr_expect_null(rule_kind_choice(RULE_KIND_COUNT));
    cr_expect_str_eq(rule_key_word(2), "window");
}

Test(options, every_role_of_a_column_has_a_word)
{
    for (int role = COLUMN_QUANTITY + 1; role <= COLUMN_IGNORED; role++)
        cr_expect_not_null(column_role_choice(role), "role %d", role);
    cr_expect_null(column_role_choice(COLUMN_IGNORED + 1));
}

Test(options, kinds_of_rules_say_what_they_measure)
{
    for (enum rule_kind kind = 0; kind < RULE_KIND_COUNT; kind++) {
        unsigned needs = rule_vocabulary(kind)->needs;
        bool has_quantity = needs & RULE_QUANTITY;
        enum rule_measure measure = rule_measure(kind);
        cr_expect_eq(has_quantity, measure == MEASURE_VALUE || measure == MEASURE_CHANGE, "%s", rule_kind_word(kind));
    }
}

Test(options, levels_of_a_rule_are_its_limit_or_the_ends_of_its_band)
{
    double levels[2];
    cr_expect(rule_levels(&(struct rule){.kind = RULE_BELOW, .limit = 3}, levels) == 1 && levels[0] == 3);
    cr_expect(rule_levels(&(struct rule){.kind = RULE_OUTSIDE, .low = 1, .high = 2}, levels) == 2 && levels[0] == 1 &&
              levels[1] == 2);
    cr_expect(rule_levels(&(struct rule){.kind = RULE_OUTSIDE, .low = -INFINITY, .high = 2}, levels) == 1 &&
              levels[0] == 2);
    cr_expect_eq(rule_levels(&(struct rule){.kind = RULE_RISE, .limit = 3}, levels), 0, "that is no level");
    cr_expect_eq(rule_levels(&(struct rule){.kind = RULE_SILENCE}, levels), 0);
}

static const char *word_at(const void *context, size_t index)
{
    const char *const *words = context;
    return words[index];
}

Test(options, only_a_near_word_is_suggested)
{
    static const char *const words[] = {"latitude", "longitude", "drops", "id", NULL};
    cr_expect_str_eq(option_nearest("latitud", word_at, words), "latitude");
    cr_expect_str_eq(option_nearest("Longitude", word_at, words), "longitude");
    cr_expect_str_eq(option_nearest("drop", word_at, words), "drops");
    cr_expect_null(option_nearest("deep", word_at, words));
    cr_expect_null(option_nearest("xy", word_at, words));
    cr_expect_null(option_nearest("", word_at, words));
}
