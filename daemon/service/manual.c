/* SPDX-License-Identifier: MIT */
#include "service/manual.h"

#include "base/memory.h"
#include "config/options.h"
#include "science/units.h"

#include <stdio.h>
#include <string.h>

static void title(struct text *ret, const char *name, int section, const char *about);
static void heading(struct text *ret, const char *words);
static void paragraph(struct text *ret, const char *words);
static void tagged(struct text *ret, const char *tag, const char *help);
static void print_synopsis(const struct manual *manual, struct text *ret);
static void print_options(const struct manual *manual, struct text *ret);
static void print_sections(struct text *ret);
static void print_units(struct text *ret);
static void print_block(struct text *ret, void (*print)(struct text *));

static const char cautions[] =
    "Values are provisional until a qualified person has reviewed them. Alarms may be late, because data are; they do "
    "not "
    "replace official flood or water-quality warnings. Thresholds follow local rules and licensed practice.";

/* ---- help ---- */

void manual_print_usage(const struct manual *manual, struct text *ret)
{
    text_puts(ret, "usage: rillward COMMAND -c FILE [options]\n\n");
    for (size_t i = 0; i < manual->command_count; i++) {
        const struct manual_command *command = &manual->commands[i];
        bool has_words = command->words && *command->words;
        text_printf(ret, "  %-9s %s%s%s\n", command->name, has_words ? command->words : "",
                    has_words ? "\n            " : "", command->help);
    }
    text_putc(ret, '\n');
    for (size_t i = 0; i < manual->option_count; i++) {
        const struct manual_option *option = &manual->options[i];
        char name[64];
        snprintf(name, sizeof name, "--%s%s%s", option->name, option->value ? " " : "",
                 option->value ? option->value : "");
        text_printf(ret, "  %c%c%s %-19s %s\n", option->has_short ? '-' : ' ', option->has_short ? option->letter : ' ',
                    option->has_short ? "," : " ", name, option->help);
    }
    text_puts(
        ret,
        "      --version           tell the version\n\n"
        "Exit status: 0 fine, 1 something needs a hand, 2 wrong use or settings.\n"
        "Values are provisional until a qualified person has reviewed them. Alarms may be late, because data are;\n"
        "they do not replace official flood or water-quality warnings.\n");
}

/* ---- rillward(1) ---- */

void manual_print_page(const struct manual *manual, struct text *ret)
{
    title(ret, "rillward", 1, "finished records and alarms from water loggers' files");
    print_synopsis(manual, ret);
    heading(ret, "DESCRIPTION");
    paragraph(ret,
              "rillward watches a synced folder into which field crews drop files of submerged water loggers, of "
              "barometric loggers, and of field notes. It pairs water with air pressure by site and time, corrects, "
              "flags, applies rules, writes finished records to an archive, and sends alarms by webhook and e-mail. "
              "The folder is only ever read.");
    paragraph(ret, "All commands but serve and once may be used while the service runs.");
    heading(ret, "COMMANDS");
    for (size_t i = 0; i < manual->command_count; i++) {
        const struct manual_command *command = &manual->commands[i];
        text_puts(ret, ".TP\n\\fB");
        manual_escape(ret, command->name);
        if (command->words && *command->words) {
            text_puts(ret, "\\fR \\fI");
            manual_escape(ret, command->words);
        }
        text_puts(ret, "\\fR\n");
        manual_escape(ret, command->help);
        text_puts(ret, ".\n");
    }
    print_options(manual, ret);
    heading(ret, "SIGNALS");
    tagged(ret, "SIGHUP",
           "Read the settings again. Settings with mistakes change nothing: the running ones stay in force.");
    tagged(ret, "SIGTERM, SIGINT", "Stop after the piece of work at hand.");
    heading(ret, "EXIT STATUS");
    tagged(ret, "0", "Fine.");
    tagged(ret, "1", "Something needs a hand, or the machine was in the way.");
    tagged(ret, "2", "Wrong use or wrong settings: starting again does not help.");
    heading(ret, "ENVIRONMENT");
    tagged(ret, "NO_COLOR", "When set and not empty, output on a terminal has no colours.");
    tagged(ret, "CREDENTIALS_DIRECTORY", "Folder of the credentials that settings name; set by the service manager.");
    tagged(ret, "TZDIR", "Folder of time zones, instead of /usr/share/zoneinfo.");
    heading(ret, "FILES");
    tagged(ret, "/etc/rillward/rillward.yaml", "The settings of the service; see rillward.yaml(5).");
    tagged(ret, "/var/lib/rillward", "Home of the service: the place for its state and its archive.");
    tagged(ret, "/usr/share/doc/rillward", "The operator's guide (README.md) and example settings.");
    heading(ret, "CAUTIONS");
    paragraph(ret, cautions);
    heading(ret, "SEE ALSO");
    text_puts(ret, ".BR rillward.yaml (5),\n.BR systemctl (1),\n.BR journalctl (1)\n");
}

static void print_synopsis(const struct manual *manual, struct text *ret)
{
    heading(ret, "SYNOPSIS");
    for (size_t i = 0; i < manual->command_count; i++) {
        const struct manual_command *command = &manual->commands[i];
        text_puts(ret, i > 0 ? ".br\n.B rillward " : ".B rillward ");
        manual_escape(ret, command->name);
        text_puts(ret, command->needs_settings ? "\n.B \\-c\n.I FILE" : "");
        if (command->words && *command->words) {
            text_puts(ret, "\n.I ");
            manual_escape(ret, command->words);
        }
        text_puts(ret, "\n[options]\n");
    }
}

static void print_options(const struct manual *manual, struct text *ret)
{
    heading(ret, "OPTIONS");
    for (size_t i = 0; i < manual->option_count; i++) {
        const struct manual_option *option = &manual->options[i];
        text_puts(ret, ".TP\n\\fB");
        if (option->has_short)
            text_printf(ret, "\\-%c, ", option->letter);
        text_puts(ret, "\\-\\-");
        manual_escape(ret, option->name);
        text_printf(ret, "\\fR%s%s%s\n", option->value ? " \\fI" : "", option->value ? option->value : "",
                    option->value ? "\\fR" : "");
        manual_escape(ret, option->help);
        text_puts(ret, ".\n");
    }
    tagged(ret, "--version", "Tell the version.");
}

/* ---- rillward.yaml(5) ---- */

void manual_print_settings(struct text *ret)
{
    title(ret, "rillward.yaml", 5, "settings of rillward");
    heading(ret, "DESCRIPTION");
    paragraph(ret,
              "One YAML file describes the network: where files come from, the stations and barometers, how each kind "
              "of file is read, what is told to whom. The main file may include others. It is read whole: every "
              "mistake is told with file, line and column, and nothing starts on a file that has one. Unknown and "
              "repeated keys are mistakes.");
    paragraph(ret,
              "Quantities are written with their unit, as in '30 min', '0.25 m', '18 in', '3 mg/L'; the wrong kind of "
              "unit is a mistake. Relative paths are taken from the folder of the file that they stand in. Secrets "
              "never stand in the file: a setting names a file that only the service can read, or a credential of the "
              "service manager.");
    paragraph(ret,
              "'rillward check -c FILE' tells every mistake; a running service reads the settings again at SIGHUP.");
    print_sections(ret);
    heading(ret, "DEFAULT LIMITS");
    print_block(ret, option_print_limits);
    heading(ret, "KINDS OF RULES");
    print_block(ret, option_print_rule_kinds);
    print_units(ret);
    heading(ret, "CAUTIONS");
    paragraph(ret, cautions);
    heading(ret, "FILES");
    tagged(ret, "/usr/share/doc/rillward/examples",
           "Settings to begin with: minimal.yaml; full.yaml has every setting.");
    heading(ret, "SEE ALSO");
    text_puts(ret, ".BR rillward (1)\n");
}

static void print_sections(struct text *ret)
{
    const struct section *section;
    heading(ret, "SETTINGS");
    for (size_t i = 0; (section = option_section(i)) != NULL; i++) {
        text_puts(ret, ".SS ");
        manual_escape(ret, *section->path ? section->path : "Top of the file");
        text_putc(ret, '\n');
        for (size_t k = 0; k < section->count; k++) {
            const struct option *option = &section->options[k];
            struct text facts;
            text_init(&facts, 4096);
            option_print_facts(&facts, option);
            text_puts(ret, ".TP\n.B ");
            manual_escape(ret, option->key);
            text_puts(ret, "\n(");
            manual_escape(ret, facts.bytes ? facts.bytes : "");
            text_puts(ret, ")\n.br\n");
            manual_escape(ret, option->help);
            text_puts(ret, ".\n");
            text_done(&facts);
        }
    }
}

static void print_units(struct text *ret)
{
    heading(ret, "UNITS");
    paragraph(ret, "Case counts. The first spelling is the one that is printed.");
    for (size_t i = 0; i < unit_count(); i++) {
        const struct unit *unit = unit_at(i);
        if (i == 0 || unit->dimension != unit_at(i - 1)->dimension) {
            text_puts(ret, ".SS ");
            manual_escape(ret, unit_dimension_name(unit->dimension));
            text_putc(ret, '\n');
        }
        text_puts(ret, ".TP\n.B \"");
        const char *spelling;
        size_t length;
        for (size_t k = 0; (spelling = unit_spelling(unit, k, &length)) != NULL; k++) {
            char word[64];
            snprintf(word, sizeof word, "%.*s", (int)length, spelling);
            text_puts(ret, k > 0 ? ", " : "");
            manual_escape(ret, word);
        }
        text_puts(ret, "\"\n");
        manual_escape(ret, unit->help);
        text_putc(ret, '\n');
    }
}

/* Lines that are set as they are. */
static void print_block(struct text *ret, void (*print)(struct text *))
{
    struct text block;
    text_init(&block, (size_t)1 << 20);
    print(&block);
    text_puts(ret, ".nf\n");
    for (const char *line = block.bytes; line && *line;) {
        size_t length = strcspn(line, "\n");
        CLEANUP(cleanup_free) char *copy = x_strndup(line, length);
        manual_escape(ret, copy);
        text_putc(ret, '\n');
        line += length + (line[length] == '\n');
    }
    text_puts(ret, ".fi\n");
    text_done(&block);
}

/* ---- completion ---- */

void manual_print_completion(const struct manual *manual, struct text *ret)
{
    text_puts(ret, "# bash completion for rillward\n_rillward()\n{\n"
                   "    local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]}\n"
                   "    COMPREPLY=()\n"
                   "    if [ \"$COMP_CWORD\" -eq 1 ]; then\n"
                   "        mapfile -t COMPREPLY < <(compgen -W \"");
    for (size_t i = 0; i < manual->command_count; i++)
        text_printf(ret, "%s ", manual->commands[i].name);
    text_puts(ret, "help --version\" -- \"$word\")\n"
                   "        return\n"
                   "    fi\n"
                   "    case $before in\n");
    for (size_t i = 0; i < manual->option_count; i++) {
        const struct manual_option *option = &manual->options[i];
        if (!option->value)
            continue;
        text_puts(ret, "        ");
        if (option->has_short)
            text_printf(ret, "-%c | ", option->letter);
        text_printf(ret, "--%s)\n            ", option->name);
        text_puts(ret, strcmp(option->value, "FILE") == 0 ? "mapfile -t COMPREPLY < <(compgen -f -- \"$word\")\n" : "");
        text_puts(ret, strcmp(option->value, "FILE") == 0 ? "            compopt -o filenames\n            return ;;\n"
                                                          : "return ;;\n");
    }
    text_puts(ret, "    esac\n"
                   "    case $word in\n"
                   "        -*) mapfile -t COMPREPLY < <(compgen -W \"");
    for (size_t i = 0; i < manual->option_count; i++) {
        if (manual->options[i].has_short)
            text_printf(ret, "-%c ", manual->options[i].letter);
        text_printf(ret, "--%s%s", manual->options[i].name, i + 1 < manual->option_count ? " " : "");
    }
    text_puts(ret, "\" -- \"$word\") ;;\n"
                   "        *)\n"
                   "            mapfile -t COMPREPLY < <(compgen -f -- \"$word\")\n"
                   "            compopt -o filenames ;;\n"
                   "    esac\n"
                   "}\n"
                   "complete -F _rillward rillward\n");
}

/* ---- roff ---- */

void manual_escape(struct text *ret, const char *string)
{
    for (const char *at = string; *at; at++) {
        bool begins_line = at == string || at[-1] == '\n';
        if (begins_line && (*at == '.' || *at == '\''))
            text_puts(ret, "\\&");
        switch (*at) {
        case '\\': text_puts(ret, "\\e"); break;
        case '-': text_puts(ret, "\\-"); break;
        case '\'': text_puts(ret, "\\(aq"); break;
        case '"': text_puts(ret, "\\(dq"); break;
        case '^': text_puts(ret, "\\(ha"); break;
        case '~': text_puts(ret, "\\(ti"); break;
        case '`': text_puts(ret, "\\(ga"); break;
        default: text_putc(ret, *at);
        }
    }
}

static void title(struct text *ret, const char *name, int section, const char *about)
{
    text_puts(ret, ".TH ");
    for (const char *at = name; *at; at++)
        text_putc(ret, *at >= 'a' && *at <= 'z' ? (char)(*at - 'a' + 'A') : *at);
    text_printf(ret, " %d \"\" \"rillward %s\" \"\"\n.SH NAME\n%s \\- ", section, RILLWARD_VERSION, name);
    manual_escape(ret, about);
    text_putc(ret, '\n');
}

static void heading(struct text *ret, const char *words)
{
    text_printf(ret, ".SH %s\n", words);
}

static void paragraph(struct text *ret, const char *words)
{
    text_puts(ret, ".PP\n");
    manual_escape(ret, words);
    text_putc(ret, '\n');
}

static void tagged(struct text *ret, const char *tag, const char *help)
{
    text_puts(ret, ".TP\n.B \"");
    manual_escape(ret, tag);
    text_puts(ret, "\"\n");
    manual_escape(ret, help);
    text_putc(ret, '\n');
}
