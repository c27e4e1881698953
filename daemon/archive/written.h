/* SPDX-License-Identifier: MIT */
/* Values as they stand in files: in the written unit, with the decimals of their quantity. Formats that hold numbers
 * and formats that hold text agree to the last digit because both go through the same rounding. */
#ifndef RILLWARD_ARCHIVE_WRITTEN_H
#define RILLWARD_ARCHIVE_WRITTEN_H

#include "archive/dataset.h"
#include "base/text.h"
#include "model/quantity.h"

/* `value` rounded to `decimals` (0..9): the number that reads back from what text_number() writes. NaN stays NaN, and
 * so does a number of more than 4.5e15 units of the last digit. */
double written_round(double value, int decimals);
/* The number in the cell of `quantity`, from the value inside. */
double written_value(enum quantity quantity, double inside);
/* The same as text; nothing for NaN. */
void written_print(struct text *to, enum quantity quantity, double inside);

/* ISO 8601 duration of whole seconds: "P30DT23H55M", "PT5M"; "PT0S" for none. */
void written_print_duration(struct text *to, int64_t duration);

/* Position in dataset->barometers of the number in a record's row, from 1; 0 where no barometer was used. */
size_t written_barometer(const struct dataset *dataset, uint32_t number);

/* What a field note is about: quantity of its value, QUANTITY_COUNT where it has none. */
enum quantity written_note_quantity(const struct note *note);

#endif
