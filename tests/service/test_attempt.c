/* SPDX-License-Identifier: MIT */
#include "service/attempt.h"
#include "base/memory.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static struct store *store;
static struct arena *arena;
static struct error error;
static char folder[64];
static struct candidate drop = {
    .path = "mill/a.csv", .size = 5, .modified_ns = 7, .changed_ns = 8, .inode = 9, .device = 1};

static void start(void)
{
    strcpy(folder, "/tmp/attempt-XXXXXX");
    cr_assert(mkdtemp(folder));
    store = store_open(folder, &error);
    cr_assert(store, "%s", error.text);
    arena = arena_new();
}

static void finish(void)
{
    store_close(store);
    arena_free(arena);
    static const char *const files[] = {"reading", "rillward.db", "rillward.db-wal", "rillward.db-shm", "lock", ""};
    for (size_t i = 0; i < COUNT_OF(files); i++) {
        char path[128];
        snprintf(path, sizeof path, "%s/%s", folder, files[i]);
        if (*files[i])
            unlink(path);
        else
            rmdir(folder);
    }
}

TestSuite(attempt, .init = start, .fini = finish);

/* A run that is killed while it reads, or not. */
static bool run(bool ends_while_reading)
{
    bool was_left;
    int fd = attempt_open(folder, store, 77, 1000, &was_left, &error);
    cr_assert_geq(fd, 0, "%s", error.text);
    attempt_begin(fd, &drop);
    if (!ends_while_reading)
        attempt_end(fd);
    close(fd);
    return was_left;
}

static int64_t attempts(void)
{
    struct path_fact fact = {.attempts = 0};
    bool found;
    cr_assert(store_path_find(store, drop.path, arena, &fact, &found, &error));
    return found ? fact.attempts : -1;
}

Test(attempt, a_reading_that_ended_is_not_counted)
{
    cr_expect_not(run(false));
    cr_expect_not(run(false));
    cr_expect_eq(attempts(), -1);
}

Test(attempt, each_reading_that_did_not_end_is_counted_by_the_next_start)
{
    run(true);
    cr_expect_eq(attempts(), -1);
    cr_expect(run(true));
    cr_expect_eq(attempts(), 1);
    cr_expect(run(true));
    cr_expect_eq(attempts(), 2);
    cr_expect(run(false));
    cr_expect_eq(attempts(), 3);
    cr_expect_not(run(false));
    cr_expect_eq(attempts(), 3);
}

Test(attempt, another_file_under_the_name_begins_anew)
{
    run(true);
    run(true);
    drop.size++;
    cr_expect(run(true));
    cr_expect_eq(attempts(), 2, "the older file's second");
    cr_expect(run(false));
    cr_expect_eq(attempts(), 1);
}

Test(attempt, a_file_that_holds_something_else_counts_for_nothing)
{
    char path[128];
    snprintf(path, sizeof path, "%s/reading", folder);
    FILE *file = fopen(path, "wb");
    for (int i = 0; i < 9000; i++)
        fputc(1, file);
    fclose(file);
    cr_expect_not(run(false));
    cr_expect_eq(attempts(), -1);
}
