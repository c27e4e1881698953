/* SPDX-License-Identifier: MIT */
/* A store in a state folder of its own, opened before each test and taken away after it. */
#ifndef RILLWARD_TESTS_STORE_STATE_H
#define RILLWARD_TESTS_STORE_STATE_H

#include "base/memory.h"
#include "store/store.h"

#include <stdint.h>

struct state {
    char folder[256], database[300]; /* the file in the folder */
    struct store *store;             /* NULL while closed */
    struct arena *arena;
    struct error error; /* of the last call that failed */
};

void state_make(struct state *state); /* folder, arena, open store */
void state_done(struct state *state);

void state_open(struct state *state);
void state_close(struct state *state);
void state_begin(struct state *state);
void state_commit(struct state *state);

/* Beside the store, on a connection of its own: statements, and the first number of a query. */
void state_execute(const struct state *state, const char *sql);
int64_t state_query(const struct state *state, const char *sql);
/* The first text of it, cut to `size`; "" where it has no row. */
void state_query_text(const struct state *state, const char *sql, char *ret, size_t size);

/* Number of a place, in a transaction of its own. */
uint32_t state_place(struct state *state, const char *key);

/* The call succeeds, or the test ends with what it said. */
#define OK(state, call) cr_assert(call, "%s", (state)->error.text)

#endif
