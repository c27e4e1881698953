/* SPDX-License-Identifier: MIT */
#include "base/zone.h"

#include "base/file.h"
#include "base/memory.h"
#include "base/random.h"
#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <time.h>
#include <unistd.h>

/* Ordinary ones, and those whose history is odd: half hours, winter time as the exception, skipped days, summer time
 * paused for a month, rules that end, changes at local midnight or on the day before. */
static const char *const names[] = {
    "Europe/Lisbon",     "Europe/Dublin",   "Europe/Moscow",       "America/New_York",  "America/St_Johns",
    "America/Sao_Paulo", "America/Caracas", "America/Santiago",    "America/Havana",    "America/Asuncion",
    "Asia/Kolkata",      "Asia/Kathmandu",  "Asia/Tehran",         "Asia/Gaza",         "Asia/Jerusalem",
    "Asia/Pyongyang",    "Asia/Amman",      "Australia/Lord_Howe", "Australia/Sydney",  "Australia/Brisbane",
    "Pacific/Auckland",  "Pacific/Chatham", "Pacific/Apia",        "Pacific/Kwajalein", "Pacific/Kiritimati",
    "Africa/Casablanca", "Africa/Cairo",    "Africa/Monrovia",     "Antarctica/Troll",  "Antarctica/Casey",
    "America/Godthab",   "Etc/GMT+5",
};

#define FROM INT64_C(-631152000000)     /* 1950-01-01 */
#define FROM_RULES INT64_C(63072000000) /* 1972-01-01: the library applies a rule of TZ to later years only */
#define TO INT64_C(3786912000000)       /* 2090-01-01 */

static struct zone *load(const char *name)
{
    struct error error = {0};
    struct zone *zone = zone_load(name, &error);
    cr_assert_not_null(zone, "%s", error.text);
    return zone;
}

/* The library's clock is one setting of the process: each test is a process of its own. */
static void set_library(const char *name)
{
    setenv("TZ", name, 1);
    tzset();
}

static int64_t library_offset(int64_t time)
{
    time_t seconds = (time_t)(timestamp_floor(time, 1000) / 1000);
    struct tm tm;
    cr_assert_not_null(localtime_r(&seconds, &tm));
    return tm.tm_gmtoff * 1000;
}

/* First instant after `low` and not after `high` at which the library's offset is another one, found by halves. */
static int64_t find_change(int64_t low, int64_t high)
{
    int64_t before = library_offset(low);
    while (high - low > 1000) {
        int64_t middle = timestamp_floor(low + (high - low) / 2, 1000);
        if (library_offset(middle) == before)
            low = middle;
        else
            high = middle;
    }
    return high;
}

static void expect_offsets(const struct zone *zone, int64_t time)
{
    int64_t got = zone_offset(zone, time), expected = library_offset(time);
    char text[TIMESTAMP_SIZE];
    cr_assert_eq(got, expected, "%s at %s: %lld min, expected %lld min", zone_name(zone), timestamp_print(time, text),
                 (long long)(got / MINUTE_MS), (long long)(expected / MINUTE_MS));
}

/* All instants that the library shows as `local`, where offsets are among two. */
static void expect_readings(const struct zone *zone, int64_t local, int64_t before, int64_t after)
{
    int64_t found[2], got[2];
    size_t count = 0;
    if (library_offset(local - before) == before)
        found[count++] = local - before;
    if (after != before && library_offset(local - after) == after)
        found[count++] = local - after;
    enum zone_reading reading = zone_to_utc(zone, local, got);
    char text[TIMESTAMP_SIZE];
    timestamp_print(local, text);
    switch (count) {
    case 0:
        cr_assert_eq(reading, ZONE_MISSING, "%s %s", zone_name(zone), text);
        cr_assert(got[0] == local - before && got[1] == local - after, "%s %s", zone_name(zone), text);
        break;
    case 1:
        cr_assert_eq(reading, ZONE_ONCE, "%s %s", zone_name(zone), text);
        cr_assert(got[0] == found[0] && got[1] == found[0], "%s %s", zone_name(zone), text);
        break;
    default:
        cr_assert_eq(reading, ZONE_TWICE, "%s %s", zone_name(zone), text);
        cr_assert(got[0] == found[0] && got[1] == found[1] && got[0] < got[1], "%s %s", zone_name(zone), text);
    }
}

static void expect_change(const struct zone *zone, int64_t change)
{
    const int64_t near[] = {-DAY_MS, -HOUR_MS, -1000, -1, 0, 1, 1000, HOUR_MS, DAY_MS};
    for (size_t i = 0; i < COUNT_OF(near); i++)
        expect_offsets(zone, change + near[i]);
    int64_t before = library_offset(change - 1000), after = library_offset(change);
    int64_t low = before < after ? before : after, high = before < after ? after : before;
    int64_t step = (high - low) / 4;
    /* Readings around both ends of what is skipped or repeated. */
    for (int k = -2; k <= 6; k++)
        for (int64_t beside = -1000; beside <= 1000; beside += 1000)
            expect_readings(zone, change + low + k * step + beside, before, after);
}

static size_t expect_as_library(const struct zone *zone, int64_t from)
{
    size_t changes = 0;
    const int64_t step = 5 * DAY_MS;
    for (int64_t time = from; time < TO; time += step) {
        expect_offsets(zone, time);
        if (library_offset(time) == library_offset(time + step))
            continue;
        expect_change(zone, find_change(time, time + step));
        changes++;
    }
    uint64_t state = 1;
    for (int i = 0; i < 2000; i++) {
        int64_t time = random_between(&state, from, TO), got[2];
        expect_offsets(zone, time);
        if (library_offset(time - 2 * DAY_MS) != library_offset(time) ||
            library_offset(time + 2 * DAY_MS) != library_offset(time))
            continue;
        cr_assert_eq(zone_to_utc(zone, time + library_offset(time), got), ZONE_ONCE);
        cr_assert(got[0] == time && got[1] == time);
    }
    return changes;
}

Test(zone, iana_zones_agree_with_the_library)
{
    size_t changes = 0;
    for (size_t i = 0; i < COUNT_OF(names); i++) {
        struct zone *zone = load(names[i]);
        set_library(names[i]);
        cr_expect(!zone_is_fixed(zone));
        cr_expect_str_eq(zone_name(zone), names[i]);
        changes += expect_as_library(zone, FROM);
        zone_free(zone);
    }
    cr_expect_gt(changes, 3000, "only %zu changes were looked at", changes);
}

Test(zone, a_repeated_hour_has_two_instants_and_a_skipped_one_none)
{
    struct zone *zone = load("Europe/Lisbon");
    struct civil civil = {2026, 10, 25, 1, 30, 0, 0};
    int64_t local = timestamp_from_civil(&civil), got[2];
    cr_expect_eq(zone_to_utc(zone, local, got), ZONE_TWICE);
    cr_expect(got[0] == local - HOUR_MS && got[1] == local, "summer time first");
    civil = (struct civil){2026, 3, 29, 1, 30, 0, 0};
    local = timestamp_from_civil(&civil);
    cr_expect_eq(zone_to_utc(zone, local, got), ZONE_MISSING);
    cr_expect(got[0] == local && got[1] == local - HOUR_MS);
    zone_free(zone);
}

/* Samoa went from the last to the first day of the world on 2011-12-30, which did not happen. */
Test(zone, a_skipped_day_is_missing)
{
    struct zone *zone = load("Pacific/Apia");
    struct civil civil = {2011, 12, 30, 12, 0, 0, 0};
    int64_t local = timestamp_from_civil(&civil), got[2];
    cr_expect_eq(zone_to_utc(zone, local, got), ZONE_MISSING);
    cr_expect(got[0] == local + 10 * HOUR_MS && got[1] == local - 14 * HOUR_MS);
    zone_free(zone);
}

Test(zone, fixed_offsets_need_no_file)
{
    setenv("TZDIR", "/nowhere", 1);
    const struct {
        const char *name;
        int64_t minutes;
    } rows[] = {{"UTC", 0}, {"Z", 0}, {"+10:00", 600}, {"-0330", -210}, {"+05", 300}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        struct zone *zone = load(rows[i].name);
        int64_t got[2];
        cr_expect(zone_is_fixed(zone));
        cr_expect_str_eq(zone_name(zone), rows[i].name);
        cr_expect_eq(zone_offset(zone, 0), rows[i].minutes * MINUTE_MS);
        cr_expect_eq(zone_to_utc(zone, DAY_MS, got), ZONE_ONCE);
        cr_expect(got[0] == DAY_MS - rows[i].minutes * MINUTE_MS && got[1] == got[0]);
        zone_free(zone);
    }
    zone_free(NULL);
}

Test(zone, names_that_could_leave_the_folder_are_refused)
{
    char longest[100];
    memset(longest, 'a', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    const char *const refused[] = {
        "",     "/etc/localtime", "../passwd", "Europe/../../etc/passwd", "a b",
        "a\nb", "Europe",         "+99:00",    "Nowhere/Atall",           "Europe/Lisbon\xC3",
        ".",    longest,          "tzdata.zi"};
    for (size_t i = 0; i < COUNT_OF(refused); i++) {
        struct error error = {0};
        cr_expect_null(zone_load(refused[i], &error), "'%s'", refused[i]);
        cr_expect_eq(error.kind, ERROR_CONFIG);
        cr_expect_not_null(strstr(error.text, "IANA name"), "it says what is accepted: %s", error.text);
    }
}

/* ---- zone files of our own ---- */

/* In memory, where thousands are written in no time. */
static int ours_fd;
static char ours[16];

static void make_ours(void)
{
    ours_fd = memfd_create("zone", MFD_CLOEXEC);
    cr_assert_geq(ours_fd, 0);
    snprintf(ours, sizeof ours, "%d", ours_fd);
    setenv("TZDIR", "/proc/self/fd", 1);
}

static void write_ours(const void *bytes, size_t length)
{
    cr_assert_eq(ftruncate(ours_fd, 0), 0);
    cr_assert_eq(pwrite(ours_fd, bytes, length, 0), (ssize_t)length);
}

/* A version 2 file with one local time, no changes, and `rule` behind them (RFC 8536). */
static void write_rule(const char *rule)
{
    char block[44 + 6 + 1] = "TZif2", bytes[512];
    block[20 + 19] = 1; /* local time types */
    block[20 + 23] = 1; /* letters of abbreviations */
    memcpy(bytes, block, sizeof block);
    memcpy(bytes + sizeof block, block, sizeof block);
    int rest = snprintf(bytes + 2 * sizeof block, 400, "\n%s\n", rule);
    write_ours(bytes, 2 * sizeof block + (size_t)rest);
}

Test(zone, rules_agree_with_the_library, .init = make_ours)
{
    static const char *const rules[] = {
        "EST5EDT,M3.2.0,M11.1.0",
        "NZST-12NZDT,M9.5.0,M4.1.0/3",
        "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0",
        "IST-1GMT0,M10.5.0,M3.5.0/1",
        "<-02>2<-01>,M3.5.0/-1,M10.5.0/0",
        "IST-2IDT,M3.4.4/26,M10.5.0",
        "AAA3BBB,J60/2,J300/2",
        "AAA3BBB,59/2,299/2",
        "AAA3BBB,J59,J364/23",
        "AAA-3BBB,J300/2,J60/2",
        "CCC4",
        "<+0530>-5:30",
        "AAA0BBB-2,M3.5.0/1,M10.5.0/3",
        "AAA12:34:56BBB11:22:33,M2.4.6/13:14:15,M9.3.2/0:0:1",
    };
    for (size_t i = 0; i < COUNT_OF(rules); i++) {
        write_rule(rules[i]);
        struct zone *zone = load(ours);
        set_library(rules[i]);
        expect_as_library(zone, FROM_RULES);
        zone_free(zone);
    }
}

/* RFC 8536, section 3.3.1: summer time all year, one change meeting the next. */
Test(zone, summer_time_all_year_never_ends, .init = make_ours)
{
    write_rule("EST5EDT,0/0,J365/25");
    struct zone *zone = load(ours);
    for (int64_t time = FROM; time < TO; time += 11 * HOUR_MS)
        cr_assert_eq(zone_offset(zone, time), -4 * HOUR_MS);
    zone_free(zone);
}

/* By the year of the place, not of UTC, in which the library counts. */
Test(zone, a_change_on_the_last_evening_of_a_year_belongs_to_that_year, .init = make_ours)
{
    write_rule("AAA3BBB,J59,J365/23");
    struct zone *zone = load(ours);
    struct civil civil = {2026, 1, 1, 1, 0, 0, 0}; /* 23:00 at two hours behind */
    int64_t change = timestamp_from_civil(&civil);
    cr_expect_eq(zone_offset(zone, change - 1), -2 * HOUR_MS);
    cr_expect_eq(zone_offset(zone, change), -3 * HOUR_MS);
    cr_expect_eq(zone_offset(zone, change + DAY_MS), -3 * HOUR_MS);
    zone_free(zone);
}

Test(zone, rules_that_cannot_be_read_are_refused, .init = make_ours)
{
    static const char *const rules[] = {"5",
                                        "EST",
                                        "EST5EDT",
                                        "EST5EDT,",
                                        "EST5EDT,M3.2.0",
                                        "E<",
                                        "<EST5",
                                        "EST5EDT,M13.1.0,M11.1.0",
                                        "EST5EDT,M3.6.0,M11.1.0",
                                        "EST5EDT,M3.2.7,M11.1.0",
                                        "EST5EDT,M3.2.0,M11.1.0x",
                                        "EST5EDT,Jx,J5",
                                        "EST5 EDT",
                                        "EST5EDT,M3.2.0/,M11.1.0"};
    for (size_t i = 0; i < COUNT_OF(rules); i++) {
        write_rule(rules[i]);
        struct error error = {0};
        cr_expect_null(zone_load(ours, &error), "'%s'", rules[i]);
        cr_expect_eq(error.kind, ERROR_CONFIG);
    }
}

Test(zone, the_folder_is_that_of_tzdir, .init = make_ours)
{
    write_rule("<+0123>-1:23");
    struct zone *zone = load(ours);
    cr_expect_eq(zone_offset(zone, 0), 83 * MINUTE_MS);
    zone_free(zone);
    struct error error = {0};
    cr_expect_null(zone_load("Europe/Lisbon", &error));
    setenv("TZDIR", "", 1);
    zone_free(load("Europe/Lisbon"));
}

static void read_real(char **ret_bytes, size_t *ret_length)
{
    struct error error = {0};
    cr_assert(file_read("/usr/share/zoneinfo/Europe/Lisbon", 1 << 20, ret_bytes, ret_length, &error), "%s", error.text);
}

Test(zone, a_file_cut_anywhere_is_refused, .init = make_ours)
{
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length;
    read_real(&bytes, &length);
    for (size_t cut = 0; cut < length; cut++) {
        write_ours(bytes, cut);
        struct error error = {0};
        cr_assert_null(zone_load(ours, &error), "cut at %zu of %zu", cut, length);
        cr_assert_eq(error.kind, ERROR_CONFIG);
    }
    write_ours(bytes, length);
    zone_free(load(ours));
}

Test(zone, changed_bytes_never_end_the_process, .init = make_ours)
{
    CLEANUP(cleanup_free) char *bytes = NULL;
    size_t length, loaded = 0, refused = 0;
    read_real(&bytes, &length);
    uint64_t state = 7;
    for (int i = 0; i < 4000; i++) {
        CLEANUP(cleanup_free) char *changed = x_alloc(length);
        memcpy(changed, bytes, length);
        /* Half of them in the rule at the end. The first header stays, or nearly all would be refused there. */
        for (size_t k = 1 + random_index(&state, 3); k-- > 0;) {
            size_t tail = random_index(&state, 60), any = 44 + random_index(&state, length - 44);
            changed[random_index(&state, 2) ? length - 1 - tail : any] = (char)random_bits(&state);
        }
        write_ours(changed, length);
        struct error error = {0};
        struct zone *zone = zone_load(ours, &error);
        refused += !zone;
        loaded += zone != NULL;
        for (int64_t time = FROM; zone && time < TO; time += 3000 * DAY_MS) {
            int64_t got[2];
            enum zone_reading reading = zone_to_utc(zone, time, got);
            cr_assert(reading != ZONE_ONCE || got[0] == got[1]);
            cr_assert_eq(zone_offset(zone, time), zone_offset(zone, time));
        }
        zone_free(zone);
    }
    cr_expect(loaded > 100 && refused > 100, "%zu loaded, %zu refused", loaded, refused);
}

/* Older compilers of zones put a first change at -2^59 s, far outside of our milliseconds. */
Test(zone, a_change_at_the_beginning_of_all_time_is_fine, .init = make_ours)
{
    unsigned char bytes[51 + 44 + 9 + 12 + 1 + 2] = "TZif2";
    bytes[39] = bytes[43] = 1;
    unsigned char *second = bytes + 51;
    memcpy(second, "TZif2", 5);
    second[35] = 1; /* one change */
    second[39] = 2; /* two local times */
    second[43] = 1;
    second[44] = 0xF8;                                            /* -2^59 */
    second[44 + 8] = 1;                                           /* to the second */
    second[44 + 9 + 6 + 2] = 0x0E, second[44 + 9 + 6 + 3] = 0x10; /* an hour */
    memcpy(second + 44 + 9 + 12 + 1, "\n\n", 2);
    write_ours(bytes, sizeof bytes);
    struct zone *zone = load(ours);
    cr_expect_eq(zone_offset(zone, 0), HOUR_MS);
    cr_expect_eq(zone_offset(zone, FROM), HOUR_MS);
    zone_free(zone);
}
