/* SPDX-License-Identifier: MIT */
/* The database schema: migrations in order, the index of the last one is `PRAGMA user_version`. */
#ifndef RILLWARD_STORE_SCHEMA_H
#define RILLWARD_STORE_SCHEMA_H

#include <stddef.h>

#define STORE_APPLICATION_ID 0x52494C57 /* "RILW": marks the file as ours */

struct migration {
    const char *why; /* one line for people */
    const char *sql;
};

/* Append only; never reorder, never edit a released row. A new database runs the same list. */
extern const struct migration schema_migrations[];
extern const size_t schema_migration_count;

#endif
