/* SPDX-License-Identifier: MIT */
/* `rillward alarms`: list alarms, answer them, tell the history of one. Works beside a running service, which hears of
 * each answer at once. `test` sends a notice to recipients and tells what came of it. */
#ifndef RILLWARD_SERVICE_ALARMS_COMMAND_H
#define RILLWARD_SERVICE_ALARMS_COMMAND_H

#include "base/error.h"
#include "base/text.h"
#include "config/config.h"

#include <stdbool.h>
#include <stdint.h>

struct alarms_options {
    char **words; /* behind 'alarms': none or "list"; "acknowledge" ID...; "shelve" ID; "unshelve" ID; "history" ID;
                   * "test" RECIPIENT... */
    int word_count;
    const char *who;    /* NULL: the name of the account that runs the command */
    const char *until;  /* shelve: as written; NULL */
    const char *reason; /* NULL */
    bool as_json;
    int64_t now;
};

/* Appends to ret. ret_needs_hand: somebody's answer is waited for (list). False with an INPUT error for wrong use; of
 * several answers those before the failing one were given, and stand in ret. */
bool alarms_command_run(const struct config *config, const struct alarms_options *options, struct text *ret,
                        bool *ret_needs_hand, struct error *error);

#endif
