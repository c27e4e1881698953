/* SPDX-License-Identifier: MIT */
/* A small table in which people answer alarms, for whoever has no shell: a header, then one answer a line.
 *
 *     alarm,answer,who,until,reason
 *     42,acknowledge,R. Fen,,on my way
 *     43,shelve,R. Fen,8 h,the gate works until evening
 *
 * Columns in any order, delimiter found, case ignored; 'until' and 'reason' may be left out. Who may send such a file
 * is not judged here, nor what the words mean. */
#ifndef RILLWARD_INTAKE_READ_ANSWERS_H
#define RILLWARD_INTAKE_READ_ANSWERS_H

#include "base/error.h"
#include "base/memory.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { ANSWERS_MOST = 1000, ANSWERS_LARGEST = 256 * 1024 /* bytes */ };

struct answer_line {
    uint32_t line;   /* of the file, from 1 */
    const char *key; /* the line as one text, and which one of the same it is: the same in every version of the file */
    const char *alarm, *answer, *who, *until, *reason; /* as written, never NULL */
};

/* Is this a name of such a file: "answers.csv", "Answers (2).csv"? Folders do not count. */
bool answers_is_name(const char *path);

/* All in the arena. INPUT error that names line and cure where it is no such table, or too large. `ret_ends_open`: the
 * last line has no end yet and may be half written. */
bool answers_read(struct arena *arena, const char *bytes, size_t length, struct answer_line **ret, size_t *ret_n,
                  bool *ret_ends_open, struct error *error);

#endif
