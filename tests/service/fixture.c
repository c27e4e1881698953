/* SPDX-License-Identifier: MIT */
#include "fixture.h"

#include "alarms/lifecycle.h"
#include "base/timestamp.h"
#include "config/load.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define PLACE "latitude: 44, longitude: -124, elevation: 2 m, standard_time: \"-08:00\""

struct fixture fixture_open(const char *more)
{
    struct fixture f = {.folder = "/tmp/rillward-test-XXXXXX", .arena = arena_new()};
    struct error error = {0};
    struct config_problems problems;
    cr_assert(mkdtemp(f.folder));
    config_problems_init(&problems);
    char *text = x_printf("network: {id: sallow, name: Sallow estuary water watch}\n"
                          "inbox: %s/inbox\narchive: %s/archive\nstate: %s\n"
                          "stations:\n"
                          "  heron-creek: {name: Heron Creek at the footbridge, " PLACE ", salinity: fresh}\n"
                          "  weir-pool: {name: Weir pool, " PLACE ", salinity: fresh}\n"
                          "barometers: {hill: {" PLACE "}, quay: {" PLACE "}, mast: {" PLACE "}}\n"
                          "mail: {server: localhost, security: plain, from: rillward@example.org}\n"
                          "recipients:\n"
                          "  desk: {mail: desk@example.org}\n"
                          "  on-call: {webhook: \"https://hooks.example.org/\"}\n"
                          "  day-desk: {mail: day@example.org, hours: {days: mon-fri, from: \"07:00\", to: \"19:00\", "
                          "zone: \"-08:00\"}}\n%s",
                          "/srv/sync", "/srv/kept", f.folder, more);
    f.config = config_load_bytes("test.yaml", text, strlen(text), &problems);
    for (size_t i = 0; i < problems.count; i++)
        cr_log_error("%s", config_problem_print(&problems.list[i], problems.arena));
    cr_assert(f.config);
    config_problems_done(&problems);
    free(text);
    f.store = store_open(f.folder, &error);
    cr_assert(f.store, "%s", error.text);
    f.teller = (struct teller){f.config, f.store, f.arena};
    return f;
}

void fixture_close(struct fixture *f)
{
    static const char *const names[] = {"rillward.db", "rillward.db-wal", "rillward.db-shm", "lock", "bell"};
    store_close(f->store);
    config_free(f->config);
    arena_free(f->arena);
    for (size_t k = 0; k < COUNT_OF(names); k++) {
        char path[128];
        snprintf(path, sizeof path, "%s/%s", f->folder, names[k]);
        unlink(path);
    }
    rmdir(f->folder);
}

int64_t hours_on(double hours)
{
    struct civil day = {.year = 2026, .month = 4, .day = 20};
    return timestamp_from_civil(&day) + (int64_t)(hours * (double)HOUR_MS);
}

struct alarm fixture_raise(struct fixture *f, const char *station, const char *rule, int64_t now)
{
    struct error error = {0};
    struct alarm alarm = {.station = station,
                          .rule = rule,
                          .episode = {.start = now - HOUR_MS,
                                      .raised = now - HOUR_MS,
                                      .end = TIME_NONE,
                                      .worst = 1.5,
                                      .worst_time = now - HOUR_MS / 2,
                                      .last = 2,
                                      .last_time = now - MINUTE_MS},
                          .state = ALARM_NORMAL,
                          .learnt = now,
                          .shelved_until = TIME_NONE,
                          .asked = TIME_NONE,
                          .told = TIME_NONE,
                          .escalated = TIME_NONE};
    enum notice_event event = lifecycle_take(&alarm, ALARM_EVENT_RAISED, now);
    cr_assert(store_begin(f->store, __func__, &error), "%s", error.text);
    cr_assert(tell_change(&f->teller, &alarm, event, "rillward", notice_event_word(event), &error), "%s", error.text);
    cr_assert(store_commit(f->store, &error), "%s", error.text);
    return alarm;
}

struct alarm fixture_alarm(struct fixture *f, int64_t id)
{
    struct error error = {0};
    struct alarm alarm;
    bool is_found;
    cr_assert(store_alarm_find(f->store, id, f->arena, &alarm, &is_found, &error) && is_found, "%s", error.text);
    return alarm;
}

const char *fixture_notices(struct fixture *f, int64_t alarm)
{
    struct error error = {0};
    struct notice_fact *list;
    size_t n;
    char *text = arena_strdup(f->arena, "");
    cr_assert(store_notices_of_alarm(f->store, alarm, f->arena, &list, &n, &error), "%s", error.text);
    for (size_t k = 0; k < n; k++)
        text = arena_printf(f->arena, "%s%s%s %s", text, k ? ", " : "", list[k].recipient,
                            notice_event_word(list[k].event));
    return text;
}

const char *fixture_steps(struct fixture *f, int64_t alarm)
{
    struct error error = {0};
    struct step_fact *list;
    size_t n;
    char *text = arena_strdup(f->arena, "");
    cr_assert(store_alarm_steps(f->store, alarm, f->arena, &list, &n, &error), "%s", error.text);
    for (size_t k = 0; k < n; k++)
        text = arena_printf(f->arena, "%s%s%s %s", text, k ? "; " : "", list[k].who, list[k].what);
    return text;
}
