/* SPDX-License-Identifier: MIT */
#include "settings.h"

#include <criterion/criterion.h>
#include <stdio.h>
#include <string.h>

static struct arena *arena;
static struct config *config;
static struct batch batch;
static struct error error;

static void start(void)
{
    arena = arena_new();
    config = settings_make(arena);
    error = (struct error){0};
}

static void finish(void)
{
    arena_free(arena);
}

TestSuite(place, .init = start, .fini = finish);

static bool take(const char *path, const char *text)
{
    error = (struct error){0};
    return settings_read(arena, config, path, text, &batch, &error);
}

static void expect_place(const char *path, const char *text, enum place_kind kind, size_t index, const char *evidence)
{
    cr_assert(take(path, text), "%s", error.text);
    cr_expect_eq(batch.place_kind, kind);
    cr_expect_eq(batch.place_index, index);
    cr_expect_str_eq(batch.evidence, evidence);
}

static void expect_error(const char *path, const char *text, const char *expected)
{
    cr_assert_not(take(path, text));
    cr_expect_eq(error.kind, ERROR_INPUT);
    cr_expect_str_eq(error.text, expected);
}

#define PLAIN "Time,Temp (C),DO (mg/L)\n2026-03-01 00:00,5,9\n"
#define WITH_LOGGER(serial) "Time,Temp (C),DO (mg/L),Logger\n2026-03-01 00:00,5,9," serial "\n"
#define WITH_STATION(label) "Time,Temp (C),DO (mg/L),Station\n2026-03-01 00:00,5,9," label "\n"
#define AIR "When,Baro (hPa)\n2026-03-01T00:00,1013.2\n"

Test(place, is_found_by_path)
{
    expect_place("north/heron_1.csv", PLAIN, PLACE_STATION, 0, "path matches '**heron*'");
    expect_place("north/Mill.csv", PLAIN, PLACE_STATION, 1, "path matches '**mill*'");
    expect_place("hill.csv", AIR, PLACE_BAROMETER, 0, "path matches '**hill*'");
}

Test(place, is_found_by_serial_and_label_in_columns)
{
    expect_place("x.csv", WITH_LOGGER("sn-20417"), PLACE_STATION, 0, "serial 'sn-20417' in line 2");
    expect_place("x.csv", WITH_STATION("Mill Pd"), PLACE_STATION, 1, "label 'Mill Pd' in line 2");
    expect_place("x.csv", WITH_STATION("mill-pond"), PLACE_STATION, 1, "label 'mill-pond' in line 2");
    expect_place("x.csv", WITH_STATION("Mill Pond outlet"), PLACE_STATION, 1, "label 'Mill Pond outlet' in line 2");
    expect_place("mill.csv", WITH_LOGGER("SN-30002"), PLACE_STATION, 1,
                 "serial 'SN-30002' in line 2; path matches '**mill*'");
}

Test(place, the_serial_number_of_a_file_is_kept_unless_it_has_several)
{
    cr_assert(take("north/heron_1.csv", PLAIN), "%s", error.text);
    cr_expect_str_eq(batch.serial, "");
    cr_assert(take("x.csv", WITH_LOGGER("sn-20417")), "%s", error.text);
    cr_expect_str_eq(batch.serial, "sn-20417");
    cr_assert(take("x.csv", WITH_LOGGER("SN-30001") "2026-03-01 00:15,5,9,SN-30002\n"), "%s", error.text);
    cr_expect_str_eq(batch.serial, "");
}

Test(place, is_found_by_labels_above_the_header)
{
    expect_place("x.csv", "S/N: B-7\n" AIR, PLACE_BAROMETER, 0, "serial 'B-7' in line 1");
    expect_place("x.csv", "made by,crew 4\nS/N,,B-7\n" AIR, PLACE_BAROMETER, 0, "serial 'B-7' in line 2");
    expect_place("x.csv", "s/n =  B-7,x\n" AIR, PLACE_BAROMETER, 0, "serial 'B-7' in line 1");
    expect_error(
        "x.csv", "S/Nothing: B-7\n" AIR,
        "unclaimed: no barometer claims it: add a pattern that matches its path to 'drops' of the barometer it "
        "belongs to");
}

Test(place, refuses_evidence_that_points_to_two_places)
{
    expect_error(
        "mill.csv", WITH_LOGGER("SN-20417"),
        "serial 'SN-20417' in line 2: that is station 'heron-creek', but path matches '**mill*': that is station "
        "'mill-pond'; the file is swapped or mislabelled: move it, or correct the settings");
    expect_error("mill.csv", WITH_STATION("HC-1"),
                 "label 'HC-1' in line 2: that is station 'heron-creek', but path matches '**mill*': that is station "
                 "'mill-pond'; the file is swapped or mislabelled: move it, or correct the settings");
    expect_error(
        "x.csv", "Time,Temp (C),DO (mg/L),Logger,Station\n2026-03-01 00:00,5,9,SN-30001,HC-1\n",
        "serial 'SN-30001' in line 2: that is station 'mill-pond', but label 'HC-1' in line 2: that is station "
        "'heron-creek'; the file is swapped or mislabelled: move it, or correct the settings");
}

Test(place, lets_other_evidence_decide_between_places_that_share_a_pattern)
{
    expect_place("heron-and-mill.csv", WITH_LOGGER("SN-30001"), PLACE_STATION, 1,
                 "serial 'SN-30001' in line 2; path matches '**mill*'");
    expect_error("heron-and-mill.csv", PLAIN,
                 "path matches '**heron*', but so it is for station 'heron-creek' ('**heron*') and station 'mill-pond' "
                 "('**mill*'): make them different in the settings");
}

Test(place, refuses_water_for_a_barometer_and_air_for_a_station)
{
    expect_error(
        "hill.csv", PLAIN,
        "path matches '**hill*': that is barometer 'hill', but the file holds readings or notes from water: correct "
        "the settings, or move the file");
    expect_error(
        "heron.csv", AIR,
        "path matches '**heron*': that is station 'heron-creek', but the file holds air pressure only: correct the "
        "settings, or move the file");
    expect_place("hill/heron.csv", PLAIN, PLACE_STATION, 0, "path matches '**heron*'");
}

Test(place, says_how_to_claim_an_unclaimed_drop)
{
    expect_error("x.csv", PLAIN,
                 "unclaimed: no station claims it: add a pattern that matches its path to 'drops' of the "
                 "station it belongs to");
    expect_error(
        "x.csv", WITH_LOGGER("SN-9"),
        "unclaimed: no station claims it: add serial 'SN-9' (line 2) to 'serials', or a pattern that matches its path "
        "to 'drops', of the station it belongs to");
    expect_error(
        "x.csv", WITH_STATION("Rook Weir"),
        "unclaimed: no station claims it: add 'Rook Weir' (line 2) to 'labels', or a pattern that matches its path to "
        "'drops', of the station it belongs to");
}

Test(place, complains_about_a_serial_that_the_settings_do_not_know)
{
    cr_assert(take("heron.csv", WITH_LOGGER("SN-9")), "%s", error.text);
    cr_assert_eq(batch.complaint_total, 1);
    cr_expect_str_eq(
        batch.complaints[0].text,
        "line 2: serial 'SN-9' is not in the settings; taken for station 'heron-creek' because path matches "
        "'**heron*': add it to 'serials' there");
    cr_expect_eq(batch.refused_rows, 0);
}

Test(place, refuses_a_file_whose_rows_belong_to_two_places)
{
    expect_error(
        "x.csv", "Time,Temp (C),DO (mg/L),Station\n2026-03-01 00:00,5,9,HC-1\n2026-03-01 00:05,5,9,Mill Pd\n",
        "line 3: 'Mill Pd' is not station 'heron-creek', to which the rows before belong: split the file by place");
    cr_assert(
        take("x.csv", "Time,Temp (C),DO (mg/L),Station\n2026-03-01 00:00,5,9,HC-1\n2026-03-01 00:05,5,9,Heron Cr\n"),
        "two names of one station: %s", error.text);
    cr_assert(
        take("x.csv", "Time,Temp (C),DO (mg/L),Logger\n2026-03-01 00:00,5,9,SN-30001\n2026-03-01 00:05,5,9,SN-30002\n"),
        "a replaced logger: %s", error.text);
    expect_error(
        "x.csv", "Time,Temp (C),DO (mg/L),Logger\n2026-03-01 00:00,5,9,SN-30001\n2026-03-01 00:05,5,9,SN-20417\n",
        "line 3: 'SN-20417' is not station 'mill-pond', to which the rows before belong: split the file by place");
}

Test(place, ends_in_one_of_many_that_share_a_pattern)
{
    enum { MANY = 100 };
    static struct station many[MANY];
    static char names[MANY][16], serials[MANY][16];
    static const char *serial_words[MANY], *everything[] = {"**"};
    for (size_t i = 0; i < MANY; i++) {
        snprintf(names[i], sizeof names[i], "s%zu", i);
        snprintf(serials[i], sizeof serials[i], "N%zu", i);
        serial_words[i] = serials[i];
        many[i] = (struct station){
            .id = names[i], .name = names[i], .drops = {everything, 1}, .serials = {&serial_words[i], 1}};
    }
    config->stations = many;
    config->station_count = MANY;
    expect_place("x.csv", WITH_LOGGER("N77"), PLACE_STATION, 77, "serial 'N77' in line 2; path matches '**'");
}
