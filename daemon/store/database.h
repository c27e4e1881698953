/* SPDX-License-Identifier: MIT */
/* Private to store/: the database handle, statements prepared once, and binding by a format. */
#ifndef RILLWARD_STORE_DATABASE_H
#define RILLWARD_STORE_DATABASE_H

#include "store/store.h"

#include <sqlite3.h>

struct cached_statement {
    const char *sql; /* the literal's address is the key */
    sqlite3_stmt *statement;
};

struct store {
    sqlite3 *database;
    int lock_fd; /* -1 for a reader */
    struct cached_statement *statements;
    size_t statement_count, statement_capacity;
    bool has_mark;
    const char *transaction_of; /* who opened the transaction; NULL: none is open */
    struct arena *scratch;      /* for one call inside the store */
};

/* Fills `error` from SQLite's answer; damage becomes STORAGE, all else SYSTEM. Returns false. */
bool database_fail(struct store *store, int code, const char *what, struct error *error);

/* Statement of a literal, prepared at first use, bound by `format`, one letter an argument:
 * i int64_t, d double (NaN: NULL), t const char *, T int64_t time (TIME_NONE: NULL), p const char * as a blob,
 * b const void * and size_t. NULL after filling error. Step it, then it is reset by CLEANUP(database_reset). */
sqlite3_stmt *database_start(struct store *store, struct error *error, const char *sql, const char *format, ...);
/* Step: 1 a row, 0 done, -1 failed (error filled). */
int database_step(struct store *store, sqlite3_stmt *statement, struct error *error);
void database_reset(sqlite3_stmt **statement);
/* A statement without rows, run whole. */
bool database_run(struct store *store, struct error *error, const char *sql, const char *format, ...);
/* First column of the first row; *ret is left alone where there is no row or it is NULL. */
bool database_one(struct store *store, int64_t *ret, struct error *error, const char *sql, const char *format, ...);

/* Columns. Text is copied to the arena and never NULL. */
const char *column_text(struct arena *arena, sqlite3_stmt *statement, int column);
int64_t column_time(sqlite3_stmt *statement, int column);  /* NULL: TIME_NONE */
double column_number(sqlite3_stmt *statement, int column); /* NULL: NaN */
/* Quantities are added in time: QUANTITY_COUNT, none or all of them, must not be the number of the next, and is -1. */
enum quantity column_quantity(sqlite3_stmt *statement, int column);
int64_t quantity_number(enum quantity quantity);

/* Move a list grown with x_grow into the arena; frees the list. */
void *to_arena(struct arena *arena, void *list, size_t n, size_t size);
/* The place numbers in the first column of all rows. `statement` as database_start() gave it. */
bool collect_places(struct store *store, sqlite3_stmt *statement, struct arena *arena, uint32_t **ret, size_t *ret_n,
                    struct error *error);

#endif
