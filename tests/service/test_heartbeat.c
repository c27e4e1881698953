/* SPDX-License-Identifier: MIT */
#include "service/heartbeat.h"

#include "fixture.h"

#include <criterion/criterion.h>
#include <string.h>

static struct fixture f;
static struct metrics_run run;
static struct heart_facts facts;

static void set_up(void)
{
    f = fixture_open("heartbeat: {url: \"https://pulse.example.org/\", every: 1 min}\n"
                     "rules: {low: {kind: below, quantity: oxygen, limit: 3 mg/L, tell: [desk]}}\n");
    run = (struct metrics_run){.started = hours_on(0), .last_turn = hours_on(5), .last_scan = hours_on(5)};
    facts = (struct heart_facts){
        .wall = hours_on(5), .disk_wall = hours_on(5), .monotonic = 1000, .next_alarm_look = TIME_FOREVER, .run = &run};
}

static void tear_down(void)
{
    fixture_close(&f);
}

TestSuite(heartbeat, .init = set_up, .fini = tear_down);

static void expect_trouble(const char *words)
{
    const char *trouble = heart_trouble(f.config, f.store, f.arena, &facts);
    cr_expect(trouble && strstr(trouble, words), "'%s' says nothing of '%s'", trouble ? trouble : "well", words);
}

static void expect_well(void)
{
    const char *trouble = heart_trouble(f.config, f.store, f.arena, &facts);
    cr_expect_null(trouble, "%s", trouble);
}

Test(heartbeat, beats_while_all_is_well)
{
    expect_well();
    facts.next_alarm_look = facts.wall - MINUTE_MS;
    expect_well();
}

Test(heartbeat, pauses_where_the_loop_is_stuck_anywhere)
{
    facts.paused_until = 2000;
    expect_trouble("failed");
    facts.paused_until = 0;
    run.inbox.inbox_missing = true;
    expect_trouble("missing");
    run.inbox.inbox_missing = false;
    run.inbox.unreadable = 1;
    expect_trouble("cannot be read");
    run.inbox.unreadable = 0;
    facts.disk_wall += 22 * MINUTE_MS; /* rescan is 10 min */
    expect_trouble("looked through");
    facts.disk_wall -= 2 * MINUTE_MS;
    expect_well();
    facts.next_alarm_look = facts.wall - 11 * MINUTE_MS;
    expect_trouble("wait for a time");
}

Test(heartbeat, pauses_where_notices_do_not_get_out)
{
    struct error error = {0};
    struct notice *due;
    size_t n;
    fixture_raise(&f, "heron-creek", "low", hours_on(4.5));
    facts.wall = hours_on(6);
    expect_well();
    cr_assert(store_notices_due(f.store, hours_on(4.5), 1, f.arena, &due, &n, &error) && n == 1);
    cr_assert(store_begin(f.store, __func__, &error));
    cr_assert(store_notice_done(f.store, due[0].id, NOTICE_DUE, hours_on(4.5), hours_on(7), "nobody there", &error));
    cr_assert(store_commit(f.store, &error));
    expect_trouble("notices to 'desk'");
    facts.wall = hours_on(5.2);
    expect_well();
}

Test(heartbeat, has_its_time)
{
    struct heart heart = {.due = 77};
    cr_expect_eq(heart_deadline(&heart, f.config), 77);
    struct config silent = *f.config;
    silent.heartbeat.url = NULL;
    cr_expect_eq(heart_deadline(&heart, &silent), TIME_FOREVER);
}
