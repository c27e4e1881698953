/* SPDX-License-Identifier: MIT */
/* Lines for the table of checks against the world: tests/support/world_table.py runs the tests and keeps
 * DEVELOPERS.md true. */
#ifndef RILLWARD_TESTS_SUPPORT_WORLD_H
#define RILLWARD_TESTS_SUPPORT_WORLD_H

/* One line to the file that RILLWARD_WORLD names; nothing without it. */
void world_add(const char *format, ...) __attribute__((format(printf, 1, 2)));

/* What is left of rounding depends on the compiler: below 1e-12 it is 0. */
double world_round(double difference);

#endif
