/* SPDX-License-Identifier: MIT */
#include "store/schema.h"

#include "store/state.h"

#include <criterion/criterion.h>
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct state state;

static void make_state(void)
{
    state_make(&state);
}

static void remove_state(void)
{
    state_done(&state);
}

TestSuite(schema, .init = make_state, .fini = remove_state);

Test(schema, a_new_database_is_marked_as_ours_at_the_last_version)
{
    cr_expect_eq(state_query(&state, "PRAGMA user_version"), (int64_t)schema_migration_count);
    cr_expect_eq(state_query(&state, "PRAGMA application_id"), STORE_APPLICATION_ID);
}

Test(schema, every_migration_says_why)
{
    for (size_t i = 0; i < schema_migration_count; i++)
        cr_expect(*schema_migrations[i].why && *schema_migrations[i].sql, "%zu", i);
}

/* Object by object, in the order of their making. */
static char *dump(sqlite3 *database)
{
    sqlite3_stmt *row;
    char *all = sqlite3_mprintf("");
    cr_assert_eq(
        sqlite3_prepare_v2(database, "SELECT type, name, sql FROM sqlite_schema ORDER BY rowid", -1, &row, NULL),
        SQLITE_OK);
    while (sqlite3_step(row) == SQLITE_ROW)
        all = sqlite3_mprintf("%z%s %s: %s\n", all, sqlite3_column_text(row, 0), sqlite3_column_text(row, 1),
                              sqlite3_column_text(row, 2));
    sqlite3_finalize(row);
    sqlite3_close(database);
    return all;
}

static void expect_listed_schema(void)
{
    sqlite3 *listed, *made;
    cr_assert_eq(sqlite3_open(":memory:", &listed), SQLITE_OK);
    for (size_t i = 0; i < schema_migration_count; i++)
        cr_assert_eq(sqlite3_exec(listed, schema_migrations[i].sql, NULL, NULL, NULL), SQLITE_OK, "%s",
                     sqlite3_errmsg(listed));
    cr_assert_eq(sqlite3_open(state.database, &made), SQLITE_OK);
    char *expected = dump(listed), *got = dump(made);
    cr_expect_str_eq(got, expected);
    cr_expect_gt(strlen(got), 1000);
    sqlite3_free(expected);
    sqlite3_free(got);
}

Test(schema, a_new_database_is_what_the_list_of_migrations_makes)
{
    expect_listed_schema();
}

/* A database as each earlier version left it. */
Test(schema, an_older_database_is_brought_up_to_date)
{
    state_close(&state);
    for (size_t version = 1; version < schema_migration_count; version++) {
        cr_assert_eq(unlink(state.database), 0);
        for (size_t i = 0; i < version; i++)
            state_execute(&state, schema_migrations[i].sql);
        char numbers[100];
        snprintf(numbers, sizeof numbers, "PRAGMA user_version = %zu; PRAGMA application_id = %d", version,
                 STORE_APPLICATION_ID);
        state_execute(&state, numbers);
        state_execute(&state, "INSERT INTO place(key) VALUES('kept')");
        cr_expect_null(store_open_to_read(state.folder, &state.error), "a reader does not do it");
        state_open(&state);
        state_close(&state);
        cr_expect_eq(state_query(&state, "PRAGMA user_version"), (int64_t)schema_migration_count);
        cr_expect_eq(state_query(&state, "SELECT count(*) FROM place WHERE key = 'kept'"), 1);
        expect_listed_schema();
    }
}

Test(schema, findings_about_all_quantities_stay_so_when_quantities_are_added)
{
    state_close(&state);
    cr_assert_eq(unlink(state.database), 0);
    for (size_t i = 0; i < 13; i++)
        state_execute(&state, schema_migrations[i].sql);
    state_execute(&state, "INSERT INTO place(key) VALUES('creek');"
                          "INSERT INTO finding VALUES(1, 0, 5, 16, 'of all', 1, NULL, NULL, 0),"
                          " (1, 0, 5, 15, 'of one', 1, NULL, NULL, 0)");
    state_execute(&state, schema_migrations[13].sql);
    cr_expect_eq(state_query(&state, "SELECT quantity FROM finding WHERE text = 'of all'"), -1);
    cr_expect_eq(state_query(&state, "SELECT quantity FROM finding WHERE text = 'of one'"), 15);
    state_execute(&state, "DELETE FROM finding");
}

Test(schema, what_ended_the_program_is_carried_over_from_its_two_former_tables)
{
    state_close(&state);
    cr_assert_eq(unlink(state.database), 0);
    for (size_t i = 0; i < 14; i++)
        state_execute(&state, schema_migrations[i].sql);
    state_execute(&state, "INSERT INTO place(key) VALUES('creek'), ('pond');"
                          "INSERT INTO ended VALUES(1, 10, 20, 5, 700, -3), (1, 20, 30, 4, 800, -3);"
                          "INSERT INTO stuck VALUES(1, 2, 900, 7), (2, 3, 901, 7)");
    char numbers[100];
    snprintf(numbers, sizeof numbers, "PRAGMA user_version = 14; PRAGMA application_id = %d", STORE_APPLICATION_ID);
    state_execute(&state, numbers);
    state_open(&state);
    struct unfinished *list, span;
    size_t n;
    OK(&state, store_unfinished_find(state.store, UNFINISHED_SPAN, 1, (struct span){10, 20}, &span, &state.error));
    cr_expect(span.is_left_alone && span.attempts == 5 && span.span.to == 20 && span.since == 700);
    OK(&state, store_unfinished_find(state.store, UNFINISHED_SPAN, 1, (struct span){20, 30}, &span, &state.error));
    cr_expect(!span.is_left_alone && span.attempts == 4 && span.span.from == 20 && span.span.to == 30);
    OK(&state, store_unfinished_load(state.store, UNFINISHED_RECORDS, state.arena, &list, &n, &state.error));
    cr_assert_eq(n, 2);
    cr_expect(list[0].place == 1 && list[0].attempts == 2 && !list[0].is_left_alone && list[0].since == 900);
    cr_expect(list[1].place == 2 && list[1].attempts == 3 && list[1].is_left_alone);
    cr_expect(list[1].span.from == UNFINISHED_ALL.from && list[1].span.to == UNFINISHED_ALL.to);
    cr_expect_eq(state_query(&state, "SELECT settings FROM unfinished WHERE kind = 0 AND from_ = 10"), -3);
}

Test(schema, the_stored_text_documents_every_table)
{
    cr_expect_gt(state_query(&state, "SELECT count(*) FROM sqlite_schema WHERE type = 'table'"), 10);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND sql NOT LIKE '%--%'"),
                 0);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM sqlite_schema WHERE name = 'place' AND sql LIKE"
                                     " '%-- stations and barometers%NULL before any%'"),
                 1);
}

Test(schema, every_table_is_strict)
{
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM pragma_table_list WHERE schema = 'main' AND type = 'table'"
                                     " AND name NOT LIKE 'sqlite_%' AND NOT strict"),
                 0);
}

/* The two that are asked at every turn. */
Test(schema, what_is_due_is_found_by_an_index)
{
    cr_expect_eq(state_query(&state,
                             "SELECT count(*) FROM sqlite_schema WHERE type = 'index' AND name IN"
                             " ('notice_due', 'page_due', 'alarm_open', 'path_unfinished') AND sql LIKE '%WHERE%'"),
                 4);
}
