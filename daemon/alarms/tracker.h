/* SPDX-License-Identifier: MIT */
/* Private to alarms/: episodes as they are found, and the tracker that turns a stream of values into them. */
#ifndef RILLWARD_ALARMS_TRACKER_H
#define RILLWARD_ALARMS_TRACKER_H

#include "alarms/rules.h"

#define ROUNDING 1e-9 /* of limit and deadband: what is nearer is no difference */

/* Episodes as they are found. */
struct finds {
    struct arena *arena;
    struct episode *list;
    size_t count, capacity;
};
struct episode *finds_add(struct finds *finds);

enum phase {
    AT_REST,
    PENDING,   /* condition met, on_delay or the number of samples not served */
    ACTIVE,    /* an episode */
    RETURNING, /* an episode still, value back, off_delay not served */
};

struct tracker {
    const struct rule *rule;
    struct finds *finds;
    enum phase phase;
    struct episode current; /* unless at rest */
    int met_count;          /* PENDING: samples so far */
    int64_t returned;       /* RETURNING: when the value came back */
    double latest;          /* last counted value ... */
    int64_t latest_time;    /* ... and its time, TIME_NONE before the first */
};

/* The next counted value. `is_so_beside`: what the rule asks of another quantity is met. */
void tracker_take(struct tracker *tracker, int64_t time, double value, bool is_so_beside);
/* After the last one. */
void tracker_end(struct tracker *tracker);
void tracker_take_value(const struct rule *rule, struct episode *episode, int64_t time, double value);

bool rule_is_past_limit(const struct rule *rule, double value);
bool rule_is_back(const struct rule *rule, double value);
int64_t rule_longest_delay(const struct rule *rule);
int64_t rule_longest_pause(const struct rule *rule);
/* For how long it can be so at most before an episode begins or ends, pauses between the samples included. */
int64_t rule_longest_wait(const struct rule *rule);

/* Texts of an episode. In the written unit, without the zeros at the end that a file's fixed columns carry: "0.84 m".
 */
struct text;
void detail_add_value(struct text *text, enum quantity quantity, double inside);
/* Cut where it is too long, at the start of a character. */
void detail_keep(struct episode *episode, const char *detail);

#endif
