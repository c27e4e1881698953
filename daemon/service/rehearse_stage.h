/* SPDX-License-Identifier: MIT */
/* Between rehearse.c, which plays rules over the stored history, and rehearse_print.c, which tells what came of it. */
#ifndef RILLWARD_SERVICE_REHEARSE_STAGE_H
#define RILLWARD_SERVICE_REHEARSE_STAGE_H

#include "service/pipeline.h"
#include "service/rehearse.h"

/* One episode that the rules find. */
struct scene {
    const struct rule *rule;
    const char *place;
    struct episode episode;
    int64_t known;
    bool is_old_news;
    bool is_new;   /* no stored alarm is about it */
    bool is_other; /* no scene of the other stage is about it */
};

/* The history under one file of settings. */
struct stage {
    struct pipeline pipeline;
    const struct rehearse_options *options;
    struct scene *scenes;
    size_t count, capacity;
    struct alarm *gone; /* stored, and found no more; texts in `kept` */
    size_t gone_count, gone_capacity, same_count;
    struct arena *kept;
    const struct stage *other; /* the rules that are compared, or NULL */
};

void stage_print_text(const struct stage *stage, struct text *ret);
void stage_print_json(const struct stage *stage, struct text *ret);

#endif
