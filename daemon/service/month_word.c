/* SPDX-License-Identifier: MIT */
#include "service/month_word.h"

#include "base/timestamp.h"

#include <stdio.h>
#include <string.h>

bool month_word_read(const char *word, int64_t utc_offset, struct span *ret)
{
    char first[32];
    if (strlen(word) != strlen("2026-03"))
        return false;
    snprintf(first, sizeof first, "%s-01T00:00:00Z", word);
    if (!timestamp_parse(first, strlen(first), &ret->from))
        return false;
    ret->from -= utc_offset;
    ret->to = timestamp_next_month(ret->from, utc_offset);
    return true;
}
