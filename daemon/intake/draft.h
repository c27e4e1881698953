/* SPDX-License-Identifier: MIT */
/* A layout drafted from files that no layout fits, for a person to look at, answer what is asked, and keep.
 *
 * What the files show is taken: delimiter, decimal mark, header, columns with their units, time format, labels above
 * the header, words for no value, the end. What they cannot show - whose clock it is, day or month first, water or air
 * - is filled in with the likelier answer, marked "unsure" in a comment with the reason, and asked. */
#ifndef RILLWARD_INTAKE_DRAFT_H
#define RILLWARD_INTAKE_DRAFT_H

#include "base/error.h"
#include "base/memory.h"

#include <stdbool.h>
#include <stddef.h>

enum { DRAFT_MOST_FILES = 100 };

struct draft_file {
    const char *path; /* its name gives the layout its id; for messages */
    const char *bytes;
    size_t length;
};

struct draft {
    const char *id;
    const char *yaml; /* a `layouts:` section as the settings take it; the questions follow as comments */
    const char **questions;
    size_t question_count;
};

/* Several files of one kind make a draft surer: a day above 12 in one settles all, and a column that some lack becomes
 * optional. All in the arena. INPUT error naming the file where one holds no table, not
 * the same one as the first, or no column with a name that is known. */
bool draft_layout(struct arena *arena, const struct draft_file *files, size_t count, struct draft *ret,
                  struct error *error);

#endif
