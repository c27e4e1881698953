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
    static const char *const files[] = {"working-on", "rillward.db", "rillward.db-wal", "rillward.db-shm", "lock", ""};
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

static struct attempts begin_run(void)
{
    struct attempts run;
    cr_assert(attempts_open(&run, folder, store, 77, 1000, &error), "%s", error.text);
    return run;
}

/* A run that is killed while it reads, or not: whether the one before was. */
static bool run(bool ends_while_reading)
{
    struct attempts run = begin_run();
    attempt_begin(&run, &drop);
    if (!ends_while_reading)
        attempt_end(&run);
    attempts_close(&run);
    return run.left_drop;
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
    snprintf(path, sizeof path, "%s/working-on", folder);
    FILE *file = fopen(path, "wb");
    for (int i = 0; i < 9000; i++)
        fputc(1, file);
    fclose(file);
    cr_expect_not(run(false));
    cr_expect_eq(attempts(), -1);
}

/* ---- derivations and records ---- */

static uint32_t numbered(const char *key)
{
    uint32_t number;
    cr_assert(store_begin(store, __func__, &error) && store_place_number(store, key, &number, &error) &&
              store_dirty_add(store, number, (struct span){0, 100}, &error) && store_commit(store, &error));
    return number;
}

static int64_t attempts_at(enum unfinished_kind kind, uint32_t place)
{
    struct unfinished found;
    cr_assert(store_unfinished_find(store, kind, place, (struct span){0, 100}, &found, &error), "%s", error.text);
    return found.attempts;
}

Test(attempt, a_derivation_that_did_not_end_is_counted_with_its_span)
{
    uint32_t place = numbered("mill");
    struct attempts first = begin_run();
    attempt_begin_span(&first, place, (struct span){10, 20});
    attempts_close(&first);
    struct attempts second = begin_run();
    cr_expect(!second.left_drop && !attempts_work_alone(&second));
    cr_expect_eq(attempts_at(UNFINISHED_SPAN, place), 1);
    attempt_begin_span(&second, place, (struct span){10, 20});
    attempt_end(&second);
    attempts_close(&second);
    struct attempts third = begin_run();
    cr_expect_eq(attempts_at(UNFINISHED_SPAN, place), 1, "that one ended");
    attempts_close(&third);
}

Test(attempt, records_that_were_on_their_way_are_counted_once_a_place_and_then_written_alone)
{
    uint32_t mill = numbered("mill"), mast = numbered("mast"), weir = numbered("weir");
    struct attempts first = begin_run();
    cr_expect_not(attempts_work_alone(&first));
    attempt_begin_record(&first, 1, mill);
    attempt_begin_record(&first, 2, mill);
    attempt_begin_record(&first, 3, weir);
    attempt_begin_record(&first, ATTEMPT_SLOTS, mast);
    attempt_begin_record(&first, ATTEMPT_SLOTS + 1, weir); /* not counted */
    attempt_end_record(&first, 3);
    attempts_close(&first);

    struct attempts second = begin_run();
    cr_expect(attempts_work_alone(&second) && !second.left_drop);
    cr_expect_eq(attempts_at(UNFINISHED_RECORDS, mill), 1);
    cr_expect_eq(attempts_at(UNFINISHED_RECORDS, mast), 1);
    cr_expect_eq(attempts_at(UNFINISHED_RECORDS, weir), 0);
    attempts_rest(&second);
    cr_expect_not(attempts_work_alone(&second));
    cr_assert(store_begin(store, __func__, &error) && attempt_succeeded(&second, store, mill, &error) &&
              store_commit(store, &error));
    cr_expect_eq(attempts_at(UNFINISHED_RECORDS, mill), 0, "one got through");
    attempts_close(&second);
}

Test(attempt, one_run_may_leave_a_derivation_and_records)
{
    uint32_t mill = numbered("mill"), mast = numbered("mast");
    struct attempts first = begin_run();
    attempt_begin_record(&first, 7, mast);
    attempt_begin_span(&first, mill, (struct span){10, 20});
    attempts_close(&first);
    struct attempts second = begin_run();
    cr_expect(attempts_at(UNFINISHED_SPAN, mill) == 1 && attempts_at(UNFINISHED_RECORDS, mast) == 1);
    cr_expect(attempts_at(UNFINISHED_RECORDS, mill) == 0 && attempts_at(UNFINISHED_SPAN, mast) == 0);
    attempts_close(&second);
}

Test(attempt, files_of_earlier_versions_go)
{
    static const char *const names[] = {"reading", "working"};
    for (size_t i = 0; i < COUNT_OF(names); i++) {
        char path[128];
        snprintf(path, sizeof path, "%s/%s", folder, names[i]);
        fclose(fopen(path, "wb"));
        cr_expect_not(run(false));
        cr_expect_neq(access(path, F_OK), 0, "%s", names[i]);
    }
}

Test(attempt, who_writes_nothing_down_is_not_in_the_way)
{
    attempt_begin(NULL, &drop);
    attempt_begin_record(NULL, 1, 1);
    attempt_end(NULL);
    cr_expect(attempt_succeeded(NULL, store, 1, &error) && !attempts_work_alone(NULL));
}
