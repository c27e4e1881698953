/* SPDX-License-Identifier: MIT */
/* How a verdict is written into a record, and how it passes from what was measured to what is computed from
 * it. */
#ifndef RILLWARD_DERIVE_ROWS_H
#define RILLWARD_DERIVE_ROWS_H

#include "model/record.h"

/* Set the bit and worsen the flag; what a person restored keeps its flag. */
void rows_mark(struct record *record, enum quantity quantity, size_t i, enum test test, uint8_t flag);

/* What casts doubt on the source casts doubt on the result. A pass does not: the result is judged by its own
 * tests; what a person restored is restored, not what is computed from it; and a pause stands before a
 * sample, not in its value. */
void rows_inherit_one(struct record *record, enum quantity to, enum quantity from, size_t i);
/* All rows; nothing where one of the two is no column. */
void rows_inherit(struct record *record, enum quantity to, enum quantity from);

/* A value computed where none was measured: no longer missing, and as good as what it is made of. */
void rows_make(struct record *record, enum quantity made, enum quantity from, size_t i);

#endif
