/* SPDX-License-Identifier: MIT */
#include "archive/scale.h"

#include <math.h>

enum { SMALLEST_POWER = 4, LARGEST_POWER = 9 };

static const double AIR = 0.06; /* of the range, above and below */

static double choose_step(double range, int labels, int *ret_decimals);

struct scale scale_fit(double min, double max, double least, int labels)
{
    double range = max - min;
    if (range < least) {
        min -= (least - range) / 2;
        max = min + least;
        range = least;
    }
    struct scale scale = {.low = min - AIR * range, .high = max + AIR * range};
    scale.step = choose_step(scale.high - scale.low, labels, &scale.decimals);
    return scale;
}

double scale_first_label(const struct scale *scale)
{
    return ceil(scale->low / scale->step) * scale->step;
}

double scale_position(const struct scale *scale, double value)
{
    return (value - scale->low) / (scale->high - scale->low);
}

/* By trying, not by logarithms: the same step on every machine. */
static double choose_step(double range, int labels, int *ret_decimals)
{
    static const double mantissas[] = {1, 2, 5};
    static const double powers[] = {1e-4, 1e-3, 1e-2, 1e-1, 1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9};
    for (int power = -SMALLEST_POWER; power <= LARGEST_POWER; power++) {
        for (int m = 0; m < 3; m++) {
            double step = mantissas[m] * powers[power + SMALLEST_POWER];
            if (range / step > labels + 0.5)
                continue;
            *ret_decimals = power < 0 ? -power : 0;
            return step;
        }
    }
    *ret_decimals = 0;
    return range;
}
