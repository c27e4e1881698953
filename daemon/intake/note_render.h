/* SPDX-License-Identifier: MIT */
/* A field note as it was understood, for the crew to check against the notebook. */
#ifndef RILLWARD_INTAKE_NOTE_RENDER_H
#define RILLWARD_INTAKE_NOTE_RENDER_H

#include "base/text.h"
#include "config/config.h"

/* Adds one line without its end: "2026-04-06 13:50 -06:00 heron-creek: Water level by staff: 0.556 m "waves"". Times
 * are those of the station's standard time, words those of model/note_words.h; the note's own text stands in quotes at
 * the end. `station` is the note's. */
void note_render(const struct note *note, const struct station *station, struct text *text);

#endif
