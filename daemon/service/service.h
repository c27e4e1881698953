/* SPDX-License-Identifier: MIT */
/* The daemon: one loop over four sources (signals, inbox events, network, time), one bounded piece of work a turn. */
#ifndef RILLWARD_SERVICE_SERVICE_H
#define RILLWARD_SERVICE_SERVICE_H

#include "base/error.h"
#include "config/config.h"

#include <stdbool.h>
#include <stdint.h>

struct service_options {
    const char *config_path;
    bool once;         /* take, derive, publish, deliver, then end */
    int64_t clock_set; /* wall clock to begin with, for rehearsals on old data; TIME_NONE: the real one */
};

/* Runs until SIGTERM or SIGINT (`once`: until nothing is left to do). Takes over `config`, which SIGHUP replaces.
 * False with an error where it could not start or had to stop. ret_needs_hand: something waits for a person: a drop set
 * aside or waiting, a notice that could not be delivered. */
bool service_run(const struct service_options *options, struct config *config, bool *ret_needs_hand,
                 struct error *error);

#endif
