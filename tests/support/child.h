/* SPDX-License-Identifier: MIT */
/* Servers as child processes of a test. They end with the test, however it ends. */
#ifndef RILLWARD_TESTS_SUPPORT_CHILD_H
#define RILLWARD_TESTS_SUPPORT_CHILD_H

#include <stddef.h>
#include <sys/types.h>

struct child {
    pid_t pid;
    int port; /* the first line that it wrote */
};

/* Start tests/support/`script` with Debian's own Python; `arguments` ends with NULL. Waits for the port;
 * fails the test where none comes. */
struct child child_start(const char *script, const char *const *arguments);
void child_stop(struct child *child);

/* Run tests/support/`script` with one argument to its end; fails the test unless it succeeds. */
void child_run(const char *script, const char *argument);

/* A new folder below $TMPDIR or /tmp; child_remove_folder takes it away with all that is in it. */
void child_make_folder(char *ret, size_t size);
void child_remove_folder(const char *path);

#endif
