/* SPDX-License-Identifier: MIT */
#include "store/store.h"

#include "state.h"

#include <criterion/criterion.h>
#include <dirent.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct look {
    struct state *state;
    int calls, last, total;
};

/* In the middle of the copy the service goes on. */
static void write_meanwhile(void *context, int done, int total)
{
    struct look *look = context;
    look->calls++;
    look->last = done;
    look->total = total;
    cr_assert_leq(done, total);
    state_execute(look->state, "UPDATE place SET digest = digest + 1 WHERE key = 'heron'");
}

static size_t files_of(const char *folder)
{
    size_t n = 0;
    DIR *list = opendir(folder);
    while (readdir(list))
        n++;
    closedir(list);
    return n;
}

Test(backup, a_copy_is_of_one_moment_though_the_service_writes)
{
    struct state state, copy;
    state_make(&state);
    state_place(&state, "heron");
    /* More than one step of pages. */
    state_execute(
        &state,
        "CREATE TABLE filler(x); WITH RECURSIVE n(i) AS (VALUES(1) UNION ALL SELECT i + 1 FROM n WHERE i < 1000)"
        " INSERT INTO filler SELECT randomblob(4000) FROM n");
    int64_t before = state_query(&state, "SELECT digest FROM place WHERE key = 'heron'");
    struct store *reader = store_open_to_read(state.folder, &state.error);
    cr_assert_not_null(reader, "%s", state.error.text);
    state_make(&copy);
    state_close(&copy);
    size_t files = files_of(copy.folder);
    struct look look = {.state = &state};
    struct store_progress progress = {write_meanwhile, &look};
    OK(&state, store_backup(reader, copy.database, &progress, &state.error));
    store_close(reader);
    cr_expect_gt(look.calls, 2);
    cr_expect_gt(look.total, 1000);
    cr_expect_gt(state_query(&state, "SELECT digest FROM place WHERE key = 'heron'"), before);
    cr_expect_eq(state_query(&copy, "SELECT digest FROM place WHERE key = 'heron'"), before);
    cr_expect_eq(state_query(&copy, "SELECT count(*) FROM filler"), 1000);
    cr_expect_leq(files_of(copy.folder), files, "no temporary is left");
    struct stat status;
    cr_expect_eq(stat(copy.database, &status), 0);
    cr_expect_eq(status.st_mode & 0777, 0600);
    state_open(&copy); /* it is the database of a service that goes on from here */
    OK(&copy, store_check_integrity(copy.store, &copy.error));
    state_done(&copy);
    state_done(&state);
}

Test(backup, a_copy_that_cannot_be_made_leaves_the_older_one)
{
    struct state state;
    char target[300];
    state_make(&state);
    snprintf(target, sizeof target, "%s/nowhere/copy.db", state.folder);
    cr_expect_not(store_backup(state.store, target, NULL, &state.error));
    cr_expect_eq(state.error.kind, ERROR_SYSTEM);
    snprintf(target, sizeof target, "%s/copy.db", state.folder);
    OK(&state, store_backup(state.store, target, NULL, &state.error));
    struct stat before, after;
    cr_assert_eq(stat(target, &before), 0);
    char occupied[340];
    snprintf(occupied, sizeof occupied, "%s.%ld.partial", target, (long)getpid());
    cr_assert_eq(mkdir(occupied, 0700), 0);
    cr_expect_not(store_backup(state.store, target, NULL, &state.error));
    cr_assert_eq(stat(target, &after), 0);
    cr_expect_eq(before.st_ino, after.st_ino);
    rmdir(occupied);
    unlink(target);
    state_done(&state);
}
