/* SPDX-License-Identifier: MIT */
/* Collecting complaints about the settings; the reading side is in config.h. */
#ifndef RILLWARD_CONFIG_PROBLEMS_H
#define RILLWARD_CONFIG_PROBLEMS_H

#include "config/config.h"

/* Add one complaint. Texts from the file may stand in it as they are: control bytes come out escaped. After a thousand
 * a last one says that there are more. */
void problem_add(struct config_problems *problems, struct place where, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Order of places: `main_file` first, then the others by name; inside a file by line and column. As strcmp. */
int place_compare(struct place a, struct place b, const char *main_file);
void problems_sort(struct config_problems *problems, const char *main_file);

#endif
