/* SPDX-License-Identifier: MIT */
/* Why an alarm was withdrawn, in words: what stands where its worst value stood, and the latest fact that can have
 * changed it. Somebody may have acted on the alarm; they are owed more than "it was not so". */
#ifndef RILLWARD_SERVICE_WITHDRAW_H
#define RILLWARD_SERVICE_WITHDRAW_H

#include "service/subject.h"

/* "temperature of 2026-05-02T10:00:00Z, told as 27.40 °C, is now 12.00 °C; what came later: the file 'mill/c.csv', at
 * 2026-05-02T12:10:00Z". `rows`: the record as it is now, around the episode. In the pipeline's arena. */
bool withdraw_reason(struct pipeline *pipeline, const struct subject *subject, const struct rule *rule,
                     const struct alarm *alarm, const struct record *rows, const char **ret, struct error *error);

#endif
