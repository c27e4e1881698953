/* SPDX-License-Identifier: MIT */
/* Words and numbers from the settings and the field, safe in markup: escaped, and with nothing in them that hides or
 * turns text around. */
#ifndef RILLWARD_ARCHIVE_SAY_H
#define RILLWARD_ARCHIVE_SAY_H

#include "base/text.h"

/* Control bytes, broken UTF-8 and bidirectional controls become visible, markup is escaped. Long texts are cut. */
void say(struct text *text, const char *words);

#endif
