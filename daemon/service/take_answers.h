/* SPDX-License-Identifier: MIT */
/* Answers that come as a file of the inbox. Only files that 'alarms: answers' of the settings names are heard: who can
 * write there can silence alarms. */
#ifndef RILLWARD_SERVICE_TAKE_ANSWERS_H
#define RILLWARD_SERVICE_TAKE_ANSWERS_H

#include "service/tell.h"

/* Is the file one of answers: named by the settings, or called so? */
bool answers_are_in(const struct config *config, const char *path);

struct answers_taken {
    size_t lines; /* in the file */
    size_t given; /* of those not heard before */
    size_t refused;
    bool ends_open;   /* nothing was done: the last line may be half written */
    const char *said; /* arena: what became of the lines that could not be given, each on a line; "" */
};

/* Gives each answer that was not given before from this path, and writes down what became of it. `written`: when the
 * file was last changed; numbers of alarms that we learnt of later mean others (a database that was lost counts anew).
 * In the caller's transaction. False: INPUT error (set it aside: not trusted, or no such table), else the machine is in
 * the way. */
bool answers_take(const struct teller *teller, const char *path, const char *bytes, size_t length,
                  bool open_end_is_fine, int64_t written, int64_t now, struct answers_taken *ret, struct error *error);

/* Of an original that comes back into a database that forgot it: its lines were heard at `arrived`, and are not heard
 * again. */
bool answers_remember(const struct teller *teller, const char *path, const char *bytes, size_t length, int64_t arrived,
                      size_t *ret_lines, struct error *error);

#endif
