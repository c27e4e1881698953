/* SPDX-License-Identifier: MIT */
#include "example_notice.h"

#include "base/timestamp.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static int64_t at(const char *time);

struct config example_config(void)
{
    static struct station stations[] = {{.id = "heron-creek", .name = "Heron Creek at the footbridge"},
                                        {.id = "weir-pool", .name = "Weir pool"}};
    static struct barometer barometers[] = {{.id = "hill", .name = "Hill mast"}};
    return (struct config){
        .network_id = "sallow-mouth",
        .network_name = "Sallow estuary water watch",
        .operator_name = "Sallow Water Trust",
        .contact = "desk@example.org",
        .public_url = "https://water.example.org/",
        .stations = stations,
        .station_count = 2,
        .barometers = barometers,
        .barometer_count = 1,
        .mail = {.from = "rillward@example.org", .hello_name = "gauge.example.org"},
    };
}

struct notice example_notice(void)
{
    return (struct notice){
        .id = 7,
        .uid = "sallow-mouth-42-1-desk",
        .recipient = "desk",
        .event = NOTICE_RAISED,
        .created = at("2026-11-25T17:00:30Z"),
        .alarm = {.id = 42,
                  .station = "heron-creek",
                  .rule = "low-oxygen",
                  .episode = {.start = at("2026-11-25T03:05:00Z"),
                              .raised = at("2026-11-25T03:35:00Z"),
                              .end = TIME_NONE,
                              .worst = 1.52,
                              .worst_time = at("2026-11-25T04:10:00Z"),
                              .last = 1.834,
                              .last_time = at("2026-11-25T15:40:00Z")},
                  .state = ALARM_UNACKNOWLEDGED,
                  .learnt = at("2026-11-25T17:00:00Z"),
                  .changed = at("2026-11-25T17:00:00Z"),
                  .sequence = 1},
        .priority = PRIORITY_HIGH,
        .station_name = "Heron Creek at the footbridge",
        .rule_title = "Oxygen low",
        .advice = "Look at the aerator; ring the hatchery.",
        .rule_kind = "below",
        .unit = "mg/L",
        .quantity = "oxygen",
        .limit = 3,
        .worst = 1.52,
        .last = 1.834,
        .decimals = 2,
        .utc_offset = -8 * HOUR_MS,
        .data_until = at("2026-11-25T15:40:00Z"),
    };
}

struct notice example_notice_returned(void)
{
    struct notice notice = example_notice();
    notice.uid = "sallow-mouth-42-2-desk";
    notice.event = NOTICE_RETURNED;
    notice.created = at("2026-11-26T18:12:00Z");
    notice.alarm.sequence = 2;
    notice.alarm.state = ALARM_RETURNED_UNACKNOWLEDGED;
    notice.alarm.episode.end = at("2026-11-25T19:25:00Z");
    notice.data_until = at("2026-11-26T17:55:00Z");
    return notice;
}

struct notice example_notice_of_silence(void)
{
    struct notice notice = example_notice();
    notice.uid = "sallow-mouth-43-1-desk";
    notice.alarm.id = 43;
    notice.alarm.station = "weir-pool";
    notice.alarm.rule = "silent";
    notice.alarm.episode = (struct episode){.start = at("2026-11-13T09:00:00Z"),
                                            .raised = at("2026-11-23T09:00:00Z"),
                                            .end = TIME_NONE,
                                            .worst = (double)(12 * DAY_MS + 8 * HOUR_MS),
                                            .worst_time = at("2026-11-25T17:00:00Z"),
                                            .last = (double)(12 * DAY_MS + 8 * HOUR_MS),
                                            .last_time = at("2026-11-25T17:00:00Z")};
    notice.alarm.learnt = at("2026-11-23T09:00:00Z");
    notice.priority = PRIORITY_MEDIUM;
    notice.station_name = "Weir pool";
    notice.rule_title = "Silent";
    notice.advice = "";
    notice.rule_kind = "silence";
    notice.unit = notice.quantity = "";
    notice.limit = notice.worst = notice.last = NAN;
    notice.data_until = at("2026-11-13T09:00:00Z");
    return notice;
}

struct notice example_notice_of_drop(void)
{
    struct notice notice = example_notice();
    notice.uid = "sallow-mouth-44-1-desk";
    notice.alarm.id = 44;
    notice.alarm.station = "north/heron-17.csv";
    notice.alarm.rule = "bad-drop";
    notice.alarm.episode = (struct episode){.start = at("2026-11-25T10:00:00Z"),
                                            .raised = at("2026-11-25T10:00:00Z"),
                                            .end = TIME_NONE,
                                            .worst = NAN,
                                            .worst_time = TIME_NONE,
                                            .last = NAN,
                                            .last_time = TIME_NONE};
    snprintf(notice.alarm.episode.detail, sizeof notice.alarm.episode.detail,
             "line 14: column 'temp' has no unit: give one in layout 'north-crew'");
    notice.alarm.learnt = at("2026-11-25T10:00:00Z");
    notice.priority = PRIORITY_LOW;
    notice.station_name = "north/heron-17.csv";
    notice.rule_title = "Drop set aside";
    notice.advice = "Correct the layout; the drop is tried again by itself.";
    notice.rule_kind = "unreadable_drop";
    notice.unit = notice.quantity = "";
    notice.limit = notice.worst = notice.last = NAN;
    notice.data_until = TIME_NONE;
    notice.utc_offset = 0;
    return notice;
}

struct notice example_notice_of_group(void)
{
    static struct notice items[3];
    static const char *const names[] = {"Weir pool", "Mill race", "Heron Creek at the footbridge"};
    for (int k = 0; k < 3; k++) {
        items[k] = example_notice_of_silence();
        items[k].station_name = names[k];
        items[k].alarm.id = 43 + k;
    }
    items[1].event = NOTICE_RETURNED;
    items[1].alarm.state = ALARM_RETURNED_UNACKNOWLEDGED;
    items[1].alarm.episode.end = at("2026-11-25T16:00:00Z");
    struct notice notice = example_notice_of_silence();
    notice.event = NOTICE_GROUP;
    notice.uid = "sallow-mouth-group-43-desk";
    notice.alarm.id = notice.alarm.sequence = 0;
    notice.alarm.station = notice.station_name = "";
    notice.advice = "Ask the crew for the missing files.";
    notice.items = items;
    notice.item_count = 3;
    notice.item_total = 3;
    return notice;
}

struct notice example_notice_of_flood(void)
{
    static struct notice items[14];
    for (int k = 0; k < 14; k++) {
        items[k] = k == 0 ? example_notice() : k == 1 ? example_notice_of_drop() : example_notice_of_silence();
        items[k].alarm.id = 42 + k;
        items[k].priority = k < 2 ? PRIORITY_HIGH : PRIORITY_MEDIUM;
    }
    struct notice notice = example_notice_of_group();
    notice.event = NOTICE_SUMMARY;
    notice.uid = "sallow-mouth-summary-42-desk";
    notice.priority = PRIORITY_HIGH;
    notice.alarm.rule = notice.rule_title = notice.advice = notice.rule_kind = "";
    notice.body =
        "14 new alarms within 10 min are more than a person can take in. While that lasts, this summary takes the "
        "place of single messages.";
    notice.items = items;
    notice.item_count = 14;
    notice.item_total = 17;
    return notice;
}

static int64_t at(const char *time)
{
    int64_t instant = TIME_NONE;
    cr_assert(timestamp_parse(time, strlen(time), &instant));
    return instant;
}
