/* SPDX-License-Identifier: MIT */
#include "derive/findings.h"

#include <string.h>

void findings_add(struct findings *findings, struct arena *arena, const struct finding *finding)
{
    if (findings->count == findings->capacity) {
        size_t capacity = findings->capacity ? 2 * findings->capacity : 16;
        struct finding *list = arena_array(arena, capacity, sizeof *list);
        if (findings->count > 0)
            memcpy(list, findings->list, findings->count * sizeof *list);
        findings->list = list;
        findings->capacity = capacity;
    }
    findings->list[findings->count++] = *finding;
}

struct span findings_moment(int64_t time)
{
    return (struct span){time, time + 1};
}
