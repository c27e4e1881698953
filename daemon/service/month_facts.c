/* SPDX-License-Identifier: MIT */
#include "service/month_facts.h"

#include "base/memory.h"

#include <stdlib.h>

enum { MOST_KEPT = 1024 }; /* two MiB */

struct known_months {
    struct month_facts **of; /* by station; NULL: nothing */
    size_t stations, kept;
};

struct known_months *known_months_new(size_t stations)
{
    struct known_months *known = x_alloc(sizeof *known);
    known->of = x_array(stations + 1, sizeof *known->of);
    known->stations = stations;
    return known;
}

void known_months_free(struct known_months *known)
{
    if (!known)
        return;
    for (size_t k = 0; k < known->stations; k++)
        free(known->of[k]);
    free(known->of);
    free(known);
}

void known_months_put(struct known_months *known, size_t station, const struct month_facts *facts)
{
    struct month_facts **at = &known->of[station];
    if (*at ? (*at)->month > facts->month : known->kept >= MOST_KEPT)
        return;
    if (!*at) {
        *at = x_alloc(sizeof **at);
        known->kept++;
    }
    **at = *facts;
}

bool known_months_take(struct known_months *known, size_t station, int32_t month, struct month_facts *ret)
{
    bool is_known = known->of[station] && known->of[station]->month == month;
    if (is_known)
        *ret = *known->of[station];
    known_months_forget(known, station);
    return is_known;
}

void known_months_forget(struct known_months *known, size_t station)
{
    known->kept -= known->of[station] != NULL;
    free(known->of[station]);
    known->of[station] = NULL;
}
