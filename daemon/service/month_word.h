/* SPDX-License-Identifier: MIT */
/* Months as people write them on the command line. */
#ifndef RILLWARD_SERVICE_MONTH_WORD_H
#define RILLWARD_SERVICE_MONTH_WORD_H

#include "model/facts.h"

/* "2026-03" by the standard time `utc_offset` ms ahead of UTC. False: it is none. */
bool month_word_read(const char *word, int64_t utc_offset, struct span *ret);

#endif
