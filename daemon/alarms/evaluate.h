/* SPDX-License-Identifier: MIT */
/* Private to alarms/: one function a kind of rule, all of the shape of rules_evaluate(). */
#ifndef RILLWARD_ALARMS_EVALUATE_H
#define RILLWARD_ALARMS_EVALUATE_H

#include "alarms/rules.h"

/* Of the record's values (evaluate_series.c). */
size_t evaluate_threshold(struct arena *arena, const struct rule_view *view, struct episode **ret);
size_t evaluate_rise_or_fall(struct arena *arena, const struct rule_view *view, struct episode **ret);
size_t evaluate_change(struct arena *arena, const struct rule_view *view, struct episode **ret);
size_t evaluate_flat(struct arena *arena, const struct rule_view *view, struct episode **ret);

/* Of checks, and of times alone (evaluate_events.c). */
size_t evaluate_drift(struct arena *arena, const struct rule_view *view, struct episode **ret);
size_t evaluate_silence(struct arena *arena, const struct rule_view *view, struct episode **ret);
size_t evaluate_gap(struct arena *arena, const struct rule_view *view, struct episode **ret);
size_t evaluate_visit_due(struct arena *arena, const struct rule_view *view, struct episode **ret);
size_t evaluate_nothing(struct arena *arena, const struct rule_view *view, struct episode **ret);

#endif
