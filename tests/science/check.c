/* SPDX-License-Identifier: MIT */
#include "science/check.h"

#include "support/world.h"

#include <criterion/criterion.h>
#include <math.h>

void check_all(size_t n, const struct check *rows)
{
    for (size_t i = 0; i < n; i++) {
        const struct check *row = &rows[i];
        const double difference = row->got - row->expected; /* what is left of rounding depends on the compiler */
        world_add("check | `%s` | %.9g | %.9g | %.1e | %s |", row->call, row->got, row->expected,
                  fabs(difference) < 1e-12 ? 0 : difference, row->source);
        cr_expect(is_close(row->got, row->expected, row->tolerance), "%s = %.12g, expected %.12g +- %g (%s)",
                  row->call, row->got, row->expected, row->tolerance, row->source);
    }
}

void check_missing_all(size_t n, const struct check_missing *rows)
{
    for (size_t i = 0; i < n; i++)
        cr_expect(isnan(rows[i].got), "%s = %.12g, expected NaN", rows[i].call, rows[i].got);
}

bool is_close(double a, double b, double tolerance)
{
    return fabs(a - b) <= tolerance;
}

bool is_same(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}
