/* SPDX-License-Identifier: MIT */
#include "alarms/hours.h"

#include "base/timestamp.h"
#include "base/zone.h"

#include <criterion/criterion.h>
#include <string.h>

static struct zone *zone_of(const char *name)
{
    struct error error = {0};
    struct zone *zone = zone_load(name, &error);
    cr_assert(zone, "%s", error.text);
    return zone;
}

static int64_t at(const char *time)
{
    int64_t ret;
    cr_assert(timestamp_parse(time, strlen(time), &ret));
    return ret;
}

static void expect_next(const struct hours *hours, const char *time, const char *next)
{
    char found[TIMESTAMP_SIZE];
    cr_expect_str_eq(timestamp_print(hours_next_open(hours, at(time)), found), next, "after %s: %s, not %s", time,
                     found, next);
}

Test(hours, without_a_zone_every_time_is_within_them)
{
    const struct hours none = {.zone = NULL};
    expect_next(&none, "2026-04-20T03:00:00Z", "2026-04-20T03:00:00Z");
}

Test(hours, weekdays_by_a_local_clock)
{
    /* 2026-04-20 is a Monday. */
    struct hours office = {.days = 0x1F, .from = 7 * 60, .to = 19 * 60, .zone = zone_of("-08:00")};
    expect_next(&office, "2026-04-20T14:59:59Z", "2026-04-20T15:00:00Z");
    expect_next(&office, "2026-04-20T15:00:00Z", "2026-04-20T15:00:00Z");
    expect_next(&office, "2026-04-21T02:59:59Z", "2026-04-21T02:59:59Z");
    expect_next(&office, "2026-04-21T03:00:00Z", "2026-04-21T15:00:00Z");
    expect_next(&office, "2026-04-25T03:00:00Z", "2026-04-27T15:00:00Z");
    zone_free(office.zone);
}

Test(hours, a_night_shift_belongs_to_the_day_on_which_it_begins)
{
    struct hours night = {.days = 1u << 4, .from = 22 * 60, .to = 6 * 60, .zone = zone_of("UTC")}; /* Fridays */
    expect_next(&night, "2026-04-25T05:59:59Z", "2026-04-25T05:59:59Z");
    expect_next(&night, "2026-04-25T06:00:00Z", "2026-05-01T22:00:00Z");
    expect_next(&night, "2026-04-24T05:00:00Z", "2026-04-24T22:00:00Z");
    zone_free(night.zone);
}

Test(hours, summer_time_moves_them_with_the_clock)
{
    struct hours office = {.days = 0x7F, .from = 7 * 60, .to = 19 * 60, .zone = zone_of("America/Los_Angeles")};
    expect_next(&office, "2026-03-08T09:00:00Z", "2026-03-08T14:00:00Z"); /* clocks went forward that night */
    expect_next(&office, "2026-03-07T09:00:00Z", "2026-03-07T15:00:00Z");
    zone_free(office.zone);
}

Test(hours, the_next_open_time_is_open_and_never_before)
{
    static const char *const names[] = {"America/Los_Angeles", "Europe/Lisbon", "Australia/Lord_Howe", "UTC"};
    for (size_t z = 0; z < COUNT_OF(names); z++) {
        struct hours hours = {.days = 0x35, .from = 90, .to = 150, .zone = zone_of(names[z])};
        for (int64_t time = at("2026-01-01T00:00:00Z"); time < at("2027-01-01T00:00:00Z"); time += 37 * MINUTE_MS) {
            int64_t next = hours_next_open(&hours, time);
            cr_assert(next >= time && next - time <= 3 * DAY_MS);
            cr_assert_eq(hours_next_open(&hours, next), next, "%s", names[z]);
        }
        zone_free(hours.zone);
    }
}

Test(hours, a_minute_of_the_day_comes_once_a_day)
{
    struct zone *zone = zone_of("America/Los_Angeles");
    int64_t time = at("2026-01-01T00:00:00Z"), end = at("2027-01-01T00:00:00Z");
    int days = 0;
    for (; time < end; days++) {
        int64_t next = hours_next_minute(zone, 150, time); /* 02:30: skipped in spring, shown twice in autumn */
        cr_assert(next > time && next - time <= 26 * HOUR_MS);
        time = next;
    }
    cr_expect_eq(days, 366);
    char found[TIMESTAMP_SIZE];
    time = hours_next_minute(zone, 420, at("2026-04-20T14:00:00Z"));
    cr_expect_str_eq(timestamp_print(time, found), "2026-04-21T14:00:00Z", "after, not at");
    zone_free(zone);
}
