/* SPDX-License-Identifier: MIT */
/* What the words of header cells and notebooks hint at. The words are those that the trade writes, in English, German,
 * Spanish, French, Portuguese, Dutch, Italian and the Nordic languages; case and accents do not count. */
#ifndef RILLWARD_INTAKE_DRAFT_WORDS_H
#define RILLWARD_INTAKE_DRAFT_WORDS_H

#include "intake/table.h"
#include "model/facts.h"

#include <stdint.h>

#define CLUE(bit) ((uint64_t)1 << (bit))
#define CLUE_PRESSURE CLUE(0)
#define CLUE_AIR CLUE(1)
#define CLUE_WATER CLUE(2)
#define CLUE_TEMPERATURE CLUE(3)
#define CLUE_OXYGEN CLUE(4)
#define CLUE_SATURATION CLUE(5)
#define CLUE_CONDUCTIVITY CLUE(6)
#define CLUE_SPECIFIC CLUE(7)
#define CLUE_SALINITY CLUE(8)
#define CLUE_BATTERY CLUE(9)
#define CLUE_DEPTH CLUE(10) /* depth or level that the logger worked out */
#define CLUE_SERIAL CLUE(11)
#define CLUE_STATION CLUE(12)
#define CLUE_TIME CLUE(13)
#define CLUE_REMARK CLUE(14)
#define CLUE_KIND CLUE(15) /* a column of what was done */
#define CLUE_OF CLUE(16)   /* a column of which quantity */
#define CLUE_VALUE CLUE(17)
#define CLUE_UNIT CLUE(18)
#define CLUE_METER CLUE(19) /* the hand-held one */
#define CLUE_UNTIL CLUE(20)
#define CLUE_OUT CLUE(21)
#define CLUE_IN CLUE(22)
#define CLUE_TAPE CLUE(23)
#define CLUE_STAFF CLUE(24)
#define CLUE_CHECK CLUE(25) /* before cleaning */
#define CLUE_CLEANED CLUE(26)
#define CLUE_STANDARD CLUE(27)
#define CLUE_LOGGER CLUE(28)
#define CLUE_CLOCK CLUE(29)

uint64_t draft_clues(struct cell text);

/* The quantity that a word of a notebook means ("DO", "SpC"); QUANTITY_COUNT for none. */
enum quantity draft_quantity(uint64_t clues);
/* The kind of note that a word of a notebook means ("pulled out"); NOTE_KIND_COUNT for none. */
enum note_kind draft_note_kind(uint64_t clues);

/* Words for "no value" that need no asking: "NA", "---". */
bool draft_is_missing_word(struct cell cell);

#endif
