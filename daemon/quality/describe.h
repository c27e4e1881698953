/* SPDX-License-Identifier: MIT */
/* The thresholds in force, in words, for the metadata of records and for `explain`. */
#ifndef RILLWARD_QUALITY_DESCRIBE_H
#define RILLWARD_QUALITY_DESCRIBE_H

#include "base/text.h"
#include "config/config.h"

/* "gross_range fails outside -0.5..30 mg/L, suspect outside -0.2..20 mg/L; spike suspect above 2 mg/L, ...":
 * each test by its key in model/flags.h, in the quantity's written unit; tests that are off are left out.
 * Nothing where all are off. */
void quality_describe(enum quantity quantity, const struct quality_limits *limits, struct text *ret);

#endif
