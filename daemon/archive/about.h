/* SPDX-License-Identifier: MIT */
/* What every reader of the archive must be told: the page about.txt at its top, and the cautions in every
 * format. */
#ifndef RILLWARD_ARCHIVE_ABOUT_H
#define RILLWARD_ARCHIVE_ABOUT_H

#include "base/text.h"
#include "config/config.h"

/* One or two sentences each, plain ASCII, the same words in every file. */
const char *about_provisional(void); /* that a person has yet to review the values */
const char *about_caution(void);     /* that warnings must not hang on them */

/* about.txt: one page of plain text, lines under 120 columns but for the names from the settings. Appends to
 * `ret`. */
void about_render(const struct config *config, struct text *ret);

#endif
