/* SPDX-License-Identifier: MIT */
#include "store/state.h"

#include "support/child.h"

#include <criterion/criterion.h>
#include <sqlite3.h>
#include <stdio.h>

void state_make(struct state *state)
{
    *state = (struct state){.arena = arena_new()};
    child_make_folder(state->folder, sizeof state->folder);
    snprintf(state->database, sizeof state->database, "%s/rillward.db", state->folder);
    state_open(state);
}

void state_done(struct state *state)
{
    state_close(state);
    arena_free(state->arena);
    child_remove_folder(state->folder);
}

void state_open(struct state *state)
{
    state->store = store_open(state->folder, &state->error);
    cr_assert_not_null(state->store, "%s", state->error.text);
}

void state_close(struct state *state)
{
    store_close(state->store);
    state->store = NULL;
}

void state_begin(struct state *state)
{
    OK(state, store_begin(state->store, __func__, &state->error));
}

void state_commit(struct state *state)
{
    OK(state, store_commit(state->store, &state->error));
}

static sqlite3 *connect(const struct state *state)
{
    sqlite3 *database;
    cr_assert_eq(sqlite3_open(state->database, &database), SQLITE_OK);
    return database;
}

void state_execute(const struct state *state, const char *sql)
{
    sqlite3 *database = connect(state);
    char *message = NULL;
    cr_assert_eq(sqlite3_exec(database, sql, NULL, NULL, &message), SQLITE_OK, "%s", message);
    sqlite3_close(database);
}

int64_t state_query(const struct state *state, const char *sql)
{
    sqlite3 *database = connect(state);
    sqlite3_stmt *row;
    cr_assert_eq(sqlite3_prepare_v2(database, sql, -1, &row, NULL), SQLITE_OK, "%s", sqlite3_errmsg(database));
    cr_assert_eq(sqlite3_step(row), SQLITE_ROW, "%s", sqlite3_errmsg(database));
    int64_t value = sqlite3_column_int64(row, 0);
    sqlite3_finalize(row);
    sqlite3_close(database);
    return value;
}

void state_query_text(const struct state *state, const char *sql, char *ret, size_t size)
{
    sqlite3 *database = connect(state);
    sqlite3_stmt *row;
    cr_assert_eq(sqlite3_prepare_v2(database, sql, -1, &row, NULL), SQLITE_OK, "%s", sqlite3_errmsg(database));
    int got = sqlite3_step(row);
    snprintf(ret, size, "%s", got == SQLITE_ROW ? (const char *)sqlite3_column_text(row, 0) : "");
    sqlite3_finalize(row);
    sqlite3_close(database);
}

uint32_t state_place(struct state *state, const char *key)
{
    uint32_t place = 0;
    state_begin(state);
    OK(state, store_place_number(state->store, key, &place, &state->error));
    state_commit(state);
    return place;
}
