/* SPDX-License-Identifier: MIT */
/* The manual pages and the shell completion, made from the tables that the parsers read, so that they cannot lag
 * behind.
 *
 * Pages are roff with the man macros (groff_man(7)) and carry no date: the same program prints the same bytes. */
#ifndef RILLWARD_SERVICE_MANUAL_H
#define RILLWARD_SERVICE_MANUAL_H

#include "base/text.h"

#include <stdbool.h>
#include <stddef.h>

struct manual_command {
    const char *name;
    const char *words; /* what may follow beside the options: "STATION TIME [QUANTITY]"; NULL or "": nothing */
    const char *help;  /* one sentence without full stop */
    bool needs_settings;
};

struct manual_option {
    const char *name;  /* "config" */
    char letter;       /* what the parser calls it */
    bool has_short;    /* -c is accepted too */
    const char *value; /* "FILE"; NULL: it takes none */
    const char *help;
};

struct manual {
    const struct manual_command *commands;
    size_t command_count;
    const struct manual_option *options;
    size_t option_count;
};

/* All append to ret. */
void manual_print_usage(const struct manual *manual, struct text *ret);      /* `rillward help` */
void manual_print_page(const struct manual *manual, struct text *ret);       /* rillward(1) */
void manual_print_settings(struct text *ret);                                /* rillward.yaml(5) */
void manual_print_completion(const struct manual *manual, struct text *ret); /* for bash */

/* `string` for roff text: nothing in it is a request, a font change or a hyphen that a terminal cannot paste. */
void manual_escape(struct text *ret, const char *string);

#endif
