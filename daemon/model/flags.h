/* SPDX-License-Identifier: MIT */
/* Quality of one value: the primary flag (IOC Manuals and Guides 54 vol. 3, 2013, as the QARTOD manuals use it) and a
 * mask that tells which test or step set it. */
#ifndef RILLWARD_MODEL_FLAGS_H
#define RILLWARD_MODEL_FLAGS_H

#include <stddef.h>
#include <stdint.h>

enum flag { FLAG_PASS = 1, FLAG_NOT_EVALUATED = 2, FLAG_SUSPECT = 3, FLAG_FAIL = 4, FLAG_MISSING = 9 };

/* Bits of the mask. Never renumber: they stand in published files. */
enum test {
    TEST_GAP = 1u << 0,                 /* a longer pause than the interval stands before this sample */
    TEST_SYNTAX = 1u << 1,              /* the cell was there and could not be read */
    TEST_GROSS_RANGE = 1u << 2,         /* outside what the sensor, or the operator's setting, allows */
    TEST_CLIMATOLOGY = 1u << 3,         /* outside the month's usual range */
    TEST_SPIKE = 1u << 4,               /* stands out from both neighbours */
    TEST_RATE = 1u << 5,                /* changed faster than the setting allows */
    TEST_FLAT = 1u << 6,                /* repeats the same value */
    TEST_ATTENUATED = 1u << 7,          /* varies less than it should */
    TEST_RELATED = 1u << 8,             /* disagrees with a related quantity */
    TEST_NEIGHBOUR = 1u << 9,           /* disagrees with a neighbour station */
    TEST_IN_AIR = 1u << 10,             /* the sensor hung out of the water, by note or detection */
    TEST_SETTLING = 1u << 11,           /* shortly after entering the water */
    TEST_NO_AIR_PRESSURE = 1u << 12,    /* waits for a barometer */
    TEST_AIR_GAP = 1u << 13,            /* air pressure interpolated over a long pause */
    TEST_NO_REFERENCE = 1u << 14,       /* no hand reading to tie the level to */
    TEST_CORRECTED = 1u << 15,          /* changed by a correction; no fault in itself */
    TEST_ESTIMATED_SALINITY = 1u << 16, /* salinity stated in the settings, not measured; no fault in itself */
    TEST_TOO_MUCH_DRIFT = 1u << 17,     /* correction beyond the largest allowed */
    TEST_RANGE_OF_FORMULA = 1u << 18,   /* input outside the valid range of the published formula */
    TEST_PERSON_STRUCK = 1u << 19,      /* struck out by a field note */
    TEST_PERSON_RESTORED = 1u << 20,    /* restored by a field note */
    TEST_POSITION = 1u << 21,           /* the file says that the logger was elsewhere */
    TEST_NO_TEMPERATURE = 1u << 22,     /* no water temperature to compute it with */
    TEST_COUNT = 23                     /* bits in use */
};

struct test_info {
    const char *key;     /* one word of [a-z_], for files: "gross_range" */
    const char *meaning; /* one sentence for people */
};
/* `bit` is 0 .. TEST_COUNT-1. */
const struct test_info *test_info(unsigned bit);

/* Worse of two flags by the roll-up order of QARTOD tools: 4 over 3 over 1 over 2 over 9. */
static inline uint8_t flag_merge(uint8_t a, uint8_t b)
{
    static const uint8_t ranks[] = {0, [FLAG_PASS] = 2, [FLAG_NOT_EVALUATED] = 1, [FLAG_SUSPECT] = 3, [FLAG_FAIL] = 4};
    uint8_t rank_of_a = a < sizeof ranks ? ranks[a] : 0, rank_of_b = b < sizeof ranks ? ranks[b] : 0;
    return rank_of_a >= rank_of_b ? a : b;
}

const char *flag_word(uint8_t flag); /* "pass", "not evaluated", "suspect", "fail", "missing" */

#endif
