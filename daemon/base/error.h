/* SPDX-License-Identifier: MIT */
/* Errors that arrive at the log with their story.
 *
 * The caller owns a `struct error` and passes it last. A function that fails fills it with fail() where most is known,
 * and each caller on the way up prefixes what it was doing with within(): the text then reads
 * "reading 'a.csv': line 14: column 'temp' has no unit". On success the error is untouched. Nothing allocates. */
#ifndef RILLWARD_BASE_ERROR_H
#define RILLWARD_BASE_ERROR_H

#include <stdbool.h>

/* Kinds exist for reactions only. */
enum error_kind {
    ERROR_NONE,      /* nothing happened yet */
    ERROR_INPUT,     /* the bytes are wrong: set the drop aside, tell the operator, do not try again by itself */
    ERROR_SYSTEM,    /* the machine is in the way (disk full, network, permission): try again later */
    ERROR_CONFIG,    /* the settings are wrong: refuse to start, or keep the old ones */
    ERROR_STORAGE,   /* the database cannot be trusted: stop, data safety first */
    ERROR_ELSEWHERE, /* sound, and another service's: leave it to that */
};

struct error {
    enum error_kind kind;
    char text[1024]; /* always ended; cut with "..." where a story grows too long */
};

/* Fill `error` (which may be NULL) and return false. */
bool fail(struct error *error, enum error_kind kind, const char *format, ...) __attribute__((format(printf, 3, 4)));

/* As fail(), ending with ": " and the text of errno. */
bool fail_errno(struct error *error, enum error_kind kind, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Put "<what>: " in front of a filled error and return false. */
bool within(struct error *error, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
