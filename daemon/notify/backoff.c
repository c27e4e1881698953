/* SPDX-License-Identifier: MIT */
#include "notify/backoff.h"

#include "base/memory.h"
#include "base/timestamp.h"

static const int64_t delays[] = {5 * SECOND_MS,  30 * SECOND_MS, 2 * MINUTE_MS, 5 * MINUTE_MS,
                                 15 * MINUTE_MS, HOUR_MS,        3 * HOUR_MS};

static uint64_t mixed(uint64_t value);

int64_t backoff_delay(int64_t attempts, uint64_t seed)
{
    int64_t last = (int64_t)COUNT_OF(delays) - 1;
    int64_t step = attempts < 1 ? 0 : attempts - 1 > last ? last : attempts - 1;
    int64_t delay = delays[step];
    int64_t spread = delay / 5;
    return delay - spread + (int64_t)(mixed(seed ^ (uint64_t)attempts) % (uint64_t)(2 * spread + 1));
}

bool backoff_gives_up(int64_t created, int64_t now)
{
    return now - created > 5 * DAY_MS;
}

uint64_t backoff_seed(const char *uid)
{
    uint64_t hash = 0xCBF29CE484222325;
    for (const char *c = uid; *c; c++)
        hash = (hash ^ (unsigned char)*c) * 0x100000001B3;
    return hash;
}

/* The finaliser of SplitMix64: neighbouring attempts give unrelated numbers. */
static uint64_t mixed(uint64_t value)
{
    value += 0x9E3779B97F4A7C15;
    value = (value ^ value >> 30) * 0xBF58476D1CE4E5B9;
    value = (value ^ value >> 27) * 0x94D049BB133111EB;
    return value ^ value >> 31;
}
