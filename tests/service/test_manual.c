/* SPDX-License-Identifier: MIT */
#include "service/manual.h"

#include "base/memory.h"
#include "config/options.h"

#include <criterion/criterion.h>
#include <string.h>

static const struct manual_command commands[] = {{"look", "PLACE [TIME]", "look at one place (--json)", true},
                                                 {"rest", NULL, "do nothing", false}};
static const struct manual_option switches[] = {{"config", 'c', true, "FILE", "the settings"},
                                                {"json", 'j', false, NULL, "for machines"}};
static const struct manual manual = {commands, COUNT_OF(commands), switches, COUNT_OF(switches)};

static struct text printed(void (*print)(const struct manual *, struct text *))
{
    struct text text;
    text_init(&text, 1 << 20);
    print(&manual, &text);
    cr_assert_not(text.is_full);
    return text;
}

Test(manual, the_page_has_every_command_and_option)
{
    struct text text = printed(manual_print_page);
    cr_expect_not_null(strstr(text.bytes, ".TH RILLWARD 1 "));
    cr_expect_not_null(strstr(text.bytes, ".TP\n\\fBlook\\fR \\fIPLACE [TIME]\\fR\nlook at one place (\\-\\-json).\n"));
    cr_expect_not_null(strstr(text.bytes, ".TP\n\\fBrest\\fR\ndo nothing.\n"));
    cr_expect_not_null(strstr(text.bytes, ".TP\n\\fB\\-c, \\-\\-config\\fR \\fIFILE\\fR\nthe settings.\n"));
    cr_expect_not_null(strstr(text.bytes, ".B rillward rest\n[options]\n"), "it needs no settings");
    text_done(&text);
}

Test(manual, the_settings_page_has_every_setting_with_its_facts)
{
    struct text text, facts, wanted;
    text_init(&text, 1 << 20);
    manual_print_settings(&text);
    const struct section *section;
    for (size_t i = 0; (section = option_section(i)) != NULL; i++)
        for (size_t k = 0; k < section->count; k++) {
            text_init(&facts, 4096);
            text_init(&wanted, 8192);
            option_print_facts(&facts, &section->options[k]);
            text_printf(&wanted, ".TP\n.B %s\n(", section->options[k].key);
            manual_escape(&wanted, facts.bytes);
            text_puts(&wanted, ")\n.br\n");
            manual_escape(&wanted, section->options[k].help);
            cr_expect_not_null(strstr(text.bytes, wanted.bytes), "%s", wanted.bytes);
            text_done(&facts);
            text_done(&wanted);
        }
    text_done(&text);
}

Test(manual, nothing_in_a_text_is_a_request_or_an_escape)
{
    struct text text;
    text_init(&text, 1000);
    manual_escape(&text, ".so a\\b 'c' -x\n'd");
    cr_expect_str_eq(text.bytes, "\\&.so a\\eb \\(aqc\\(aq \\-x\n\\&\\(aqd");
    text_done(&text);
}

Test(manual, help_and_completion_name_every_command)
{
    struct text usage = printed(manual_print_usage), completion = printed(manual_print_completion);
    cr_expect_not_null(strstr(usage.bytes, "  look      PLACE [TIME]\n            look at one place (--json)\n"));
    cr_expect_not_null(strstr(usage.bytes, "  -c, --config FILE "));
    cr_expect_not_null(strstr(completion.bytes, "\"look rest help --version\""));
    cr_expect_not_null(strstr(completion.bytes, "\"-c --config --json\""));
    text_done(&usage);
    text_done(&completion);
}
