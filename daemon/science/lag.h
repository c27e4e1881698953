/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_SCIENCE_LAG_H
#define RILLWARD_SCIENCE_LAG_H

#include <stddef.h>

/* By how much one series lags behind another that is a small part of it: the pressure in water, which is mostly tide,
 * and the pressure of the air above. Cross-correlation of prewhitened series (Box and Jenkins, Time Series Analysis,
 * 'identification of transfer function models'; from memory): the differences of the sum are fitted by an
 * autoregression of order LAG_ORDER, which foretells a tide and leaves what nobody can foretell; what is left of both
 * series by the same filter is correlated. What is left has no memory, so that a correlation r of n pairs has the
 * standard error 1 / sqrt(n); n is made smaller where a memory remains (Bartlett 1946). */
enum { LAG_ORDER = 8, LAG_ROOM = 5 };

/* Steps that leave more than LAG_WILD deviations (by the median deviation) are left out: going in, coming out. */
#define LAG_WILD 12.0
/* Beyond a lag's neighbours within LAG_SHOULDER steps another peak is a rival. */
enum { LAG_SHOULDER = 4, LAG_LEAST_PAIRS = 200, LAG_LEAST_INDEPENDENT = 100 };

struct lag_fit {
    int lag;            /* steps by which the sum comes after the part */
    double correlation; /* of what is left of both */
    double gain;        /* by how much the sum moves where the part moves by 1: 1 for an honest pair */
    double sureness;    /* correlation in standard errors of it; below 0: they go against each other */
    size_t pairs;       /* independent ones */
};

struct lag_result {
    struct lag_fit as_given; /* at lag 0 */
    struct lag_fit best;     /* the largest correlation of all lags; lag 0 where as_given needed no search */
    double rival;            /* sureness of the best lag beyond best's shoulders; NaN without a search */
};

enum lag_verdict {
    LAG_UNKNOWN, /* too few pairs, or a part too weak beside the rest of the sum: nothing can be said */
    LAG_AGREES,  /* as given */
    LAG_SEARCHED /* as given the two do not agree: *ret has what fits best; weigh it with lag_is_sure() */
};

/* n values each at equal steps, NaN missing, of the sum and its part; lags from -`reach` to `reach` steps. `room` has
 * LAG_ROOM * n numbers. *ret is whole for LAG_AGREES and LAG_SEARCHED. */
enum lag_verdict lag_find(size_t n, const double *sum, const double *part, int reach, double *room,
                          struct lag_result *ret);

/* Whether the best lag is so much better than none, and than any other, that it is worth somebody's way: at least
 * LAG_SURE standard errors, a gain that air can have, at most half that gain and LAG_AHEAD standard errors less as
 * given, and every rival as far behind. Limits: our own, by tests/derive/test_clock_watch.c; 113 lags of pure noise
 * reach 3 standard errors in one of ten cases, and never 5. */
#define LAG_SURE 6.0
#define LAG_AHEAD 3.0
#define LAG_GAIN_MIN 0.3
#define LAG_GAIN_MAX 1.7
int lag_is_sure(const struct lag_result *result);

#endif
