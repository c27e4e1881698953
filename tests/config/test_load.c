/* SPDX-License-Identifier: MIT */
#include "config/load.h"

#include "base/file.h"
#include "base/text.h"
#include "base/timestamp.h"
#include "config/options.h"
#include "config/vocabulary.h"

#include <criterion/criterion.h>
#include <dirent.h>
#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <yaml.h>

#define EXAMPLES RILLWARD_SOURCE_ROOT "/config-examples"
#define VERSIONS RILLWARD_SOURCE_ROOT "/tests/config/versions"
#define BAD RILLWARD_SOURCE_ROOT "/tests/config/bad"
#define TOP "network: {id: sallow}\ninbox: /srv/inbox\narchive: /srv/archive\nstate: /srv/state\n"

static size_t each_yaml(const char *folder, void (*visit)(const char *path))
{
    struct dirent **entries;
    int count = scandir(folder, &entries, NULL, alphasort);
    size_t visited = 0;
    for (int i = 0; i < count; i++) {
        if (text_ends_with(entries[i]->d_name, ".yaml")) {
            char *path = x_printf("%s/%s", folder, entries[i]->d_name);
            visit(path);
            free(path);
            visited++;
        }
        free(entries[i]);
    }
    if (count >= 0)
        free(entries);
    return visited;
}

/* Problems, one a line, without the folder in front. */
static void print_problems(const struct config_problems *problems, struct text *text)
{
    for (size_t i = 0; i < problems->count; i++) {
        const char *line = config_problem_print(&problems->list[i], problems->arena);
        const char *own = strstr(line, BAD "/");
        while (own) { /* a complaint may cite a second place */
            text_add(text, line, (size_t)(own - line));
            line = own + strlen(BAD "/");
            own = strstr(line, BAD "/");
        }
        text_printf(text, "%s\n", line);
    }
}

static struct config *load_bytes(const char *bytes, struct config_problems *problems)
{
    config_problems_init(problems);
    return config_load_bytes("memory.yaml", bytes, strlen(bytes), problems);
}

static struct config *load_good(const char *bytes)
{
    struct config_problems problems;
    struct config *config = load_bytes(bytes, &problems);
    for (size_t i = 0; i < problems.count; i++)
        cr_log_error("%s", config_problem_print(&problems.list[i], problems.arena));
    cr_assert_not_null(config);
    cr_assert_eq(problems.count, 0);
    config_problems_done(&problems);
    return config;
}

static void expect_problem(const char *bytes, const char *wanted)
{
    struct config_problems problems;
    struct config *config = load_bytes(bytes, &problems);
    bool is_found = false;
    cr_expect_null(config);
    for (size_t i = 0; i < problems.count; i++) {
        const char *line = config_problem_print(&problems.list[i], problems.arena);
        is_found = is_found || strstr(line, wanted);
        if (!strstr(line, wanted))
            cr_log_info("%s", line);
    }
    cr_expect(is_found, "no complaint has '%s'", wanted);
    config_free(config);
    config_problems_done(&problems);
}

static void expect_golden(const char *path)
{
    char *expected_path = x_printf("%.*s.expected", (int)(strlen(path) - strlen(".yaml")), path), *expected;
    size_t length;
    struct error error;
    struct config_problems problems;
    struct text text;
    cr_assert(file_read(expected_path, 1 << 20, &expected, &length, &error), "%s", error.text);
    config_problems_init(&problems);
    struct config *config = config_load(path, &problems);
    text_init(&text, 1 << 20);
    print_problems(&problems, &text);
    cr_expect_null(config, "%s was accepted", path);
    cr_expect_str_eq(text.bytes ? text.bytes : "", expected, "%s: expected\n%sfound\n%s", path, expected, text.bytes);
    free(expected);
    free(expected_path);
    text_done(&text);
    config_free(config);
    config_problems_done(&problems);
}

Test(load, complaints_of_every_bad_file_are_as_expected)
{
    cr_assert_geq(each_yaml(BAD, expect_golden), 25);
}

static void expect_example(const char *path)
{
    struct config_problems problems;
    config_problems_init(&problems);
    struct config *config = config_load(path, &problems);
    for (size_t i = 0; i < problems.count; i++)
        cr_log_error("%s", config_problem_print(&problems.list[i], problems.arena));
    cr_expect_not_null(config, "%s was refused", path);
    cr_expect_neq(config ? config->digest : 1, 0);
    config_free(config);
    config_problems_done(&problems);
}

Test(load, every_example_is_accepted)
{
    cr_assert_geq(each_yaml(EXAMPLES, expect_example), 5);
}

/* Settings of every earlier version, as they were written then. One that a later version would refuse stops nobody in
 * the night of an upgrade: this fails before. */
Test(load, settings_of_earlier_versions_are_understood)
{
    struct dirent **versions;
    int count = scandir(VERSIONS, &versions, NULL, alphasort), found = 0;
    for (int i = 0; i < count; i++) {
        char *folder = x_printf(VERSIONS "/%s", versions[i]->d_name);
        bool is_version = versions[i]->d_name[0] != '.';
        found += is_version;
        cr_expect(!is_version || each_yaml(folder, expect_example) >= 1, "'%s' holds no settings", folder);
        free(folder);
        free(versions[i]);
    }
    free(versions);
    cr_expect_geq(found, 2);
}

/* Does a map at `path` (below `node`, "<...>" any key, lists looked through) have the key? */
static bool has_key(yaml_document_t *document, yaml_node_t *node, const char *path, const char *key)
{
    if (node->type == YAML_SEQUENCE_NODE) {
        for (yaml_node_item_t *item = node->data.sequence.items.start; item < node->data.sequence.items.top; item++)
            if (has_key(document, yaml_document_get_node(document, *item), path, key))
                return true;
        return false;
    }
    if (node->type != YAML_MAPPING_NODE)
        return false;
    size_t length = strcspn(path, ".");
    for (yaml_node_pair_t *pair = node->data.mapping.pairs.start; pair < node->data.mapping.pairs.top; pair++) {
        const char *name = (const char *)yaml_document_get_node(document, pair->key)->data.scalar.value;
        bool fits = *path == '\0' ? strcmp(name, key) == 0
                                  : path[0] == '<' || (strlen(name) == length && strncmp(name, path, length) == 0);
        const char *rest = path[length] == '.' ? path + length + 1 : "";
        if (fits && (*path == '\0' || has_key(document, yaml_document_get_node(document, pair->value), rest, key)))
            return true;
    }
    return false;
}

Test(load, the_full_example_shows_every_key_of_the_option_table_and_every_kind_of_rule)
{
    char *bytes;
    size_t length;
    struct error error;
    yaml_parser_t parser;
    yaml_document_t document;
    const struct section *section;
    cr_assert(file_read(EXAMPLES "/full.yaml", 1 << 20, &bytes, &length, &error), "%s", error.text);
    cr_assert(yaml_parser_initialize(&parser));
    yaml_parser_set_input_string(&parser, (const unsigned char *)bytes, length);
    cr_assert(yaml_parser_load(&parser, &document));
    for (size_t i = 0; (section = option_section(i)) != NULL; i++)
        for (size_t k = 0; k < section->count; k++)
            cr_expect(
                has_key(&document, yaml_document_get_root_node(&document), section->path, section->options[k].key),
                "full.yaml has no '%s' in '%s'", section->options[k].key, section->path);
    for (enum rule_kind kind = 0; kind < RULE_KIND_COUNT; kind++) {
        char *line = x_printf("kind: %s", rule_kind_word(kind));
        cr_expect_not_null(strstr(bytes, line), "full.yaml has no rule of the kind '%s'", rule_kind_word(kind));
        free(line);
    }
    for (int format = 0; archive_format_choice(format); format++)
        cr_expect_not_null(strstr(bytes, archive_format_choice(format)), "full.yaml does not name the format '%s'",
                           archive_format_choice(format));
    yaml_document_delete(&document);
    yaml_parser_delete(&parser);
    free(bytes);
}

Test(load, the_full_example_fills_in_what_it_says)
{
    struct config_problems problems;
    config_problems_init(&problems);
    struct config *config = config_load(EXAMPLES "/full.yaml", &problems);
    cr_assert_not_null(config);
    cr_expect_eq(config->station_count, 3, "one here, two included");
    const struct station *heron = &config->stations[config_find_station(config, "heron-creek")];
    cr_expect_float_eq(heron->tape_point, 11.35 * 0.3048, 1e-12);
    cr_expect_eq(heron->utc_offset, -8 * HOUR_MS);
    cr_expect_eq(heron->interval, 5 * MINUTE_MS);
    cr_expect_eq(heron->salinity_source, SALINITY_MEASURED);
    cr_expect_float_eq(heron->salinity, 12, 0);
    cr_expect_eq(heron->barometers.count, 2);
    cr_expect_str_eq(heron->barometers.words[0], "hill");
    cr_expect(text_ends_with(heron->where.file, "/full.yaml") && heron->where.line > 1);
    const struct station *mill = &config->stations[config_find_station(config, "mill-race")];
    cr_expect(text_ends_with(mill->where.file, "/stations.d/lower-sallow.yaml"));
    cr_expect_eq(mill->salinity_source, SALINITY_FRESH);
    const struct layout *north = &config->layouts[0];
    cr_expect_str_eq(north->id, "north-crew", "layouts keep the order of the file");
    cr_expect_eq(north->delimiter, ',');
    cr_expect_str_eq(north->time_columns[1], "Time");
    cr_expect_not_null(north->zone);
    cr_expect_eq(config->layouts[1].delimiter, 0, "found from the bytes");
    cr_expect_eq(config->layouts[3].kinds[1].meaning, (int)NOTE_OUT_OF_WATER);
    cr_expect_eq(config->recipients[0].secret.kind, SECRET_FILE);
    cr_expect_str_eq(config->recipients[0].old_secret.name, "hook-old");
    const struct rule *fall = &config->rules[config_find_rule(config, "quick-fall")];
    cr_expect_float_eq(fall->limit, 0.4572, 1e-12, "18 in");
    const struct rule *low = &config->rules[0];
    cr_expect_eq(low->repeat, 30 * MINUTE_MS);
    cr_expect_eq(low->escalate_after, HOUR_MS);
    cr_expect_str_eq(low->escalate_to.words[0], "second-desk");
    const struct rule_condition *warm = &low->conditions[0], *season = &low->conditions[1];
    cr_assert_eq(low->condition_count, 3);
    cr_expect(warm->quantity == QUANTITY_TEMPERATURE && warm->above == 10 && warm->below == 30 && warm->months == 0);
    cr_expect(season->quantity == QUANTITY_COUNT && season->months == 0x3F8 && season->from == 22 * 60 &&
              season->to == 6 * 60);
    cr_expect(low->conditions[2].stages == (TIDE_FALLING | TIDE_LOW) && low->samples == 3);
    const struct rule *odd = &config->rules[config_find_rule(config, "odd-salinity")];
    cr_expect(odd->low == 2 && odd->high == 30);
    cr_expect_eq(config->rules[config_find_rule(config, "silted")].since, TIME_NONE);
    cr_expect(low->counts_suspect && !config->rules[config_find_rule(config, "quick-rise")].counts_suspect,
              "a spike is a rise");
    const struct recipient *desk = &config->recipients[config_find_recipient(config, "desk")];
    cr_expect(desk->hours.zone && desk->hours.days == 0x1F && desk->hours.from == 420 && desk->hours.to == 1140);
    cr_expect(config->digest_mail.zone && config->digest_mail.at == 420 && !config->digest_mail.is_always);
    cr_expect_str_eq(config->rules[0].advice, "Look at the aerator; ring the hatchery.");
    config_free(config);
    config_problems_done(&problems);
}

Test(load, defaults_stand_where_the_file_says_nothing)
{
    struct config *config = load_good(
        TOP "stations: {a: {latitude: 1, longitude: 2, elevation: 3 m, standard_time: Z, salinity: measured}}\n"
            "rules: {low: {kind: below, quantity: oxygen, limit: 3 mg/L}, bad: {kind: unreadable_drop}}\n"
            "layouts: {l: {time: {columns: t, format: iso, zone: station}, columns: [{header: d, is: depth}]}}\n");
    cr_expect_eq(config->settle, 5 * SECOND_MS);
    cr_expect_eq(config->rescan, 10 * MINUTE_MS);
    cr_expect_eq(config->hold_open_end, 10 * MINUTE_MS);
    cr_expect_eq(config->largest_drop, 64 << 20);
    cr_expect_float_eq(config->pairing_distance, 25000, 0);
    cr_expect_eq(config->largest_air_gap, 3 * HOUR_MS);
    cr_expect_eq(config->good_air_gap, HOUR_MS);
    cr_expect_eq(config->news_age, 3 * DAY_MS);
    cr_expect_str_eq(config->network_name, "sallow");
    cr_expect_str_eq(config->public_url, "");
    cr_expect_null(config->mail.host);
    const struct station *station = &config->stations[0];
    cr_expect_str_eq(station->name, "a");
    cr_expect_str_eq(station->datum, "");
    cr_expect(isnan(station->sensor_elevation) && isnan(station->tape_point) && isnan(station->salinity));
    cr_expect_float_eq(station->conductance_coefficient, 0.0191, 0);
    cr_expect_float_eq(station->oxygen_sensor_salinity, 0, 0);
    cr_expect_float_eq(station->oxygen_sensor_pressure, 101325, 1e-6);
    cr_expect_eq(station->interval, 0);
    cr_expect_eq(station->settling, 15 * MINUTE_MS);
    cr_expect_eq(config->rules[0].priority, PRIORITY_MEDIUM);
    cr_expect(config->rules[0].counts_suspect);
    cr_expect_float_eq(config->rules[0].deadband, 0, 0);
    cr_expect_str_eq(config->rules[0].title, "low");
    cr_expect_eq(config->rules[1].window, 6 * HOUR_MS);
    cr_expect_eq(config->rules[1].quantity, QUANTITY_COUNT);
    cr_expect_null(config->layouts[0].zone);
    cr_expect_eq(config->layouts[0].decimal, '.');
    cr_expect_null(config->layouts[0].serial_label);
    cr_expect_str_eq(config->layouts[0].comment, "");
    config_free(config);
}

Test(load, relative_paths_are_taken_from_the_folder_of_the_file)
{
    char folder[] = "/tmp/rillward-load-XXXXXX";
    struct error error;
    struct config_problems problems;
    cr_assert_not_null(mkdtemp(folder));
    char *path = x_printf("%s/a.yaml", folder), *wanted = x_printf("%s/in box", folder);
    static const char bytes[] = "network: {id: n}\ninbox: ./x/../in box/\narchive: ../archive\nstate: /state/\n";
    cr_assert(file_write_whole(path, bytes, sizeof bytes - 1, &error), "%s", error.text);
    config_problems_init(&problems);
    struct config *config = config_load(path, &problems);
    cr_assert_not_null(config);
    cr_expect_str_eq(config->inbox, wanted);
    cr_expect_str_eq(config->archive, "/tmp/archive");
    cr_expect_str_eq(config->state, "/state");
    config_free(config);
    config_problems_done(&problems);
    remove(path);
    remove(folder);
    free(path);
    free(wanted);
}

Test(load, a_file_that_is_not_there_is_a_complaint)
{
    struct config_problems problems;
    config_problems_init(&problems);
    cr_expect_null(config_load(BAD "/parts/nowhere.yaml", &problems));
    cr_assert_eq(problems.count, 1);
    cr_expect(strstr(problems.list[0].text, "No such file"));
    config_problems_done(&problems);
}

Test(load, none_switches_a_test_off_for_one_station)
{
    struct config *config = load_good(
        TOP
        "quality: {oxygen: {usual: [none, 18 mg/L]}}\n"
        "stations: {a: {latitude: 1, longitude: 2, elevation: 3 m, standard_time: Z, salinity: 0, quality: {oxygen: "
        "{sensor: none, spike: none, rate: none, flat: none}, temperature: {spike: [none, 9 degF]}}}}\n");
    struct quality_limits limits = config_quality(config, &config->stations[0], QUANTITY_OXYGEN);
    cr_expect(isnan(limits.sensor_min) && isnan(limits.sensor_max));
    cr_expect(isnan(limits.spike_suspect) && isnan(limits.spike_fail) && isnan(limits.rate));
    cr_expect(isnan(limits.usual_min));
    cr_expect_float_eq(limits.usual_max, 18, 0);
    cr_expect_eq(limits.flat_suspect, 0);
    cr_expect_eq(limits.flat_fail, 0);
    limits = config_quality(config, &config->stations[0], QUANTITY_TEMPERATURE);
    cr_expect(isnan(limits.spike_suspect));
    cr_expect_float_eq(limits.spike_fail, 5, 1e-12, "9 degF as a difference");
    config_free(config);
}

Test(load, limits_are_values_and_deadbands_are_differences)
{
    struct config *config =
        load_good(TOP "rules:\n"
                      "  hot: {kind: above, quantity: temperature, limit: 68 degF, deadband: 1.8 degF}\n"
                      "  jump: {kind: rise, quantity: temperature, limit: 9 degF, window: 1 h}\n"
                      "  cold: {limit: -1 degC, quantity: temperature, kind: below}\n");
    cr_expect_float_eq(config->rules[0].limit, 20, 1e-12);
    cr_expect_float_eq(config->rules[0].deadband, 1, 1e-12);
    cr_expect_float_eq(config->rules[1].limit, 5, 1e-12);
    cr_expect_float_eq(config->rules[2].limit, -1, 0, "keys may stand in any order");
    config_free(config);
}

Test(load, aliases_may_share_settings)
{
    struct config *config = load_good(
        TOP "stations:\n"
            "  a: {latitude: 1, longitude: 2, elevation: 3 m, standard_time: Z, salinity: 0, labels: [x], quality: &q "
            "{level: {rate: 1 m}}}\n"
            "  b: {latitude: 1, longitude: 2, elevation: 3 m, standard_time: Z, salinity: 0, quality: *q}\n");
    cr_expect_float_eq(config->stations[1].quality[0].limits.rate, 1, 0);
    config_free(config);
}

Test(load, aliases_cannot_make_a_small_file_huge)
{
    struct text text;
    text_init(&text, 1 << 24);
    text_puts(&text, TOP "intake: {ignore: &w [");
    for (int i = 0; i < 1000; i++)
        text_puts(&text, "x,");
    text_puts(&text, "]}\nstations:\n");
    for (int i = 0; i < 8000; i++)
        text_printf(
            &text, "  s%d: {latitude: 1, longitude: 2, elevation: 3 m, standard_time: Z, salinity: 0, drops: *w}\n", i);
    expect_problem(text.bytes, "the settings are too large from here on");
    text_done(&text);
}

Test(load, an_alias_inside_itself_ends)
{
    expect_problem(TOP "stations: &s {a: *s}\n", "unknown key 'a' in station 'a'");
    expect_problem(TOP "intake: &i {ignore: *i}\n", "'ignore' must be a list");
}

Test(load, an_include_needs_a_folder)
{
    expect_problem(TOP "include: [a.yaml]\n", "memory.yaml:5:10: 'include' needs settings that come from a file");
}

Test(load, a_long_list_is_refused)
{
    struct text text;
    text_init(&text, 1 << 20);
    text_puts(&text, TOP "intake: {ignore: [");
    for (int i = 0; i < 1001; i++)
        text_puts(&text, "x,");
    text_puts(&text, "]}\n");
    expect_problem(text.bytes, "'ignore' has 1001 entries, more than the limit of 1000");
    text_done(&text);
}

Test(load, thousands_of_mistakes_end_in_one_that_says_so)
{
    struct text text;
    struct config_problems problems;
    text_init(&text, 1 << 20);
    text_puts(&text, TOP "stations:\n");
    for (int i = 0; i < 2000; i++)
        text_printf(&text, "  s%d: {latitude: 1}\n", i);
    cr_expect_null(load_bytes(text.bytes, &problems));
    cr_expect_eq(problems.count, 1000);
    size_t last = 0;
    for (size_t i = 0; i < problems.count; i++)
        last = strstr(problems.list[i].text, "more mistakes follow") ? i : last;
    cr_expect_eq(last, problems.count - 1, "problems are sorted by place");
    config_problems_done(&problems);
    text_done(&text);
}

Test(load, a_secret_in_the_file_is_refused_and_not_repeated)
{
    struct config_problems problems;
    cr_expect_null(
        load_bytes(TOP "recipients: {a: {webhook: \"https://h.example.org/\", secret: whsec_abc}}\n", &problems));
    cr_assert_eq(problems.count, 1);
    cr_expect_null(strstr(problems.list[0].text, "whsec_abc"));
    config_problems_done(&problems);
}

Test(load, control_bytes_in_a_key_come_out_escaped)
{
    struct config_problems problems;
    cr_expect_null(load_bytes(TOP "\"col\\e[31mour\": 1\n\"bad\\u202Ekey\": 1\n", &problems));
    cr_assert_eq(problems.count, 2);
    for (size_t i = 0; i < problems.count; i++)
        for (const char *c = problems.list[i].text; *c; c++)
            cr_expect(*c >= ' ' && *c <= '~');
    config_problems_done(&problems);
}

static uint32_t formats_of(const char *bytes)
{
    struct config_problems problems;
    struct config *config = load_bytes(bytes, &problems);
    cr_assert_not_null(config);
    uint32_t formats = config->archive_formats;
    config_free(config);
    config_problems_done(&problems);
    return formats;
}

Test(load, formats_of_the_archive_are_a_list_of_words)
{
    const uint32_t usual = 1u << FORMAT_CSV | 1u << FORMAT_NETCDF | 1u << FORMAT_XLSX | 1u << FORMAT_CHART;
    cr_expect_eq(formats_of(TOP), usual);
    cr_expect_eq(formats_of(TOP "archive_formats: [csv, waterml]\n"), 1u << FORMAT_CSV | 1u << FORMAT_WATERML);
    cr_expect_eq(formats_of(TOP "archive_formats: netcdf\n"), 1u << FORMAT_NETCDF);
    cr_expect_eq(formats_of(TOP "archive_formats: []\n"), 0);
    expect_problem(TOP "archive_formats: [csv, netcdff]\n", "has the unknown word 'netcdff', expected 'netcdf'");
    expect_problem(TOP "archive_formats: {csv: true}\n", "'archive_formats' must be a list");
    expect_problem(TOP "archive_formats:\n", "'archive_formats' has no value");
}

static int kept_of(const char *bytes)
{
    struct config_problems problems;
    struct config *config = load_bytes(bytes, &problems);
    cr_assert_not_null(config);
    int kept = config->keep_revisions;
    config_free(config);
    config_problems_done(&problems);
    return kept;
}

Test(load, former_revisions_are_kept_by_number_or_all_or_none)
{
    cr_expect_eq(kept_of(TOP), 0);
    cr_expect_eq(kept_of(TOP "keep_revisions: none\n"), 0);
    cr_expect_eq(kept_of(TOP "keep_revisions: 3\n"), 3);
    cr_expect_eq(kept_of(TOP "keep_revisions: all\n"), INT_MAX);
    expect_problem(TOP "keep_revisions: 0\n", "must be between 1 and 1000000, found '0'");
    expect_problem(TOP "keep_revisions: lots\n", "whole number");
    expect_problem(TOP "workers: all\n", "whole number");
}
