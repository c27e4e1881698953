/* SPDX-License-Identifier: MIT */
/* `rillward review`: what was reviewed and what asks for a person's word; and that word, given by command. */
#ifndef RILLWARD_SERVICE_REVIEW_COMMAND_H
#define RILLWARD_SERVICE_REVIEW_COMMAND_H

#include "base/error.h"
#include "base/text.h"
#include "config/config.h"

#include <stdbool.h>
#include <stdint.h>

struct review_options {
    char **words; /* none: list; STATION MONTH, or STATION FROM TO */
    int word_count;
    const char *who;    /* NULL: the account that runs it */
    const char *reason; /* NULL: none */
    bool is_reopening, as_json;
    int64_t now;
};

/* Appends what to print to `ret`. INPUT error for wrong use. ret_needs_hand: something is held. */
bool review_command_run(const struct config *config, const struct review_options *options, struct text *ret,
                        bool *ret_needs_hand, struct error *error);

#endif
