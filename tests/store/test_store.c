/* SPDX-License-Identifier: MIT */
#include "store/store.h"

#include "base/file.h"
#include "base/timestamp.h"
#include "store/database.h"
#include "store/schema.h"
#include "store/state.h"

#include <criterion/criterion.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
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

TestSuite(store, .init = make_state, .fini = remove_state);

/* ---- opening ---- */

Test(store, what_was_committed_is_there_after_opening_again)
{
    uint32_t place = state_place(&state, "sallow-mouth");
    for (int i = 0; i < 3; i++) {
        state_close(&state);
        state_open(&state);
        struct place_fact fact;
        OK(&state, store_place_find(state.store, "sallow-mouth", state.arena, &fact, &state.error));
        cr_expect_eq(fact.number, place);
        OK(&state, store_check_integrity(state.store, &state.error));
    }
    store_close(NULL);
}

Test(store, a_missing_folder_is_made)
{
    char folder[300];
    snprintf(folder, sizeof folder, "%s/deep/er", state.folder);
    struct store *store = store_open(folder, &state.error);
    cr_assert_not_null(store, "%s", state.error.text);
    store_close(store);
}

Test(store, commits_are_made_durable_and_readers_never_wait)
{
    const struct {
        const char *pragma;
        const char *expected;
    } rows[] = {{"PRAGMA journal_mode", "wal"}, {"PRAGMA synchronous", "2"}, {"PRAGMA foreign_keys", "1"}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        sqlite3_stmt *row;
        cr_assert_eq(sqlite3_prepare_v2(state.store->database, rows[i].pragma, -1, &row, NULL), SQLITE_OK);
        cr_assert_eq(sqlite3_step(row), SQLITE_ROW);
        cr_expect_str_eq((const char *)sqlite3_column_text(row, 0), rows[i].expected, "%s", rows[i].pragma);
        sqlite3_finalize(row);
    }
}

Test(store, a_second_service_on_the_same_folder_is_refused_while_the_first_lives)
{
    cr_expect_null(store_open(state.folder, &state.error));
    cr_expect_eq(state.error.kind, ERROR_CONFIG);
    cr_expect_not_null(strstr(state.error.text, "another rillward"), "%s", state.error.text);
    state_place(&state, "the first goes on");
    state_close(&state);
    state_open(&state);
}

Test(store, the_lock_of_a_killed_service_is_gone)
{
    state_close(&state);
    pid_t child = fork();
    if (child == 0) {
        struct error error;
        if (!store_open(state.folder, &error))
            _exit(1);
        raise(SIGKILL);
    }
    int status;
    cr_assert_eq(waitpid(child, &status, 0), child);
    cr_assert(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL, "%x", (unsigned)status);
    state_open(&state);
}

/* Opening fails with `kind` and a text that holds `words`, and the file is the same to the byte. */
static void expect_refused(enum error_kind kind, const char *words)
{
    char before[SHA256_HEX_SIZE], after[SHA256_HEX_SIZE];
    OK(&state, file_sha256(state.database, before, &state.error));
    cr_expect_null(store_open(state.folder, &state.error));
    cr_expect_eq(state.error.kind, kind, "%s", state.error.text);
    cr_expect_not_null(strstr(state.error.text, words), "%s", state.error.text);
    OK(&state, file_sha256(state.database, after, &state.error));
    cr_expect_str_eq(after, before);
}

Test(store, a_newer_schema_is_refused_and_left_untouched)
{
    state_close(&state);
    state_execute(&state, "PRAGMA user_version = 99");
    expect_refused(ERROR_CONFIG, "newer");
    state_execute(&state, "PRAGMA journal_mode = DELETE");
    expect_refused(ERROR_CONFIG, "newer");
}

static void replace_database(const char *sql)
{
    state_close(&state);
    cr_assert_eq(unlink(state.database), 0);
    state_execute(&state, sql);
}

Test(store, a_database_of_another_program_is_refused_and_left_untouched)
{
    replace_database("CREATE TABLE theirs(x); PRAGMA application_id = 7");
    expect_refused(ERROR_CONFIG, "not ours");
}

/* Most programs set neither number. */
Test(store, a_database_of_another_program_without_any_mark_is_refused)
{
    replace_database("CREATE TABLE theirs(x)");
    expect_refused(ERROR_CONFIG, "not ours");
    replace_database("PRAGMA user_version = 1; CREATE TABLE theirs(x)");
    expect_refused(ERROR_CONFIG, "not ours");
}

static void write_database(const char *bytes, size_t length)
{
    state_close(&state);
    OK(&state, file_write_whole(state.database, bytes, length, &state.error));
}

Test(store, a_file_that_is_no_database_is_refused_and_left_untouched)
{
    char bytes[2000];
    memset(bytes, 'x', sizeof bytes);
    write_database(bytes, sizeof bytes);
    expect_refused(ERROR_STORAGE, "database");
}

Test(store, an_empty_file_becomes_a_new_database)
{
    write_database("", 0);
    state_open(&state);
    cr_expect_eq(state_query(&state, "PRAGMA user_version"), (int64_t)schema_migration_count);
}

Test(store, a_damaged_page_is_found)
{
    state_begin(&state);
    for (int i = 0; i < 2000; i++) {
        char key[32];
        uint32_t place;
        snprintf(key, sizeof key, "station-%d", i);
        OK(&state, store_place_number(state.store, key, &place, &state.error));
    }
    state_commit(&state);
    OK(&state, store_check_integrity(state.store, &state.error));
    state_close(&state);
    char *bytes;
    size_t length;
    OK(&state, file_read(state.database, 1 << 26, &bytes, &length, &state.error));
    for (size_t page = 4096 * 2; page + 4096 <= length; page += 4096)
        memset(bytes + page + 8, 0xA5, 300); /* the cells' table of every page but the schema's first */
    write_database(bytes, length);
    free(bytes);
    state.store = store_open(state.folder, &state.error);
    bool is_fine = state.store && store_check_integrity(state.store, &state.error);
    cr_expect(!is_fine);
    cr_expect_eq(state.error.kind, ERROR_STORAGE, "%s", state.error.text);
}

/* ---- beside a running service ---- */

Test(store, whoever_only_reads_keeps_nobody_from_writing_and_reads_one_moment)
{
    uint32_t before, after;
    state_place(&state, "mill");
    OK(&state, store_begin_to_read(state.store, __func__, &state.error));
    struct place_fact fact;
    OK(&state, store_place_find(state.store, "mill", state.arena, &fact, &state.error));
    before = fact.number;
    state_execute(&state, "INSERT INTO place(key) VALUES('weir')"); /* by another, at once */
    OK(&state, store_place_find(state.store, "weir", state.arena, &fact, &state.error));
    cr_expect(before > 0 && fact.number == 0, "as it was when the reading began");
    store_rollback(state.store);
    cr_expect_not(store_is_open_transaction(state.store));
    OK(&state, store_place_find(state.store, "weir", state.arena, &fact, &state.error));
    after = fact.number;
    cr_expect_gt(after, 0);
    state_begin(&state);
    state_commit(&state);
}

Test(store, a_reader_beside_the_service_sees_what_is_committed_and_cannot_write)
{
    state_place(&state, "seen");
    struct store *reader = store_open_to_read(state.folder, &state.error);
    cr_assert_not_null(reader, "%s", state.error.text);
    state_begin(&state);
    uint32_t place;
    OK(&state, store_place_number(state.store, "not yet", &place, &state.error));
    struct place_fact fact;
    OK(&state, store_place_find(reader, "seen", state.arena, &fact, &state.error));
    cr_expect_neq(fact.number, 0);
    OK(&state, store_place_find(reader, "not yet", state.arena, &fact, &state.error));
    cr_expect_eq(fact.number, 0);
    state_commit(&state);
    OK(&state, store_place_find(reader, "not yet", state.arena, &fact, &state.error));
    cr_expect_eq(fact.number, place);
    cr_expect(!store_place_number(reader, "from the reader", &place, &state.error));
    store_close(reader);
}

Test(store, a_reader_says_when_there_is_no_database)
{
    char folder[300];
    snprintf(folder, sizeof folder, "%s/none", state.folder);
    cr_expect_null(store_open_to_read(folder, &state.error));
    cr_expect_eq(state.error.kind, ERROR_SYSTEM);
    cr_expect_not_null(strstr(state.error.text, "has the service run?"), "%s", state.error.text);
    cr_expect(!file_exists(folder));
}

Test(store, a_reader_of_another_version_is_refused)
{
    state_close(&state);
    state_execute(&state, "PRAGMA user_version = 99");
    cr_expect_null(store_open_to_read(state.folder, &state.error));
    cr_expect_eq(state.error.kind, ERROR_CONFIG);
}

/* ---- transactions ---- */

static int64_t count_places(void)
{
    return state_query(&state, "SELECT count(*) FROM place");
}

Test(store, a_rollback_leaves_nothing)
{
    state_begin(&state);
    cr_expect(store_is_open_transaction(state.store));
    uint32_t place;
    OK(&state, store_place_number(state.store, "a", &place, &state.error));
    store_rollback(state.store);
    cr_expect(!store_is_open_transaction(state.store));
    cr_expect_eq(count_places(), 0);
    store_rollback(state.store);
    state_place(&state, "b");
    cr_expect_eq(count_places(), 1);
}

Test(store, closing_in_a_transaction_leaves_nothing)
{
    state_begin(&state);
    uint32_t place;
    OK(&state, store_place_number(state.store, "a", &place, &state.error));
    state_close(&state);
    cr_expect_eq(count_places(), 0);
}

Test(store, transactions_do_not_nest, .signal = SIGABRT)
{
    state_begin(&state);
    state_begin(&state);
}

/* Rows of many pages, so that SQLite writes some of them to the disk before the commit. */
static bool write_much(struct store *store, int rows, struct error *error)
{
    static const char message[20000];
    for (int i = 0; i < rows; i++) {
        char name[32];
        snprintf(name, sizeof name, "%d", i);
        if (!database_run(store, error, "INSERT INTO path VALUES(?1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, hex(?2))", "pb",
                          name, message, sizeof message))
            return false;
    }
    return true;
}

enum killed_at { KILLED_BEFORE_WRITING, KILLED_AFTER_A_FEW, KILLED_AFTER_MANY, KILLED_AFTER_COMMIT };

static void write_and_die(enum killed_at when)
{
    struct error error;
    struct store *store = store_open(state.folder, &error);
    int rows = when == KILLED_BEFORE_WRITING ? 0 : when == KILLED_AFTER_A_FEW ? 3 : 250;
    if (!store || !store_begin(store, __func__, &error) || !write_much(store, rows, &error) ||
        (when == KILLED_AFTER_COMMIT && !store_commit(store, &error)))
        _exit(1);
    raise(SIGKILL);
}

Test(store, a_killed_service_leaves_the_last_commit)
{
    state_place(&state, "before");
    state_close(&state);
    for (enum killed_at when = KILLED_BEFORE_WRITING; when <= KILLED_AFTER_COMMIT; when++) {
        pid_t child = fork();
        if (child == 0)
            write_and_die(when);
        int status;
        cr_assert_eq(waitpid(child, &status, 0), child);
        cr_assert(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL, "%x", (unsigned)status);
        state_open(&state);
        OK(&state, store_check_integrity(state.store, &state.error));
        cr_expect_eq(count_places(), 1);
        cr_expect_eq(state_query(&state, "SELECT count(*) FROM path"), when == KILLED_AFTER_COMMIT ? 250 : 0);
        state_close(&state);
    }
}

static void expect_full_is_survived(void)
{
    cr_expect_eq(state.error.kind, ERROR_SYSTEM, "%s", state.error.text);
    store_rollback(state.store);
    cr_expect(!store_is_open_transaction(state.store));
    cr_expect_eq(count_places(), 1);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM path"), 0);
}

Test(store, a_full_database_is_an_error_of_the_system_and_keeps_earlier_rows)
{
    state_place(&state, "before");
    cr_assert_eq(sqlite3_exec(state.store->database, "PRAGMA max_page_count = 60", NULL, NULL, NULL), SQLITE_OK);
    state_begin(&state);
    cr_expect(!write_much(state.store, 100, &state.error));
    expect_full_is_survived();
    cr_assert_eq(sqlite3_exec(state.store->database, "PRAGMA max_page_count = 100000", NULL, NULL, NULL), SQLITE_OK);
    state_begin(&state);
    OK(&state, write_much(state.store, 100, &state.error));
    state_commit(&state);
    OK(&state, store_check_integrity(state.store, &state.error));
}

/* A quota, or a limit to a file, does not come as 'no space left'. */
Test(store, a_disk_that_takes_no_more_is_an_error_of_the_system_and_keeps_earlier_rows)
{
    state_place(&state, "before");
    signal(SIGXFSZ, SIG_IGN);
    struct rlimit before, tiny;
    getrlimit(RLIMIT_FSIZE, &before);
    tiny = before;
    tiny.rlim_cur = 512 * 1024;
    setrlimit(RLIMIT_FSIZE, &tiny);
    state_begin(&state);
    bool ok = write_much(state.store, 250, &state.error) && store_commit(state.store, &state.error);
    setrlimit(RLIMIT_FSIZE, &before);
    cr_expect(!ok);
    expect_full_is_survived();
    state_begin(&state);
    OK(&state, write_much(state.store, 250, &state.error));
    state_commit(&state);
    OK(&state, store_check_integrity(state.store, &state.error));
}

/* ---- places and counts ---- */

Test(store, a_place_keeps_its_number)
{
    uint32_t a = state_place(&state, "a"), b = state_place(&state, "b");
    cr_expect(a != 0 && b != 0 && a != b);
    cr_expect_eq(state_place(&state, "a"), a);
    struct place_fact fact;
    OK(&state, store_place_find(state.store, "b", state.arena, &fact, &state.error));
    cr_expect_eq(fact.number, b);
    cr_expect_str_eq(fact.key, "b");
    cr_expect(fact.first_time == TIME_NONE && fact.last_time == TIME_NONE && fact.digest == 0);
    OK(&state, store_place_find(state.store, "A", state.arena, &fact, &state.error));
    cr_expect_eq(fact.number, 0, "unknown, and no error");
    const char *key;
    OK(&state, store_place_key(state.store, a, state.arena, &key, &state.error));
    cr_expect_str_eq(key, "a");
    OK(&state, store_place_key(state.store, 999, state.arena, &key, &state.error));
    cr_expect_str_eq(key, "");
}

Test(store, a_digest_has_all_its_bits)
{
    uint32_t place = state_place(&state, "a");
    state_begin(&state);
    OK(&state, store_place_set_digest(state.store, place, UINT64_C(0xFEDCBA9876543210), &state.error));
    state_commit(&state);
    struct place_fact fact;
    OK(&state, store_place_find(state.store, "a", state.arena, &fact, &state.error));
    cr_expect_eq(fact.digest, UINT64_C(0xFEDCBA9876543210));
}

Test(store, an_empty_store_counts_nothing)
{
    struct store_counts counts, none = {0};
    OK(&state, store_counts(state.store, &counts, &state.error));
    cr_expect_eq(memcmp(&counts, &none, sizeof counts), 0);
}

Test(store, counts_are_by_state)
{
    state_execute(
        &state,
        "INSERT INTO path VALUES(X'61',0,0,0,0,0,0,0,0,0,0,''), (X'62',0,0,0,0,0,3,0,0,0,0,''),"
        " (X'63',0,0,0,0,0,3,0,0,0,0,''), (X'64',0,0,0,0,0,1,0,0,0,0,'');"
        "INSERT INTO drop_ VALUES(1,'x',1,X'70',0,'','','',1,10,0,7,3,0,0,'',''), "
        "(2,'y',1,X'70',0,'','','',1,5,0,5,0,0,0,'','');"
        "INSERT INTO note VALUES(1,1,0,0,13,NULL,NULL,NULL,'',1,1);"
        "INSERT INTO dirty VALUES(1,0,5), (1,7,9); INSERT INTO page VALUES(1,0,1,0,'',0,''), (1,1,0,1,'',0,'');");
    struct store_counts c;
    OK(&state, store_counts(state.store, &c, &state.error));
    cr_expect(c.drops == 2 && c.rows == 12 && c.repeated_rows == 3 && c.waiting == 1 && c.set_aside == 2);
    cr_expect(c.notes == 1 && c.dirty == 2 && c.pages_due == 1 && c.alarms_open == 0);
}

Test(store, back_to_a_mark_undoes_the_last_piece_only)
{
    uint32_t number;
    state_begin(&state);
    OK(&state, store_mark(state.store, &state.error));
    OK(&state, store_place_number(state.store, "first", &number, &state.error));
    OK(&state, store_mark(state.store, &state.error));
    OK(&state, store_place_number(state.store, "second", &number, &state.error));
    cr_expect(store_back_to_mark(state.store));
    OK(&state, store_place_number(state.store, "third", &number, &state.error));
    state_commit(&state);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM place WHERE key IN ('first', 'third')"), 2);
    cr_expect_eq(state_query(&state, "SELECT count(*) FROM place WHERE key = 'second'"), 0);
    cr_expect_not(store_back_to_mark(state.store), "no transaction, no mark");
}
