/* SPDX-License-Identifier: MIT */
/* A field note as it was understood, in words: the one wording of pages, status and lists of changes, so that the crew
 * meets the same line wherever they hold it against the notebook. */
#ifndef RILLWARD_MODEL_NOTE_WORDS_H
#define RILLWARD_MODEL_NOTE_WORDS_H

#include "base/text.h"
#include "model/facts.h"

/* Adds "Dissolved oxygen, as found: sensor 7.95 mg/L, meter 8.21 mg/L". Neither when, nor the note's own text. Heights
 * to the mm; other values in the written unit with the decimals of their quantity, no zeros behind. Times are those of
 * a clock `utc_offset` ms ahead of UTC. Plain text: no byte of it comes from the crew. */
void note_words(const struct note *note, int64_t utc_offset, struct text *text);

/* Adds "2026-04-06 13:50", with seconds and ms where there are any. */
void note_words_time(int64_t time, int64_t utc_offset, struct text *text);

#endif
