/* SPDX-License-Identifier: MIT */
/* What is refused, with its exact words, is in tests/config/bad/. Here: that which must pass, and pairs of nearly
 * alike. */
#include "config/load.h"

#include <criterion/criterion.h>
#include <string.h>

#define TOP "network: {id: sallow}\ninbox: /srv/inbox\narchive: /srv/archive\nstate: /srv/state\n"
#define PLACE "latitude: 44, longitude: -124, elevation: 2 m, standard_time: Z"
#define STATIONS "stations: {heron: {" PLACE ", salinity: fresh}}\nbarometers: {hill: {" PLACE "}}\n"

static size_t count_problems(const char *bytes)
{
    struct config_problems problems;
    config_problems_init(&problems);
    config_free(config_load_bytes("memory.yaml", bytes, strlen(bytes), &problems));
    size_t count = problems.count;
    for (size_t i = 0; i < count; i++)
        cr_log_info("%s", config_problem_print(&problems.list[i], problems.arena));
    config_problems_done(&problems);
    return count;
}

Test(check, a_network_without_stations_is_accepted)
{
    cr_expect_eq(count_problems(TOP), 0);
}

Test(check, a_station_without_a_barometer_in_reach_is_accepted)
{
    cr_expect_eq(count_problems(TOP "stations: {heron: {" PLACE ", salinity: fresh}}\n"), 0);
}

Test(check, a_station_and_a_barometer_may_share_a_label)
{
    cr_expect_eq(count_problems(TOP "stations: {a: {" PLACE ", salinity: 1, labels: [Creek, creek]}}\n"
                                    "barometers: {b: {" PLACE ", labels: [Creek]}}\n"),
                 0);
    cr_expect_eq(count_problems(TOP "stations: {a: {" PLACE ", salinity: 1, labels: [Creek]}, b: {" PLACE
                                    ", salinity: 1, labels: [creek]}}\n"),
                 1);
}

Test(check, folders_with_a_common_beginning_of_their_names_lie_apart)
{
    cr_expect_eq(count_problems("network: {id: n}\ninbox: /srv/in\narchive: /srv/in-archive\nstate: /srv/state\n"), 0);
    cr_expect_eq(count_problems("network: {id: n}\ninbox: /srv\narchive: /srv/archive\nstate: /var/state\n"), 1);
}

Test(check, http_is_for_private_receivers_only)
{
    cr_expect_eq(
        count_problems(TOP "recipients: {a: {webhook: \"http://192.0.2.1/x\", allow_private_address: true}}\n"), 0);
    cr_expect_eq(count_problems(TOP "recipients: {a: {webhook: \"http://192.0.2.1/x\"}}\n"), 1);
}

Test(check, plain_mail_is_for_this_machine_only_and_without_log_in)
{
    cr_expect_eq(count_problems(TOP "mail: {server: \"::1\", security: plain, from: a@example.org}\n"), 0);
    cr_expect_eq(count_problems(TOP "mail: {server: mail.example.org, security: plain, from: a@example.org}\n"), 1);
    cr_expect_eq(count_problems(TOP
                                "mail: {server: localhost, security: plain, from: a@example.org, user: u, password: "
                                "{file: p}}\n"),
                 1);
    cr_expect_eq(
        count_problems(TOP "mail: {server: mail.example.org, from: a@example.org, user: u, password: {file: p}}\n"), 0);
}

Test(check, a_mail_recipient_needs_a_mail_server)
{
    cr_expect_eq(count_problems(TOP "recipients: {a: {mail: a@example.org}}\n"), 1);
    cr_expect_eq(
        count_problems(TOP "recipients: {a: {mail: a@example.org}}\nmail: {server: localhost, from: b@example.org}\n"),
        0);
}

Test(check, barometers_are_watched_for_silence_and_their_own_quantities)
{
    cr_expect_eq(count_problems(TOP STATIONS "rules: {a: {kind: silence, window: 2 d, stations: [hill, heron]}}\n"), 0);
    cr_expect_eq(
        count_problems(TOP STATIONS "rules: {a: {kind: below, quantity: battery, limit: 3 V, stations: [hill]}}\n"), 0);
    cr_expect_eq(
        count_problems(TOP STATIONS "rules: {a: {kind: below, quantity: oxygen, limit: 3 mg/L, stations: [hill]}}\n"),
        1);
}

Test(check, a_pattern_of_stations_must_match_one)
{
    cr_expect_eq(count_problems(TOP STATIONS "rules: {a: {kind: silence, window: 2 d, stations: [\"her*\"]}}\n"), 0);
    cr_expect_eq(count_problems(TOP STATIONS "rules: {a: {kind: silence, window: 2 d, stations: [\"otter*\"]}}\n"), 1);
}

Test(check, a_decimal_comma_goes_with_any_delimiter_but_the_comma)
{
#define LAYOUT "time: {columns: t, format: iso, zone: Z}, columns: [{header: a, is: depth}]"
    cr_expect_eq(count_problems(TOP "layouts: {a: {" LAYOUT ", decimal: \",\", delimiter: semicolon}}\n"), 0);
    cr_expect_eq(count_problems(TOP "layouts: {a: {" LAYOUT ", decimal: \",\"}}\n"), 0);
    cr_expect_eq(count_problems(TOP "layouts: {a: {" LAYOUT ", decimal: \",\", delimiter: comma}}\n"), 1);
}

#define RULE(text)                                                                                                     \
    count_problems(TOP STATIONS "recipients: {a: {webhook: \"https://example.org/\"}}\nrules: {r: {" text "}}\n")

Test(check, a_deadband_that_no_value_can_come_back_over_is_refused)
{
    cr_expect_eq(RULE("kind: rise, quantity: level, limit: 0.3 m, window: 1 h, deadband: 0.29 m"), 0);
    cr_expect_eq(RULE("kind: rise, quantity: level, limit: 0.3 m, window: 1 h, deadband: 0.3 m"), 1);
    cr_expect_eq(RULE("kind: drift, quantity: level, limit: 3 cm, deadband: 3 cm"), 1);
    cr_expect_eq(RULE("kind: above, quantity: depth, limit: 1 m, deadband: 1 m"), 1, "no water is less than none");
    cr_expect_eq(RULE("kind: above, quantity: level, limit: 1 m, deadband: 1 m"), 0, "a level may be negative");
    cr_expect_eq(RULE("kind: below, quantity: oxygen, limit: 3 mg/L, deadband: 3 mg/L"), 0);
    cr_expect_eq(RULE("kind: outside, quantity: salinity, band: [2, 30], deadband: 13.9"), 0);
    cr_expect_eq(RULE("kind: outside, quantity: salinity, band: [2, 30], deadband: 14"), 1);
    cr_expect_eq(RULE("kind: outside, quantity: salinity, band: none"), 1);
}

Test(check, a_window_is_longer_than_the_sampling_interval)
{
#define SLOW                                                                                                           \
    TOP "stations: {heron: {" PLACE                                                                                    \
        ", salinity: fresh, interval: 1 h}}\nrules: {r: {kind: rise, quantity: level, limit: 1 m, window: "
    cr_expect_eq(count_problems(SLOW "2 h}}\n"), 0);
    cr_expect_eq(count_problems(SLOW "1 h}}\n"), 1);
}

Test(check, a_condition_beside_a_rule_can_be_met)
{
    cr_expect_eq(RULE("kind: below, quantity: oxygen, limit: 3 mg/L, while: {quantity: temperature, above: 20 degC}"),
                 0);
    cr_expect_eq(RULE("kind: below, quantity: oxygen, limit: 3 mg/L, while: {quantity: temperature, above: 20 degC, "
                      "below: 20 degC}"),
                 1);
    cr_expect_eq(RULE("kind: below, quantity: oxygen, limit: 3 mg/L, while: {quantity: temperature, above: 20 mg/L}"),
                 1);
    cr_expect_eq(RULE("kind: below, quantity: oxygen, limit: 3 mg/L, while: {quantity: temperature}"), 1);
    cr_expect_eq(RULE("kind: silence, window: 1 d, while: {quantity: temperature, above: 20 degC}"), 1);
}

#define LOW_WHILE(condition) RULE("kind: below, quantity: oxygen, limit: 3 mg/L, while: " condition)

Test(check, conditions_may_name_months_and_hours_and_be_several)
{
    cr_expect_eq(LOW_WHILE("{months: may-sep}"), 0);
    cr_expect_eq(LOW_WHILE("{months: [nov-feb, jul], from: '22:00', to: '06:00'}"), 0);
    cr_expect_eq(LOW_WHILE("[{months: may}, {quantity: temperature, above: 20 degC}, {quantity: salinity, below: 3}]"),
                 0);
    cr_expect_eq(LOW_WHILE("{tide: falling}"), 0);
    cr_expect_eq(LOW_WHILE("{tide: [low, Rising], months: may}"), 0);
    cr_expect_eq(LOW_WHILE("{tide: ebb}"), 1);
    cr_expect_eq(LOW_WHILE("{months: summer}"), 1);
    cr_expect_eq(LOW_WHILE("{from: '22:00'}"), 1);
    cr_expect_eq(LOW_WHILE("{from: '22:00', to: '22:00'}"), 1);
    cr_expect_eq(LOW_WHILE("{above: 20 degC}"), 1);
    cr_expect_eq(LOW_WHILE("{}"), 1);
    cr_expect_eq(LOW_WHILE("[]"), 1);
    cr_expect_eq(LOW_WHILE("[{months: may}, {months: may}, {months: may}, {months: may}, {months: may}]"), 1);
    cr_expect_eq(LOW_WHILE("warm"), 1);
}

Test(check, a_smallest_number_of_samples_is_a_number_and_needs_a_series)
{
    cr_expect_eq(RULE("kind: below, quantity: oxygen, limit: 3 mg/L, samples: 3"), 0);
    cr_expect_eq(RULE("kind: below, quantity: oxygen, limit: 3 mg/L, samples: 0"), 1);
    cr_expect_eq(RULE("kind: below, quantity: oxygen, limit: 3 mg/L, samples: 101"), 1);
    cr_expect_eq(RULE("kind: silence, window: 1 d, samples: 3"), 1);
}

Test(check, a_change_is_counted_from_a_visit_or_a_time)
{
    cr_expect_eq(RULE("kind: change, quantity: depth, limit: 1 m, since: visit"), 0);
    cr_expect_eq(RULE("kind: change, quantity: depth, limit: 1 m, since: 2026-03-01T00:00:00Z"), 0);
    cr_expect_eq(RULE("kind: change, quantity: depth, limit: 1 m, since: spring"), 1);
    cr_expect_eq(RULE("kind: change, quantity: depth, limit: 1 m"), 1);
}

Test(check, those_further_up_are_others_and_known)
{
    cr_expect_eq(RULE("kind: silence, window: 1 d, escalate: {after: 1 h, to: [a]}"), 0);
    cr_expect_eq(RULE("kind: silence, window: 1 d, tell: [a], escalate: {after: 1 h, to: [a]}"), 1);
    cr_expect_eq(RULE("kind: silence, window: 1 d, escalate: {after: 1 h, to: [b]}"), 1);
    cr_expect_eq(RULE("kind: silence, window: 1 d, escalate: {to: [a]}"), 1);
}

Test(check, hours_and_the_digest_have_a_clock)
{
#define RECIPIENT(text) count_problems(TOP "recipients: {a: {webhook: \"https://example.org/\", hours: {" text "}}}\n")
    cr_expect_eq(RECIPIENT("from: \"07:00\", to: \"19:00\", zone: \"-08:00\""), 0);
    cr_expect_eq(RECIPIENT("days: [mon-thu, sat], from: \"7:00\", to: \"24:00\", zone: UTC"), 0);
    cr_expect_eq(RECIPIENT("days: monday, from: \"07:00\", to: \"19:00\", zone: UTC"), 1);
    cr_expect_eq(RECIPIENT("from: \"07:00\", to: \"25:00\", zone: UTC"), 1);
    cr_expect_eq(RECIPIENT("from: \"07:00\", to: \"07:00\", zone: UTC"), 1);
    cr_expect_eq(RECIPIENT("from: \"07:00\", to: \"19:00\", zone: Nowhere/Atall"), 1);
    cr_expect_eq(RECIPIENT("from: \"07:00\", to: \"19:00\""), 1);
    cr_expect_eq(count_problems(TOP "alarms: {digest: {at: \"07:00\", zone: UTC, tell: [b]}}\n"), 1,
                 "nobody is called b");
}
