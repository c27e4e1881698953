/* SPDX-License-Identifier: MIT */
/* A draft pasted into the settings must read the file as the layout does that a person wrote for it. */
#include "intake/draft.h"

#include "settings.h"

#include "base/file.h"
#include "config/load.h"
#include "support/workbook.h"

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

static struct arena *arena;
static struct draft draft;
static struct error error;

static void start(void)
{
    arena = arena_new();
    error = (struct error){0};
}

static void finish(void)
{
    arena_free(arena);
}

TestSuite(draft, .init = start, .fini = finish);

static const char *read_whole(const char *path)
{
    char *bytes;
    size_t length;
    const char *full = arena_printf(arena, "%s/%s", settings_root(), path);
    cr_assert(file_read(full, 1 << 20, &bytes, &length, &error), "%s", error.text);
    const char *copy = arena_strndup(arena, bytes, length);
    free(bytes);
    return copy;
}

static const char *replace(const char *text, const char *old, const char *new)
{
    const char *at = strstr(text, old);
    cr_assert_not_null(at, "no '%s' in:\n%s", old, text);
    return arena_printf(arena, "%.*s%s%s", (int)(at - text), text, new, at + strlen(old));
}

/* What the settings make of the file, but for the layout's name. */
static const char *read_with(const char *settings, const char *path, const char *bytes, size_t length)
{
    struct config_problems problems;
    config_problems_init(&problems);
    struct config *config = config_load_bytes("settings.yaml", settings, strlen(settings), &problems);
    cr_assert_not_null(config, "%s\n%s",
                       problems.count ? config_problem_print(&problems.list[0], problems.arena) : "no problem?",
                       settings);
    struct batch batch;
    struct text text;
    text_init(&text, 1 << 22);
    error = (struct error){0};
    intake_read(arena, config, path, bytes, length, settings_now(), true, &batch, &error);
    settings_print(config, &batch, &error, &text);
    const char *printed = arena_strdup(arena, text.bytes);
    text_done(&text);
    config_free(config);
    config_problems_done(&problems);
    const char *end = strchr(printed, '\n');
    return strncmp(printed, "layout: ", 8) == 0 && end ? end + 1 : printed;
}

static void make(const char *path, const char *bytes)
{
    struct draft_file file = {path, bytes, strlen(bytes)};
    cr_assert(draft_layout(arena, &file, 1, &draft, &error), "%s", error.text);
}

static void expect_in(const char *part)
{
    cr_expect_not_null(strstr(draft.yaml, part), "'%s' is not in\n%s", part, draft.yaml);
}

/* ---- The crews of the sample network ---- */

static void check_drop(const char *name, const char *inbox_path, const char *zone)
{
    const char *bytes = read_whole(arena_printf(arena, "samples/drops/%s", name));
    const char *settings = read_whole("config-examples/sample-network.yaml");
    const char *from = strstr(settings, "\nlayouts:"), *to = strstr(settings, "\nrules:");
    cr_assert(from && to);
    make(name, bytes);
    const char *yaml = zone ? replace(draft.yaml, "zone: \"station\"", zone) : draft.yaml;
    const char *pasted = arena_printf(arena, "%.*s\n%s\n%s", (int)(from - settings), settings, yaml, to);
    const char *wanted = read_with(settings, inbox_path, bytes, strlen(bytes)),
               *got = read_with(pasted, inbox_path, bytes, strlen(bytes));
    cr_assert(strncmp(wanted, "error", 5) != 0, "%s: %s", name, wanted);
    cr_expect_str_eq(got, wanted, "%s: got\n%.2000s\nexpected\n%.2000s\ndraft\n%s", name, got, wanted, draft.yaml);
}

Test(draft, reads_every_sample_drop_as_its_layout_does)
{
    if (!settings_has_zones())
        cr_skip_test("skipped, no time zones");
    const char *crew = "zone: Pacific/Easter";
    check_drop("north-water.csv", "north/ferry.csv", crew);
    check_drop("north-specific-conductance.csv", "north/fern.csv", crew);
    check_drop("north-air.csv", "north/quay.csv", crew);
    check_drop("north-notes.csv", "north/notes/book.csv", crew);
    check_drop("east-water.csv", "east/es-2.csv", NULL);
    check_drop("east-notes.csv", "east/notes/book.csv", NULL);
    check_drop("south-water.tsv", "south/heron-creek/a.tsv", NULL);
    check_drop("south-air.tsv", "south/hill/a.tsv", NULL);
    check_drop("south-notes.csv", "south/notes/book.csv", NULL);
}

Test(draft, asks_of_a_sample_drop_what_it_does_not_say)
{
    make("north/north-water.csv", read_whole("samples/drops/north-water.csv"));
    cr_expect_str_eq(draft.id, "north-water");
    cr_assert_eq(draft.question_count, 2);
    cr_expect_not_null(strstr(draft.questions[0], "the day or the month"));
    cr_expect_not_null(strstr(draft.questions[1], "Which clock"));
    expect_in("# unsure: no day above 12 tells; 'DD/MM/YYYY hh:mm:ss AM' fits as well");
    make("a.tsv", read_whole("samples/drops/south-water.tsv"));
    cr_expect_eq(draft.question_count, 0, "%s", draft.yaml);
}

/* ---- Ten more crews ---- */

#define PLACES                                                                                                         \
    "network: {id: sallow}\ninbox: /srv/inbox\narchive: /srv/archive\nstate: /srv/state\nstations:\n"                  \
    "  heron-creek: {latitude: 44, longitude: -124, elevation: 2 m, standard_time: \"-08:00\", salinity: 12, "         \
    "drops: [\"**heron*\"], serials: [SN-1, \"20417\"], labels: [HC-1, Heron]}\n"                                      \
    "barometers:\n  hill: {latitude: 44, longitude: -124, elevation: 74 m, standard_time: \"-08:00\", "                \
    "drops: [\"**hill*\"]}\n"

static void compare(const char *path, const char *bytes, const char *layout)
{
    make(path, bytes);
    const char *wanted =
        read_with(arena_printf(arena, PLACES "layouts:\n  hand: %s\n", layout), path, bytes, strlen(bytes));
    const char *got = read_with(arena_printf(arena, PLACES "%s", draft.yaml), path, bytes, strlen(bytes));
    cr_assert(strncmp(wanted, "error", 5) != 0, "%s", wanted);
    cr_expect_str_eq(got, wanted, "got\n%.2000s\nexpected\n%.2000s\ndraft\n%s", got, wanted, draft.yaml);
}

Test(draft, reads_german_headers_with_commas_and_units_in_brackets)
{
    compare(
        "heron.csv",
        "Messstelle: Heron\r\nSeriennummer: SN-1\r\n\r\nDatum;Uhrzeit;Wasserdruck [hPa];Wassertemperatur [°C];"
        "Sauerstoff [mg/l];Leitfähigkeit [µS/cm];Batteriespannung [V];Bemerkung\r\n"
        "30.03.2026;23:50;1101,3;12,40;9,81;512,4;3,6;\r\n30.03.2026;23:55;1101,9;12,41;9,80;512,9;3,6;gereinigt\r\n"
        "31.03.2026;00:00;1102,2;---;9,78;513,0;3,6;\r\n",
        "{decimal: \",\", serial_label: Seriennummer, station_label: Messstelle, missing: [---], time: {columns: "
        "[Datum, Uhrzeit], format: DD.MM.YYYY hh:mm, zone: station}, columns: [{header: Wasserdruck, is: "
        "water_pressure}, {header: Wassertemp*, is: temperature}, {header: Sauerstoff, is: oxygen}, {header: "
        "\"Leit*\", is: conductivity}, {header: Batt*, is: battery}]}");
    expect_in("missing: [\"---\"]");
}

Test(draft, reads_spanish_headers_and_finds_day_before_month)
{
    compare(
        "heron.csv",
        "Fecha y hora,Presión (kPa),Temperatura del agua (°C),Oxígeno disuelto (mg/L)\n"
        "09/04/2026 23:50,110.13,12.4,9.8\n10/04/2026 00:00,110.19,12.3,9.7\n13/04/2026 00:10,110.22,12.2,9.6\n",
        "{time: {columns: [\"Fecha*\"], format: DD/MM/YYYY hh:mm, zone: station}, columns: [{header: \"Pres*\", is: "
        "water_pressure}, {header: \"Temp*\", is: temperature}, {header: \"Ox*\", is: oxygen}]}");
    cr_expect_null(strstr(draft.yaml, "fits as well"));
}

/* No day above 12, but only one order makes the logger step on by 10 minutes over midnight. */
Test(draft, finds_month_before_day_by_even_steps)
{
    compare(
        "heron.csv",
        "# Serial: 20417\n# Offset: UTC-8\nTime,Abs Pres (psi),Temp (°F),ODO (mg/L)\n"
        "4/9/26 23:40,16.12,52.1,9.81\n4/9/26 23:50,16.13,52.2,9.82\n4/10/26 0:00,16.14,52.3,9.83\n"
        "4/10/26 0:10,16.15,52.4,9.84\n",
        "{comment: \"#\", serial_label: Serial, time: {columns: [Time], format: M/D/YY h:mm, zone: \"-08:00\"}, "
        "columns: [{header: \"Abs*\", is: water_pressure}, {header: \"Temp*\", is: temperature}, {header: \"ODO*\", "
        "is: oxygen}]}");
    expect_in("only so do the times step on evenly");
    expect_in("zone: \"-08:00\"");
    cr_expect_eq(draft.question_count, 0, "%s", draft.yaml);
}

Test(draft, reads_months_by_name_and_offsets_in_the_times)
{
    compare(
        "heron.csv",
        "Timestamp|Pressure (dbar)|WT (degC)|DO (% sat)|SpC (uS/cm)|Sal (psu)\n"
        "9-Apr-2026 13:50:00Z|11.02|12.4|98.1|24100|14.2\n9-Apr-2026 13:55:00Z|11.03|12.5|98.0|24110|14.3\n",
        "{time: {columns: [Timestamp], format: D-MON-YYYY hh:mm:ssZ, zone: UTC}, columns: [{header: \"Press*\", is: "
        "water_pressure}, {header: \"WT*\", is: temperature}, {header: \"DO*\", is: oxygen_saturation}, {header: "
        "\"SpC*\", is: specific_conductance}, {header: \"Sal*\", is: salinity}]}");
    cr_expect_eq(draft.question_count, 0, "%s", draft.yaml);
}

Test(draft, tells_air_by_magnitude_and_says_that_it_is_unsure)
{
    compare("hill.csv",
            "Date;Time;P (hPa);T (°C)\n2026/04/01;00:00;1003.1;8.1\n2026/04/01;00:10;1003.0;8.0\n"
            "2026/04/01;00:20;1002.8;7.9\nEND OF DATA, 3 rows;;;\n",
            "{end_marks: [END OF DATA], time: {columns: [Date, Time], format: YYYY/MM/DD hh:mm, zone: station}, "
            "columns: [{header: \"P (*\", is: air_pressure}, {header: \"T (*\", is: air_temperature}]}");
}

Test(draft, tells_water_from_air_where_the_header_says_pressure_only)
{
    const char *air =
        "Time,Pressure (hPa),Temperature (degC)\n2026-04-01 00:00,1003.1,8.1\n2026-04-01 00:10,1003.0,8\n";
    compare("hill.csv", air,
            "{time: {columns: [Time], format: iso, zone: station}, columns: [{header: \"P*\", is: air_pressure}, "
            "{header: \"T*p*\", is: air_temperature}]}");
    expect_in("kPa in the middle, as air has it");
    cr_expect_eq(draft.question_count, 2);
    const char *water =
        "Time,Pressure (hPa),Temperature (degC)\n2026-04-01 00:00,1403.1,8.1\n2026-04-01 00:10,1403.0,8\n";
    compare("heron.csv", water,
            "{time: {columns: [Time], format: iso, zone: station}, columns: [{header: \"P*\", is: water_pressure}, "
            "{header: \"T*p*\", is: temperature}]}");
    expect_in("# unsure: more than air ever has");
}

Test(draft, guesses_units_that_no_header_names_and_asks)
{
    compare(
        "heron.csv",
        "When,Water pressure,Water temperature,Dissolved oxygen,Conductivity,Depth,Flow\n"
        "2026-04-01T00:00:00,110.1,12.4,9.81,24100,0.91,1\n2026-04-01T00:05:00,110.2,12.5,9.82,24110,0.92,2\n"
        "2026-04-01T00:10:00,-9999,12.5,9.82,24110,0.92,2\n",
        "{missing: [\"-9999\"], time: {columns: [When], format: iso, zone: station}, columns: [{header: \"Water p*\", "
        "is: water_pressure, unit: kPa}, {header: \"Water t*\", is: temperature, unit: degC}, {header: \"Diss*\", is: "
        "oxygen, unit: mg/L}, {header: \"Cond*\", is: conductivity, unit: uS/cm}]}");
    expect_in("{header: \"Water pressure\", is: water_pressure, unit: \"kPa\"}  # unsure: the header names no unit");
    expect_in("{header: \"Depth\", is: ignored, optional: true}  # depth and level are worked out from the pressure");
    expect_in("{header: \"Flow\", is: ignored, optional: true}  # unsure: nothing says what it is");
    expect_in("missing: [\"-9999\"]  # unsure: -9999 lies far from all other values");
}

Test(draft, takes_a_thermometer_for_one_whatever_else_its_header_names_and_a_second_for_the_second)
{
    compare("heron.csv",
            "Time,LEVEL (kPa),Temp (C),DO (mg/L),DO Temp (C),Cond Temp (C)\n"
            "2026-04-01 00:00,113.2,8.1,9.8,8.2,8.3\n2026-04-01 00:10,113.1,8.0,9.7,8.1,8.2\n",
            "{time: {columns: [Time], format: iso, zone: station}, columns: [{header: \"LEVEL*\", is: water_pressure}, "
            "{header: \"Temp*\", is: temperature}, {header: \"DO (*\", is: oxygen}, {header: \"DO T*\", is: "
            "second_temperature}]}");
    expect_in("{header: \"DO Temp\", is: second_temperature, optional: true}  # unsure: column 'Temp (C)' is a "
              "temperature, too");
    expect_in("Which of columns 'Temp (C)' and 'Cond Temp (C)' counts? The second is left out.");
    compare(
        "heron.csv", "Time;Temp 1;Temp 2;P (kPa)\n2026-04-01 00:00;48.1;48.3;113.2\n2026-04-01 00:10;48.0;48.1;113.1\n",
        "{time: {columns: [Time], format: iso, zone: station}, columns: [{header: \"Temp 1\", is: temperature, unit: "
        "degF}, {header: \"Temp 2\", is: second_temperature, unit: degF}, {header: \"P*\", is: water_pressure}]}");
}

Test(draft, reads_a_notebook_with_one_row_a_visit)
{
    compare(
        "books/heron.csv",
        "Visit date,Time,Station,Stage (ft),Tape down (m),Logger out,Logger back in,Temp sonde (°C),Temp meter (°C),"
        "New batteries,Comments\n"
        "04/13/2026,1:50 PM,HC-1,\"3' 4 1/2\"\"\",1.25,1:40 PM,x,12.4,12.6,x,mount leans\n"
        "04/14/2026,9:05 AM,HC-1,3.41,,,,,,,\n",
        "{holds: notes, time: {columns: [\"Visit date\", Time], format: \"MM/DD/YYYY h:mm AM\", zone: station}, "
        "columns: [{header: Station, is: station}, {header: \"Stage*\", is: note, note: level}, {header: \"Tape*\", "
        "is: "
        "note, note: tape_down}, {header: Logger out, is: note, note: out_of_water}, {header: Logger back in, is: "
        "note, note: in_water}, {header: Temp sonde*, is: note, note: check, quantity: temperature}, {header: Temp "
        "meter*, is: note, note: check, quantity: temperature, reference: true}, {header: New batteries, is: note, "
        "note: battery}, {header: Comments, is: text}]}");
}

Test(draft, reads_a_german_notebook_with_one_row_a_note)
{
    compare(
        "books/heron.csv",
        "Datum;Ort;Was;Wert;Einheit;Bemerkung\n13.04.2026 13:50;HC-1;Pegel;0,556;m;\n"
        "13.04.2026 13:40;HC-1;ausgebaut;;;\n13.04.2026 14:10;HC-1;eingebaut;;;\n13.04.2026 "
        "14:15;HC-1;Notiz;;;windig\n",
        "{holds: notes, decimal: \",\", time: {columns: [Datum], format: DD.MM.YYYY hh:mm, zone: station}, columns: "
        "[{header: Ort, is: station}, {header: Was, is: kind}, {header: Wert, is: value}, {header: Einheit, is: unit}, "
        "{header: Bemerkung, is: text}], kinds: {Pegel: level, ausgebaut: out_of_water, eingebaut: in_water, Notiz: "
        "remark}}");
    expect_in("\"Notiz\": remark  # unsure: the word is not known");
}

Test(draft, reads_utf16_with_tabs)
{
    const char *text = "Time\tWater pressure (kPa)\n2026-04-01 00:00\t110.1\n2026-04-01 00:05\t110.2\n";
    size_t length = strlen(text);
    char *wide = arena_alloc(arena, 2 * length + 2);
    memcpy(wide, "\xFF\xFE", 2);
    for (size_t i = 0; i < length; i++)
        wide[2 + 2 * i] = text[i];
    struct draft_file file = {"heron.txt", wide, 2 * length + 2};
    cr_assert(draft_layout(arena, &file, 1, &draft, &error), "%s", error.text);
    const char *got = read_with(arena_printf(arena, PLACES "%s", draft.yaml), "heron.txt", wide, 2 * length + 2);
    cr_expect_not_null(strstr(got, "2026-04-01T08:05:00Z line 3 water_pressure=110200"), "%s\n%s", got, draft.yaml);
    expect_in("delimiter: tab");
}

/* ---- Workbooks, several files, refusals ---- */

#define CELL(text) "<c t=\"str\"><v>" text "</v></c>"
#define TABLE                                                                                                          \
    "<row>" CELL("Serial") CELL("SN-1") "</row><row>" CELL("When") CELL("Pressure (kPa)")                              \
        CELL("DO (mg/L)") "</row>"                                                                                     \
                          "<row><c s=\"1\"><v>46118.5</v></c><c><v>110.1</v></c><c><v>9</v></c></row>"                 \
                          "<row><c s=\"1\"><v>46118.6</v></c><c><v>110.2</v></c><c t=\"e\"><v>#N/A</v></c></row>"

Test(draft, reads_workbooks)
{
    size_t length;
    const char *sheet = workbook_sheet(arena, TABLE), *bytes = workbook_of_sheet(arena, sheet, strlen(sheet), &length);
    struct draft_file file = {"heron.xlsx", bytes, length};
    cr_assert(draft_layout(arena, &file, 1, &draft, &error), "%s", error.text);
    const char *got = read_with(arena_printf(arena, PLACES "%s", draft.yaml), "heron.xlsx", bytes, length);
    cr_expect_not_null(strstr(got, "2026-04-06T20:00:00Z line 3 oxygen=9 water_pressure=110100\n"), "%s\n%s", got,
                       draft.yaml);
    cr_expect_not_null(strstr(got, "serial 'SN-1' in line 1"), "%s", got);
    expect_in("format: \"iso\"  # the cells are dates; this is for times written as text");
    cr_expect_null(strstr(draft.yaml, "delimiter"));
}

Test(draft, grows_surer_with_more_files)
{
    const char *texts[] = {"Time,Pressure (kPa),DO (mg/L)\n04/05/2026 10:00,110.1,9\n04/05/2026 10:10,110.1,9\n",
                           "Time,Pressure (kPa),DO (mg/L),Cond (uS/cm)\n14/05/2026 10:00,110.1,9,500\n"};
    struct draft_file files[] = {{"a.csv", texts[0], strlen(texts[0])}, {"b.csv", texts[1], strlen(texts[1])}};
    cr_assert(draft_layout(arena, files, 1, &draft, &error), "%s", error.text);
    expect_in("fits as well");
    cr_assert(draft_layout(arena, files, 2, &draft, &error), "%s", error.text);
    cr_expect_null(strstr(draft.yaml, "fits as well"), "%s", draft.yaml);
    expect_in("format: \"DD/MM/YYYY h:mm\"");
    expect_in("{header: \"Cond\", is: conductivity, optional: true}");
}

Test(draft, refuses_files_without_a_table_or_of_another_kind)
{
    const char *text = "Dear crew,\nthe logger is broken.\n", *good = "Time,DO (mg/L)\n2026-04-01 10:00,9\n",
               *other = "When;DO (mg/L)\n2026-04-01 10:00;9\n";
    struct draft_file files[] = {
        {"a.csv", good, strlen(good)}, {"b.csv", other, strlen(other)}, {"c.txt", text, strlen(text)}};
    cr_expect_not(draft_layout(arena, &files[2], 1, &draft, &error));
    cr_expect_str_eq(error.text,
                     "'c.txt': no table was found: in its first 200 rows no header stands above rows with dates");
    cr_expect_not(draft_layout(arena, files, 2, &draft, &error));
    cr_expect_str_eq(error.text, "'b.csv': its delimiter or its time columns are not those of the first file: draft a "
                                 "layout for it by itself");
    const char *unknown = "Time,Flow\n2026-04-01 10:00,9\n";
    struct draft_file flow = {"d.csv", unknown, strlen(unknown)};
    cr_expect_not(draft_layout(arena, &flow, 1, &draft, &error));
    cr_expect_str_eq(error.text, "'d.csv': no column has a name that is known; the first is 'Flow'");
    cr_expect_not(draft_layout(arena, files, 0, &draft, &error));
}

Test(draft, keeps_odd_texts_inside_their_quotes)
{
    const char *text = "Time,\"DO \"\"new\"\" \\ *\",x: {y}\n2026-04-01 10:00,9,1\n";
    make("heron \"1\".csv", text);
    const char *got = read_with(arena_printf(arena, PLACES "%s", draft.yaml), "heron.csv", text, strlen(text));
    cr_expect_not_null(strstr(got, "oxygen=9"), "%s\n%s", got, draft.yaml);
    cr_expect_str_eq(draft.id, "heron-1");
}

Test(draft, reads_headers_of_two_lines)
{
    const char *text = "\"Date\nTime\",\"DO\n(mg/L)\",\"Water\r\nTemp (C)\"\n2026-04-01 10:00,9,12\n";
    make("heron.csv", text);
    const char *got = read_with(arena_printf(arena, PLACES "%s", draft.yaml), "heron.csv", text, strlen(text));
    cr_expect_not_null(strstr(got, "temperature=12 oxygen=9"), "%s\n%s", got, draft.yaml);
}

Test(draft, never_books_an_unknown_quantity_under_another)
{
    const char *text =
        "date,site,what,of,value,meter,unit\n2026-04-13 10:00,HC-1,check,DO,8.1,8.2,mg/L\n"
        "2026-04-13 10:00,HC-1,check,chlorophyll,1,2,ug/L\n2026-04-13 10:05,HC-1,check,DO,8.3,8.4,mg/L\n";
    make("books/heron.csv", text);
    expect_in("\"DO\": oxygen");
    expect_in("# unsure: 'chlorophyll' is no quantity that is known");
    cr_expect_null(strstr(draft.yaml, "temperature"), "%s", draft.yaml);
    const char *got = read_with(arena_printf(arena, PLACES "%s", draft.yaml), "books/heron.csv", text, strlen(text));
    cr_expect_not_null(strstr(got, "'chlorophyll' is no quantity"), "%s", got);
    cr_expect_not_null(strstr(got, "check of oxygen value=8.1 reference=8.2"), "%s", got);
}
