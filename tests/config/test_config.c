/* SPDX-License-Identifier: MIT */
#include "config/load.h"

#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#define TOP "network: {id: sallow}\ninbox: /srv/inbox\narchive: /srv/archive\nstate: /srv/state\n"
#define PLACE "latitude: 44, longitude: -124, elevation: 2 m, standard_time: Z"
#define WATER PLACE ", salinity: fresh"

static struct config *load(const char *bytes)
{
    struct config_problems problems;
    config_problems_init(&problems);
    struct config *config = config_load_bytes("memory.yaml", bytes, strlen(bytes), &problems);
    for (size_t i = 0; i < problems.count; i++)
        cr_log_error("%s", config_problem_print(&problems.list[i], problems.arena));
    cr_assert_not_null(config);
    config_problems_done(&problems);
    return config;
}

struct digests {
    uint64_t whole, station;
};

/* Of the settings, and of their station 'a'. */
static struct digests digests_of(const char *bytes)
{
    struct config *config = load(bytes);
    struct digests ret = {config->digest,
                          config_station_digest(config, &config->stations[config_find_station(config, "a")])};
    config_free(config);
    return ret;
}

Test(config, ids_are_found_whatever_their_order_in_the_file)
{
    struct config *config = load(TOP "stations: {c: {" WATER "}, a: {" WATER "}, b: {" WATER "}}\n"
                                     "barometers: {y: {" PLACE "}, x: {" PLACE "}}\n"
                                     "rules: {r: {kind: silence, window: 1 d}, q: {kind: unreadable_drop}}\n"
                                     "recipients: {p: {webhook: \"https://example.org/\"}}\n");
    static const char *const ids[] = {"a", "b", "c"};
    for (size_t i = 0; i < COUNT_OF(ids); i++) {
        cr_assert_lt(config_find_station(config, ids[i]), config->station_count);
        cr_expect_str_eq(config->stations[config_find_station(config, ids[i])].id, ids[i]);
    }
    cr_expect_eq(config_find_station(config, "x"), config->station_count);
    cr_expect_eq(config_find_barometer(config, "x"), 0);
    cr_expect_eq(config_find_barometer(config, ""), config->barometer_count);
    cr_expect_eq(config_find_rule(config, "q"), 1, "rules keep the order of the file");
    cr_expect_eq(config_find_rule(config, "z"), 2);
    cr_expect_eq(config_find_recipient(config, "p"), 0);
    cr_expect_eq(config_find_recipient(config, "z"), 1);
    config_free(config);
}

Test(config, a_rule_watches_all_but_those_that_have_one_of_their_own)
{
    struct config *config = load(TOP "stations: {a: {" WATER "}, b: {" WATER "}, pond-1: {" WATER "}, pond-2: {" WATER "}}\n"
                                     "rules:\n  all: {kind: silence, window: 1 d, except: [b, 'pond-*']}\n"
                                     "  ponds: {kind: silence, window: 9 d, stations: ['pond-*'], except: [pond-2]}\n");
    static const char *const ids[] = {"a", "b", "pond-1", "pond-2"};
    static const bool all[] = {true, false, false, false}, ponds[] = {false, false, true, false};
    for (size_t i = 0; i < COUNT_OF(ids); i++) {
        cr_expect_eq(rule_watches(&config->rules[0], ids[i]), all[i], "%s", ids[i]);
        cr_expect_eq(rule_watches(&config->rules[1], ids[i]), ponds[i], "%s", ids[i]);
    }
    config_free(config);
}

Test(config, an_empty_network_has_nothing_to_find)
{
    struct config *config = load(TOP);
    cr_expect_eq(config_find_station(config, "a"), 0);
    cr_expect_eq(config_find_barometer(config, "a"), 0);
    config_free(config);
    config_free(NULL);
}

Test(config, a_station_overrides_single_limits)
{
    struct config *config =
        load(TOP "quality: {level: {usual: [-1 m, 4 m], spike: [0.1 m, 0.2 m]}}\n"
                 "stations: {a: {" WATER ", quality: {level: {usual: [0 m, 2 m], flat: {suspect: 1 h}}}}, "
                 "b: {" WATER "}}\n");
    struct quality_limits own = config_quality(config, &config->stations[0], QUANTITY_LEVEL);
    struct quality_limits other = config_quality(config, &config->stations[1], QUANTITY_LEVEL);
    cr_expect_float_eq(own.usual_max, 2, 0);
    cr_expect_float_eq(own.spike_suspect, 0.1, 0);
    cr_expect_eq(own.flat_suspect, 3600000);
    cr_expect_float_eq(own.flat_tolerance, other.flat_tolerance, 0);
    cr_expect_float_eq(other.usual_max, 4, 0);
    cr_expect(isnan(own.sensor_min), "a level has no sensor range by default");
    config_free(config);
}

Test(config, a_rule_watches_all_or_what_it_names)
{
    struct config *config =
        load(TOP "stations: {heron-1: {" WATER "}, heron-2: {" WATER "}, otter: {" WATER "}}\n"
                 "rules: {a: {kind: silence, window: 1 d}, b: {kind: silence, window: 1 d, stations: "
                 "[\"heron-*\"]}, c: {kind: silence, window: 1 d, stations: [otter]}}\n");
    cr_expect(rule_watches(&config->rules[0], "otter"));
    cr_expect(rule_watches(&config->rules[1], "heron-2"));
    cr_expect_not(rule_watches(&config->rules[1], "otter"));
    cr_expect(rule_watches(&config->rules[2], "otter"));
    cr_expect_not(rule_watches(&config->rules[2], "Otter"));
    config_free(config);
}

Test(config, a_complaint_prints_as_file_line_column_and_text)
{
    CLEANUP(cleanup_arena) struct arena *arena = arena_new();
    struct config_problem problem = {.where = {"a.yaml", 3, 7}, .text = "unknown key 'x'"};
    cr_expect_str_eq(config_problem_print(&problem, arena), "a.yaml:3:7: unknown key 'x'");
}

Test(config, the_digest_does_not_look_at_places_and_order)
{
    struct digests one = digests_of(TOP "stations: {a: {" WATER "}, b: {" WATER "}}\n");
    struct digests other =
        digests_of("# moved\n" TOP "stations:\n  b: {" WATER "}\n  a: {salinity: fresh, " PLACE "}\n");
    cr_expect_eq(one.whole, other.whole);
    cr_expect_eq(one.station, other.station);
}

Test(config, the_digest_looks_at_values_and_not_at_how_they_are_written)
{
    struct digests one = digests_of(TOP "stations: {a: {" WATER ", settling: 60 min, tape_point: 1 m}}\n");
    struct digests other = digests_of(TOP "stations: {a: {" WATER ", settling: 1 h, tape_point: 100 cm}}\n");
    cr_expect_eq(one.whole, other.whole);
    cr_expect_eq(one.station, other.station);
}

Test(config, whatever_shapes_values_changes_the_digest_of_the_station)
{
    static const char base[] = TOP "stations: {a: {" WATER "}}\n";
    static const char *const changed[] = {
        TOP "stations: {a: {" WATER ", settling: 1 h}}\n",
        TOP "stations: {a: {" WATER ", tape_point: 1 m}}\n",
        TOP "stations: {a: {" WATER ", sensor_elevation: 1 m}}\n",
        TOP "stations: {a: {" WATER ", reading_uncertainty: 5 mm}}\n",
        TOP "stations: {a: {" WATER ", datum_changes: [{from: 2026-05-01T00:00:00Z, offset: 1 m, datum: new}]}}\n",
        TOP "stations: {a: {" WATER ", reading_limit: 4}}\n",
        TOP "stations: {a: {" WATER ", zero_correction: linear}}\n",
        TOP "stations: {a: {" WATER ", zero_limit: 2 hPa}}\n",
        TOP "stations: {a: {" WATER ", interval: 1 h}}\n",
        TOP "stations: {a: {" WATER ", datum: zero}}\n",
        TOP "stations: {a: {" WATER ", conductance_coefficient: 0.02}}\n",
        TOP "stations: {a: {" WATER ", oxygen_sensor_salinity: 1}}\n",
        TOP "stations: {a: {" WATER ", conductance_compensation: iso_7888}}\n",
        TOP "stations: {a: {" WATER ", conductance_sensor_compensation: iso_7888}}\n",
        TOP "stations: {a: {" WATER ", conductance_sensor_coefficient: 0.02}}\n",
        TOP "stations: {a: {" WATER ", oxygen_sensor_pressure: measured}}\n",
        TOP "stations: {a: {" WATER ", oxygen_thermometer: second_temperature}}\n",
        TOP "stations: {a: {" WATER
            ", oxygen_calibration: {temperature: 20 degC, air_pressure: 990 hPa, told: 1 atm}}}\n",
        TOP "stations: {a: {" WATER ", position_reach: 2 km}}\n",
        TOP "stations: {a: {" WATER ", quality: {level: {months: {mar: [0 m, 1 m]}}}}}\n",
        TOP "stations: {a: {" WATER ", quality: {level: {attenuated: {window: 1 d, suspect: 1 cm}}}}}\n",
        TOP "stations: {a: {" WATER ", quality: {level: {related: {quantity: depth, difference: [1 m, 2 m]}}}}}\n",
        TOP "stations: {a: {" WATER ", oxygen_sensor_pressure: 1000 hPa}}\n",
        TOP "stations: {a: {" WATER ", quality: {level: {rate: 1 m}}}}\n",
        TOP "stations: {a: {" PLACE ", salinity: 0}}\n",
        TOP "stations: {a: {" PLACE ", salinity: measured}}\n",
        TOP "stations: {a: {" WATER "}}\nquality: {level: {rate: 1 m}}\n",
        TOP "stations: {a: {" WATER "}}\npairing: {largest_gap: 2 h}\n",
        TOP "stations: {a: {" WATER "}}\npairing: {good_gap: 2 h}\n",
        TOP "stations: {a: {" WATER "}}\npairing: {distance: 20 km}\n",
        TOP "stations: {a: {" WATER "}}\nbarometers: {near: {" PLACE "}}\n",
    };
    struct digests before = digests_of(base);
    for (size_t i = 0; i < COUNT_OF(changed); i++) {
        struct digests after = digests_of(changed[i]);
        cr_expect_neq(before.station, after.station, "%s", changed[i]);
        cr_expect_neq(before.whole, after.whole, "%s", changed[i]);
    }
}

Test(config, what_is_elsewhere_leaves_the_digest_of_a_station_alone)
{
    static const char *const changed[] = {
        TOP "stations: {a: {" WATER "}, b: {" WATER "}}\n",
        TOP "stations: {a: {" WATER
            "}}\nbarometers: {far: {latitude: 48, longitude: -124, elevation: 2 m, standard_time: "
            "Z}}\n",
        TOP "stations: {a: {" WATER ", drops: [\"x*\"], labels: [x], serials: [x]}}\n",
        TOP "stations: {a: {" WATER "}}\nrules: {r: {kind: silence, window: 1 d}}\nintake: {settle: 1 s}\n",
    };
    struct digests before = digests_of(TOP "stations: {a: {" WATER "}}\n");
    for (size_t i = 0; i < COUNT_OF(changed); i++)
        cr_expect_eq(before.station, digests_of(changed[i]).station, "%s", changed[i]);
}

Test(config, what_claims_a_drop_changes_the_digest_of_the_whole)
{
    static const char *const changed[] = {
        TOP "stations: {a: {" WATER ", drops: [\"x*\"]}}\n",
        TOP "stations: {a: {" WATER ", serials: [x]}}\n",
        TOP "stations: {a: {" WATER ", labels: [x]}}\n",
        TOP "stations: {a: {" WATER "}}\nintake: {largest_drop: 1 MiB}\n",
    };
    struct digests before = digests_of(TOP "stations: {a: {" WATER "}}\n");
    for (size_t i = 0; i < COUNT_OF(changed); i++)
        cr_expect_neq(before.whole, digests_of(changed[i]).whole, "%s", changed[i]);
}

Test(config, a_layout_changes_the_digest_of_the_whole)
{
#define LAYOUT(zone)                                                                                                   \
    "layouts: {l: {time: {columns: t, format: iso, zone: \"" zone "\"}, columns: [{header: d, is: depth}]}}\n"
    struct digests one = digests_of(TOP "stations: {a: {" WATER "}}\n" LAYOUT("-08:00"));
    struct digests other = digests_of(TOP "stations: {a: {" WATER "}}\n" LAYOUT("-07:00"));
    cr_expect_neq(one.whole, other.whole);
    cr_expect_eq(one.station, other.station);
}
