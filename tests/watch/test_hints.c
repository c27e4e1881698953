/* SPDX-License-Identifier: MIT */
#include "watch/hints.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <stdio.h>

static struct hints *hints;
static char path[PATH_MAX];
static struct sighting sighting;

static void setup(void)
{
    hints = hints_new();
}

static void teardown(void)
{
    hints_free(hints);
}

TestSuite(hints, .init = setup, .fini = teardown);

static void expect_next(int64_t now, const char *expected)
{
    cr_assert(hints_take_file(hints, now, path, &sighting), "%s", expected);
    cr_expect_str_eq(path, expected);
}

Test(hints, files_come_by_time_then_by_arrival_and_once)
{
    const struct sighting none = {.is_known = false};
    hints_put_file(hints, "later", &none, 300);
    hints_put_file(hints, "sooner", &none, 200);
    hints_add_file(hints, "b", HINT_WRITTEN, 100);
    hints_add_file(hints, "a", HINT_WRITTEN, 100);
    hints_add_file(hints, "b", HINT_TOUCHED, 100);
    cr_expect_eq(hints_next_due(hints), 100);
    expect_next(100, "b");
    expect_next(100, "a");
    cr_expect_not(hints_take_file(hints, 199, path, &sighting));
    expect_next(300, "sooner");
    expect_next(300, "later");
    cr_expect_not(hints_take_file(hints, 300, path, &sighting));
    cr_expect_eq(hints_next_due(hints), TIME_FOREVER);
}

Test(hints, many_files_stay_in_order_through_drops)
{
    const struct sighting none = {.is_known = false};
    char name[16];
    for (int i = 0; i < 1000; i++) {
        snprintf(name, sizeof name, "%d", i);
        hints_put_file(hints, name, &none, (i * 7919) % 1000);
    }
    for (int i = 0; i < 1000; i += 2) {
        snprintf(name, sizeof name, "%d", i);
        hints_drop_file(hints, name);
    }
    int64_t last = -1;
    for (int i = 0; i < 500; i++) {
        int64_t due = hints_next_due(hints);
        cr_expect(due >= last);
        last = due;
        cr_assert(hints_take_file(hints, due, path, &sighting));
    }
    cr_expect_eq(hints_count_waiting(hints), 0);
}

Test(hints, an_event_brings_a_waiting_file_forward_and_keeps_what_is_known)
{
    const struct sighting known = {.is_known = true, .since = 42};
    hints_put_file(hints, "a", &known, 5000);
    cr_expect_eq(hints_count_waiting(hints), 1);
    cr_expect_not(hints_are_pending(hints));
    hints_add_file(hints, "a", HINT_WRITTEN, 100);
    cr_expect_eq(hints_count_waiting(hints), 0);
    cr_expect(hints_are_pending(hints));
    cr_expect(hints_recall_file(hints, "a", &sighting));
    cr_expect_eq(sighting.since, 42);
    expect_next(100, "a");
    cr_expect_eq(sighting.since, 42);
    cr_expect_not(hints_recall_file(hints, "a", &sighting));
    cr_expect_not(sighting.is_known);
}

Test(hints, a_rename_is_remembered_until_something_is_written)
{
    hints_add_file(hints, "a", HINT_RENAMED, 100);
    hints_add_file(hints, "a", HINT_TOUCHED, 100);
    expect_next(100, "a");
    cr_expect(sighting.was_renamed_in);
    hints_add_file(hints, "a", HINT_RENAMED, 100);
    hints_add_file(hints, "a", HINT_WRITTEN, 100);
    expect_next(100, "a");
    cr_expect_not(sighting.was_renamed_in);
}

Test(hints, a_full_list_of_files_wants_a_scan)
{
    const struct sighting none = {.is_known = false};
    char name[16];
    for (int i = 0; i < HINTS_FILE_LIMIT; i++) {
        snprintf(name, sizeof name, "%d", i);
        hints_add_file(hints, name, HINT_WRITTEN, 1);
    }
    cr_expect_not(hints_take_scan(hints));
    cr_expect_not(hints_put_file(hints, "more", &none, 1));
    hints_add_file(hints, "more", HINT_WRITTEN, 1);
    cr_expect(hints_take_scan(hints));
    cr_expect_not(hints_take_scan(hints));
}

/* What arrives now does not wait until thousands of others were looked at. */
Test(hints, every_second_one_is_of_the_folder_of_the_newest)
{
    char name[16];
    for (int i = 0; i < 6; i++) {
        snprintf(name, sizeof name, "%d/a.csv", i);
        hints_add_file(hints, name, HINT_WRITTEN, 100);
    }
    expect_next(100, "0/a.csv");
    expect_next(100, "5/a.csv");
    expect_next(100, "1/a.csv");
    hints_add_file(hints, "now/a.csv", HINT_RENAMED, 100);
    expect_next(100, "now/a.csv");
    expect_next(100, "2/a.csv");
    expect_next(100, "4/a.csv");
    expect_next(100, "3/a.csv");
}

/* A corrected file must be taken after the one that it corrects. */
Test(hints, files_of_one_folder_come_in_their_order)
{
    char name[16];
    hints_add_file(hints, "before.csv", HINT_WRITTEN, 100);
    for (int i = 0; i < 6; i++) {
        snprintf(name, sizeof name, "x/%d.csv", i);
        hints_add_file(hints, name, HINT_WRITTEN, 100);
    }
    expect_next(100, "before.csv");
    for (int i = 0; i < 6; i++) {
        snprintf(name, sizeof name, "x/%d.csv", i);
        expect_next(100, name);
    }
}

Test(hints, the_newest_is_kept_where_the_list_is_full_and_a_scan_finds_the_oldest)
{
    char name[16];
    for (int i = 0; i < HINTS_FILE_LIMIT; i++) {
        snprintf(name, sizeof name, "%d/a", i);
        hints_add_file(hints, name, HINT_WRITTEN, 100);
    }
    cr_expect_not(hints_take_scan(hints));
    hints_add_file(hints, "now/a", HINT_RENAMED, 100);
    cr_expect(hints_take_scan(hints));
    cr_expect(hints_recall_file(hints, "now/a", &sighting));
    cr_expect_not(hints_recall_file(hints, "0/a", &sighting));
    expect_next(100, "1/a");
    expect_next(100, "now/a");
}

Test(hints, folders_come_in_order_of_arrival_and_once)
{
    hints_add_folder(hints, "b");
    hints_add_folder(hints, "a");
    hints_add_folder(hints, "b");
    cr_expect(hints_take_folder(hints, path));
    cr_expect_str_eq(path, "b");
    cr_expect(hints_take_folder(hints, path));
    cr_expect_str_eq(path, "a");
    cr_expect_not(hints_take_folder(hints, path));
}

Test(hints, too_many_folders_become_one_scan)
{
    char name[16];
    for (int i = 0; i <= HINTS_FOLDER_LIMIT; i++) {
        snprintf(name, sizeof name, "%d", i);
        hints_add_folder(hints, name);
    }
    cr_expect(hints_take_scan(hints));
    cr_expect_not(hints_take_folder(hints, path));
    cr_expect_not(hints_are_pending(hints));
}

Test(hints, a_sighting_tells_rest_from_change)
{
    struct fingerprint print = {.size = 1, .modified_ns = 2, .changed_ns = 3, .inode = 4, .device = 5};
    struct sighting seen = {.is_known = false};
    sighting_update(&seen, &print, 100);
    cr_expect_eq(seen.since, 100);
    cr_expect_not(seen.has_changed);
    sighting_update(&seen, &print, 200);
    cr_expect_eq(seen.since, 100);
    print.changed_ns++;
    seen.tries = 3;
    sighting_update(&seen, &print, 300);
    cr_expect_eq(seen.since, 300);
    cr_expect(seen.has_changed);
    cr_expect_eq(seen.tries, 0);
}
