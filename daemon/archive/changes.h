/* SPDX-License-Identifier: MIT */
/* What a revision of a record changed, and which facts are behind it: lines of plain text for people, each with its
 * end. From what was published and what is published now alone, so the same facts give the same words. */
#ifndef RILLWARD_ARCHIVE_CHANGES_H
#define RILLWARD_ARCHIVE_CHANGES_H

#include "base/text.h"

enum { CHANGES_LINES_MAX = 40 }; /* of the facts; how many more there are is said */

/* `before` and `after` list facts, one line each, any order: "file 'a.csv'", "note ...". Lines that begin with
 * "settings " and "program " hold digests and versions: that they are others is said, "settings" without the digest.
 * Tells what came and what is there no more, in the order of the lists. `before` "" : it was not kept, and nothing is
 * said. */
void changes_of_facts(const char *before, const char *after, struct text *ret);

/* The CSVs of a month, as write_csv() makes them, row by row: rows that came and went, then for each quantity how many
 * values came, went and changed, by how much (the largest and the mean of the differences, with sign, written units),
 * and how many flags changed in rows that both have. */
void changes_of_rows(const char *before, size_t before_length, const char *after, size_t after_length,
                     struct text *ret);

#endif
