/* SPDX-License-Identifier: MIT */
/* What every reader of the archive must be told: the page about.txt at its top, and the cautions in every
 * format. */
#ifndef RILLWARD_ARCHIVE_ABOUT_H
#define RILLWARD_ARCHIVE_ABOUT_H

#include "archive/dataset.h"
#include "base/text.h"
#include "config/config.h"

#define LONGEST_STATE 65536 /* bytes of a state in words: longer ones are cut */

/* One or two sentences each, plain ASCII, the same words in every file. */
const char *about_provisional(void); /* that a person has yet to review the values */
const char *about_caution(void);     /* that warnings must not hang on them */

/* Whether a person has reviewed this month, in words: the above, or who reviewed what, when and why. Names come as they
 * are, but for what would hide or turn text around. */
void about_add_state(const struct dataset *dataset, struct text *ret);

/* about.txt: one page of plain text, lines under 120 columns but for the names from the settings. Appends to
 * `ret`. */
void about_render(const struct config *config, struct text *ret);

#endif
