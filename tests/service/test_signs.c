/* SPDX-License-Identifier: MIT */
#include "service/signs.h"

#include "base/file.h"
#include "base/timestamp.h"
#include "fixture.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static struct fixture f;
static char folder[64], metrics[96];
static struct clocks clocks;
static struct signs signs;
static struct watch *watch;
static struct error error;

static void set_up(void)
{
    char more[128], inbox[96];
    strcpy(folder, "/tmp/signs-XXXXXX");
    cr_assert(mkdtemp(folder));
    snprintf(metrics, sizeof metrics, "%s/rillward.prom", folder);
    snprintf(inbox, sizeof inbox, "%s/inbox", folder);
    snprintf(more, sizeof more, "metrics: {file: %s}\n", metrics);
    f = fixture_open(more);
    watch = watch_open(&(struct watch_settings){.root = inbox, .rescan_ms = HOUR_MS}, &error);
    cr_assert(watch, "%s", error.text);
    clocks = (struct clocks){.wall = hours_on(0), .disk_wall = hours_on(0), .monotonic = HOUR_MS};
    memset(&signs, 0, sizeof signs);
    signs_open(&signs, &clocks, false);
}

static void tear_down(void)
{
    watch_close(watch);
    unlink(metrics);
    rmdir(folder);
    fixture_close(&f);
}

TestSuite(signs, .init = set_up, .fini = tear_down);

static struct signs_view view(void)
{
    return (struct signs_view){
        .config = f.config, .store = f.store, .arena = f.arena, .watch = watch, .clocks = &clocks};
}

/* The inbox is looked through: it is missing. */
static void scan(void)
{
    struct candidate ignored;
    while (watch_next(watch, clocks.disk_wall, clocks.monotonic, &ignored, &error))
        ;
}

static void take_in(bool worked)
{
    const struct signs_view now = view();
    signs_take_in(&signs, &now, worked);
}

static void write_metrics(void)
{
    const struct signs_view now = view();
    cr_expect(signs_write_metrics(&signs, &now));
}

Test(signs, metrics_wait_for_a_rest_but_not_for_ever)
{
    scan();
    take_in(false); /* the inbox is missing, which is news */
    write_metrics();
    cr_expect_not(signs_metrics_due(&signs, &clocks, false), "nothing happened since");
    cr_expect_eq(signs_metrics_deadline(&signs, f.config), TIME_FOREVER);
    take_in(true);
    cr_expect_eq(signs_metrics_deadline(&signs, f.config), clocks.monotonic + METRICS_PAUSE);
    cr_expect_not(signs_metrics_due(&signs, &clocks, false), "they were only just written");
    clocks.monotonic += METRICS_PAUSE;
    cr_expect(signs_metrics_due(&signs, &clocks, false));
    cr_expect_not(signs_metrics_due(&signs, &clocks, true), "there is work");
    clocks.monotonic += MINUTE_MS;
    cr_expect(signs_metrics_due(&signs, &clocks, true), "for long");
}

Test(signs, metrics_name_what_the_service_counted)
{
    size_t length;
    struct error failure;
    fail(&failure, ERROR_SYSTEM, "the disk is full");
    signs_failure(&signs, &clocks, &failure, SECOND_MS);
    clocks.monotonic += METRICS_PAUSE;
    cr_expect(signs_metrics_due(&signs, &clocks, false), "a failure is news");
    write_metrics();
    char *text;
    cr_assert(file_read(metrics, 1 << 20, &text, &length, &error), "%s", error.text);
    cr_expect(strstr(text, "rillward_failures_total 1\n"), "%s", text);
    free(text);
}

Test(signs, metrics_that_cannot_be_written_stop_nothing_and_are_tried_again)
{
    cr_assert_eq(rmdir(folder), 0);
    write_metrics();
    cr_expect(signs.metrics_failed);
    cr_assert(file_make_folders(folder, &error));
    clocks.monotonic += METRICS_PAUSE;
    write_metrics();
    cr_expect_not(signs.metrics_failed);
    cr_expect_eq(access(metrics, R_OK), 0);
}

Test(signs, the_inbox_is_spoken_of_once)
{
    scan();
    take_in(false);
    cr_expect(*signs.inbox_note, "it is missing");
    write_metrics();
    take_in(false);
    cr_expect_eq(signs.changed_since, 0, "no news");
}

Test(signs, a_person_is_needed_where_something_waits)
{
    const struct signs_view now = view();
    cr_expect_not(signs_need_hand(&now));
    const struct path_fact path = {.path = "mill/a.csv", .state = DROP_SET_ASIDE, .message = "no layout fits"};
    cr_assert(store_begin(f.store, __func__, &error) && store_path_put(f.store, &path, &error) &&
                  store_commit(f.store, &error),
              "%s", error.text);
    cr_expect(signs_need_hand(&now));
}

Test(signs, without_a_manager_that_watches_there_is_no_deadline)
{
    cr_expect_eq(signs_watchdog_deadline(&signs), TIME_FOREVER);
}

Test(signs, half_of_the_managers_patience_is_kept)
{
    setenv("WATCHDOG_USEC", "10000000", 1);
    signs_open(&signs, &clocks, false);
    unsetenv("WATCHDOG_USEC");
    signs_watchdog(&signs, &clocks);
    cr_expect_eq(signs_watchdog_deadline(&signs), clocks.monotonic + 5 * SECOND_MS);
    clocks.monotonic += SECOND_MS;
    signs_watchdog(&signs, &clocks);
    cr_expect_eq(signs_watchdog_deadline(&signs), clocks.monotonic + 4 * SECOND_MS);
}
