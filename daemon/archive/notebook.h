/* SPDX-License-Identifier: MIT */
/* An empty file for a crew's field notes, as a layout of the settings reads it: the columns in the layout's order, what
 * to write in each, and in a workbook the words to choose from (stations, kinds, quantities). Filled in and dropped
 * into the inbox it is read without a further word. */
#ifndef RILLWARD_ARCHIVE_NOTEBOOK_H
#define RILLWARD_ARCHIVE_NOTEBOOK_H

#include "base/text.h"
#include "config/config.h"

#include <stdbool.h>

/* Whether an empty file can be made for it: it holds notes, and each header is plain once its * and ? are left out. */
bool notebook_suits(const struct layout *layout);

/* To an empty text. CSV: the explanations are comments where the layout has them, and left out where not. Workbook: the
 * sheet to fill in, and one that explains it. */
void notebook_render_csv(const struct config *config, const struct layout *layout, struct text *ret);
void notebook_render_workbook(const struct config *config, const struct layout *layout, struct text *ret);

#endif
