/* SPDX-License-Identifier: MIT */
/* Seeded numbers, so that a failure can be repeated on any machine (xorshift64*). `state` must not be 0. */
#ifndef RILLWARD_TESTS_BASE_RANDOM_H
#define RILLWARD_TESTS_BASE_RANDOM_H

#include <stddef.h>
#include <stdint.h>

static inline uint64_t random_bits(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return *state * UINT64_C(2685821657736338717);
}

/* 0 .. n-1 */
static inline size_t random_index(uint64_t *state, size_t n)
{
    return (size_t)(random_bits(state) >> 11) % n;
}

/* from .. to, both included */
static inline int64_t random_between(uint64_t *state, int64_t from, int64_t to)
{
    return from + (int64_t)((random_bits(state) >> 1) % (uint64_t)(to - from + 1));
}

#endif
