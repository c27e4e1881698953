/* SPDX-License-Identifier: MIT */
#ifndef RILLWARD_TESTS_SCIENCE_CHECK_H
#define RILLWARD_TESTS_SCIENCE_CHECK_H

#include <stdbool.h>
#include <stddef.h>

/* Tables of check values: the call as text, what it gave, what it should give, the tolerance, and where the
 * value comes from. A source says 'from memory' where the printed page was not at hand, and 'computed
 * independently' where a second implementation of the same equation gave it. */
struct check {
    const char *call;
    double got;
    double expected;
    double tolerance;
    const char *source;
};

/* clang-format off */
#define CHECK(call, expected, tolerance, source) {#call, call, expected, tolerance, source}
/* clang-format on */
#define CHECK_ALL(rows) check_all(sizeof(rows) / sizeof((rows)[0]), rows)

/* One Criterion assertion per row. */
void check_all(size_t n, const struct check *rows);

/* Calls that must give NaN: a missing argument, or one outside the stated range. */
struct check_missing {
    const char *call;
    double got;
};

/* clang-format off */
#define MISSING(call) {#call, call}
/* clang-format on */
#define MISSING_ALL(rows) check_missing_all(sizeof(rows) / sizeof((rows)[0]), rows)

void check_missing_all(size_t n, const struct check_missing *rows);

/* |a - b| <= tolerance, false for NaN. */
bool is_close(double a, double b, double tolerance);

/* Equal bit for bit as a result: the same value, or both NaN. */
bool is_same(double a, double b);

#endif
