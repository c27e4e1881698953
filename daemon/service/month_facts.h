/* SPDX-License-Identifier: MIT */
/* What whoever writes a month's record computes of it and its station's page shows, too: kept in memory from the one to
 * the other, so that the page need not read and count the rows again. Only a shortcut: a page without it reads the
 * record and says the same. */
#ifndef RILLWARD_SERVICE_MONTH_FACTS_H
#define RILLWARD_SERVICE_MONTH_FACTS_H

#include "archive/daily.h"
#include "archive/summary.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct month_facts {
    int32_t month; /* year * 12 + month - 1 */
    struct summary summaries[QUANTITY_COUNT];
    struct daily_hours hours;
};

/* One month of each station, the newest that was put there; of many stations at once only some, so that memory does not
 * grow with the network. */
struct known_months;
struct known_months *known_months_new(size_t stations);
void known_months_free(struct known_months *known); /* NULL is fine */
void known_months_put(struct known_months *known, size_t station, const struct month_facts *facts);
/* Those of this month, and they are kept no longer; false: not known. */
bool known_months_take(struct known_months *known, size_t station, int32_t month, struct month_facts *ret);
void known_months_forget(struct known_months *known, size_t station);

#endif
