/* SPDX-License-Identifier: MIT */
/* A list of findings that grows in the arena, in the order in which the chain came upon them. */
#ifndef RILLWARD_DERIVE_FINDINGS_H
#define RILLWARD_DERIVE_FINDINGS_H

#include "base/memory.h"
#include "model/facts.h"

struct findings {
    struct finding *list;
    size_t count, capacity;
};

/* finding->text must live as long as the arena. */
void findings_add(struct findings *findings, struct arena *arena, const struct finding *finding);

/* The span of a moment. */
struct span findings_moment(int64_t time);

#endif
