/* SPDX-License-Identifier: MIT */
#include "settings.h"

#include "base/file.h"
#include "base/timestamp.h"
#include "intake/note_render.h"

#include <criterion/criterion.h>
#include <math.h>
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

TestSuite(read_notes, .init = start, .fini = finish);

static bool take(const char *text)
{
    error = (struct error){0};
    return settings_read(arena, config, "books/page.csv", text, &batch, &error);
}

static void expect_wide(const char *columns, const char *cells, enum note_kind kind)
{
    cr_assert(take(arena_printf(arena, "When,Site,%s\n03/01/2026 10:00,HC-1,%s\n", columns, cells)), "%s", error.text);
    cr_assert_eq(batch.note_count, 1, "%zu notes, complaint %s", batch.note_count,
                 batch.complaint_count ? batch.complaints[0].text : "none");
    cr_expect_eq(batch.notes[0].kind, kind);
    cr_expect_str_eq(batch.notes[0].station, "heron-creek");
    cr_expect_eq(batch.notes[0].line, 2);
}

/* The complaint about the last of three rows, of which two are sound. */
static void expect_complaint(const char *header, const char *good, const char *row, const char *expected)
{
    cr_assert(take(arena_printf(arena, "%s\n%s\n%s\n%s\n", header, good, good, row)), "%s", error.text);
    cr_assert_geq(batch.complaint_count, 1);
    cr_expect_str_eq(batch.complaints[0].text, expected);
    cr_expect_eq(batch.complaints[0].line, 4);
}

#define WIDE "When,Site,Staff (ft),Logger out,DO logger (mg/L),DO meter (mg/L),Remarks"
#define WIDE_GOOD "03/01/2026 10:00,HC-1,3.5,,,,"
#define LONG "date,time,site,what,of,value,unit,meter,until,remark"
#define LONG_GOOD "2026-03-01,10:00,HC-1,stage,,1.5,m,,,"

Test(read_notes, reads_levels_in_decimals_and_in_feet_and_inches)
{
    expect_wide("Staff (ft)", "3.5", NOTE_LEVEL);
    cr_expect_float_eq(batch.notes[0].value, 3.5 * 0.3048, 1e-12);
    cr_expect_eq(batch.notes[0].time, settings_time("2026-03-01T18:00:00Z"));
    cr_expect_eq(batch.notes[0].until, TIME_NONE);
    cr_expect_eq(batch.notes[0].quantity, QUANTITY_COUNT);
    expect_wide("Staff (ft)", "\"3' 4 1/2\"\"\"", NOTE_LEVEL);
    cr_expect_float_eq(batch.notes[0].value, 40.5 * 0.0254, 1e-12);
    expect_wide("Staff (ft)", "3' 4 1/2\"", NOTE_LEVEL);
    cr_expect_float_eq(batch.notes[0].value, 40.5 * 0.0254, 1e-12);
    expect_wide("Tape down (ft)", "3 ft 4 in", NOTE_TAPE_DOWN);
    cr_expect_float_eq(batch.notes[0].value, 40 * 0.0254, 1e-12);
}

Test(read_notes, reads_times_out_of_and_in_the_water)
{
    expect_wide("Logger out", "10:20", NOTE_OUT_OF_WATER);
    cr_expect_eq(batch.notes[0].time, settings_time("2026-03-01T18:20:00Z"));
    expect_wide("Logger in", "2:05 pm", NOTE_IN_WATER);
    cr_expect_eq(batch.notes[0].time, settings_time("2026-03-01T22:05:00Z"));
    expect_wide("Logger out", "02/28/2026 23:50", NOTE_OUT_OF_WATER);
    cr_expect_eq(batch.notes[0].time, settings_time("2026-03-01T07:50:00Z"));
    static const char *const marks[] = {"x", "X", "yes", "\xE2\x9C\x93"};
    for (size_t i = 0; i < COUNT_OF(marks); i++) {
        expect_wide("Logger out", marks[i], NOTE_OUT_OF_WATER);
        cr_expect_eq(batch.notes[0].time, settings_time("2026-03-01T18:00:00Z"));
    }
    cr_assert(take("When,Site,Logger out\n03/01/2026 10:00,HC-1,no\n"), "%s", error.text);
    cr_expect_eq(batch.note_count, 0);
    cr_expect_eq(batch.complaint_total, 0);
}

Test(read_notes, pairs_sensor_and_meter)
{
    expect_wide("DO logger (mg/L),DO meter (mg/L)", "7.1,7.9", NOTE_CHECK);
    cr_expect_eq(batch.notes[0].quantity, QUANTITY_OXYGEN);
    cr_expect_eq(batch.notes[0].value, 7.1);
    cr_expect_eq(batch.notes[0].reference, 7.9);
    expect_wide("DO meter (mg/L),DO logger (mg/L)", "7.9,n/a", NOTE_CHECK);
    cr_expect(isnan(batch.notes[0].value), "the logger's own value is to be taken");
    cr_expect_eq(batch.notes[0].reference, 7.9);
}

Test(read_notes, reads_a_clock_check_and_remarks)
{
    expect_wide("Logger clock", "09:58:30", NOTE_CLOCK);
    cr_expect_eq(batch.notes[0].until, settings_time("2026-03-01T17:58:30Z"));
    expect_wide("Remarks", "\"weed, thick\"", NOTE_REMARK);
    cr_expect_str_eq(batch.notes[0].text, "weed, thick");
    expect_wide("Staff (ft),Remarks", "3.5,windy", NOTE_LEVEL);
    cr_expect_str_eq(batch.notes[0].text, "windy");
    expect_wide("Logger out,Remarks", "no,low water", NOTE_REMARK);
}

Test(read_notes, makes_a_note_of_each_filled_cell_of_several_stations)
{
    cr_assert(take("When,Site,Staff (ft),Logger out,Logger in\n03/01/2026 10:00,HC-1,3.5,10:05,10:20\n\n"
                   "03/01/2026 12:00,Mill Pd,2,,\n"),
              "%s", error.text);
    cr_assert_eq(batch.note_count, 4);
    cr_expect(batch.is_notes);
    cr_expect_eq(batch.place_kind, PLACE_NONE);
    cr_expect_str_eq(batch.evidence, "column 'Site' of the rows");
    cr_expect_str_eq(batch.notes[3].station, "mill-pond");
    cr_expect_eq(batch.notes[3].line, 4);
}

Test(read_notes, refuses_rows_of_unknown_stations)
{
    expect_complaint(
        WIDE, WIDE_GOOD, "03/01/2026 11:00,Rook Weir,3.5,,,,",
        "line 4: column 'Site': 'Rook Weir' is not the name of one station: add it to 'labels' of the station it "
        "means");
    cr_expect_eq(batch.refused_rows, 1);
    expect_complaint(WIDE, WIDE_GOOD, "03/01/2026 11:00,,3.5,,,,", "line 4: column 'Site': the row names no station");
}

Test(read_notes, refuses_notes_from_the_future)
{
    expect_complaint(
        WIDE, WIDE_GOOD, "06/01/2026 11:00,HC-1,3.5,,,,",
        "line 4: time '06/01/2026 11:00' lies in the future: correct the row, or 'zone' in layout 'north-book'");
    expect_complaint(WIDE, WIDE_GOOD, "05/31/2026 15:30,HC-1,,16:30,,,",
                     "line 4: the note 'out_of_water' lies in the future");
    cr_assert(take(WIDE "\n05/31/2026 16:05,HC-1,3.5,,,,\n"), "a phone's clock may be a little ahead: %s", error.text);
    cr_expect_eq(batch.note_count, 1);
}

Test(read_notes, complains_about_cells_that_it_cannot_use)
{
    expect_complaint(WIDE, WIDE_GOOD, "03/01/2026 11:00,HC-1,high,,,,",
                     "line 4: column 'Staff (ft)': 'high' is no number: correct it, or add it to 'missing' in layout "
                     "'north-book'");
    expect_complaint(WIDE, WIDE_GOOD, "03/01/2026 11:00,HC-1,3 psi,,,,",
                     "line 4: column 'Staff (ft)': '3 psi' is not a length");
    expect_complaint(
        WIDE, WIDE_GOOD, "03/01/2026 11:00,HC-1,,soon,,,",
        "line 4: column 'Logger out': 'soon' is neither a time of day, a time written as 'MM/DD/YYYY hh:mm', nor "
        "a mark such as x");
    expect_complaint(WIDE, WIDE_GOOD, "03/01/2026 11:00,HC-1,,,7.1,,",
                     "line 4: the note 'check' has no reading of the meter or standard");
    cr_expect_eq(batch.note_count, 1, "the sound rows are one note");
}

Test(read_notes, needs_a_unit_for_plain_numbers)
{
    struct column columns[] = {{.header = "Site", .role = COLUMN_STATION},
                               {.header = "Staff", .role = COLUMN_NOTE, .note_kind = NOTE_LEVEL}};
    struct layout *layout = settings_layout(config, "north-book");
    layout->columns = columns;
    layout->column_count = 2;
    expect_complaint(
        "When,Site,Staff", "03/01/2026 10:00,HC-1,3 ft", "03/01/2026 11:00,HC-1,3.5",
        "line 4: column 'Staff': '3.5' has no unit: name one in the header, or add 'unit' to the column in layout "
        "'north-book'");
}

Test(read_notes, lets_the_later_of_two_contradicting_lines_count)
{
    cr_assert(take(WIDE "\n03/01/2026 10:00,HC-1,3.5,,,,\n03/01/2026 10:00,Heron Cr,3.6,,,,\n"), "%s", error.text);
    cr_assert_eq(batch.note_count, 1);
    cr_expect_float_eq(batch.notes[0].value, 3.6 * 0.3048, 1e-12);
    cr_expect_eq(batch.notes[0].line, 3);
    cr_expect_eq(batch.folded_rows, 1);
    cr_assert_eq(batch.complaint_count, 1);
    cr_expect_str_eq(
        batch.complaints[0].text,
        "line 3: 'level' of station 'heron-creek' at 2026-03-01T18:00:00Z is not what line 2 says: the later line "
        "counts; strike out the other");
}

Test(read_notes, names_two_strikes_that_begin_together_and_end_apart)
{
    cr_assert(take(LONG "\n2026-03-01,10:00,HC-1,strike,oxygen,,,,12:00,mud\n"
                        "2026-03-01,10:00,HC-1,strike,oxygen,,,,11:00,mud\n"),
              "%s", error.text);
    cr_assert_eq(batch.note_count, 1);
    cr_expect_eq(batch.notes[0].line, 3);
    cr_assert_eq(batch.complaint_count, 1);
    cr_expect_str_eq(
        batch.complaints[0].text,
        "line 3: 'strike' of station 'heron-creek' at 2026-03-01T18:00:00Z is not what line 2 says: the later line "
        "counts; strike out the other");
}

Test(read_notes, names_a_restore_that_takes_back_a_strike_of_the_same_file_and_keeps_both)
{
    cr_assert(take(LONG "\n2026-03-01,10:00,HC-1,strike,oxygen,,,,12:00,mud\n"
                        "2026-03-01,10:00,HC-1,restore,oxygen,,,,12:00,no mud\n"),
              "%s", error.text);
    cr_expect_eq(batch.note_count, 2);
    cr_assert_eq(batch.complaint_count, 1);
    cr_expect_str_eq(batch.complaints[0].text,
                     "line 3: 'restore' of station 'heron-creek' at 2026-03-01T18:00:00Z takes back line 2: the later "
                     "line counts; if that is not meant, correct one of the two");
}

Test(read_notes, names_what_cannot_have_followed_each_other_and_keeps_it)
{
    cr_assert(take(LONG "\n2026-03-01,10:00,HC-1,in_water,,,,,,\n"
                        "2026-03-02,10:00,HC-1,in_water,,,,,,\n"
                        "2026-03-03,10:00,HC-1,check_cleaned,oxygen,8,mg/L,8.1,,\n"
                        "2026-03-03,11:00,HC-1,check,oxygen,8,mg/L,8.1,,\n"
                        "2026-03-04,10:00,HC-1,check,oxygen,8,mg/L,8.1,,\n"),
              "%s", error.text);
    cr_expect_eq(batch.note_count, 5);
    cr_assert_eq(batch.complaint_count, 2);
    cr_expect_str_eq(
        batch.complaints[0].text,
        "line 3: 'in_water' of station 'heron-creek' at 2026-03-02T18:00:00Z follows 'in_water' of line 2: that "
        "is out of order; correct a time, or add the note that is missing between them");
    cr_expect_str_eq(
        batch.complaints[1].text,
        "line 5: 'check' of station 'heron-creek' at 2026-03-03T19:00:00Z follows 'check_cleaned' of line 4: "
        "that is out of order; correct a time, or add the note that is missing between them");
}

Test(read_notes, folds_equal_notes_silently)
{
    cr_assert(take(WIDE "\n03/01/2026 10:00,HC-1,3.5,x,,,\n03/01/2026 10:00,Heron Cr,3.5,x,,,\n"), "%s", error.text);
    cr_expect_eq(batch.note_count, 2);
    cr_expect_eq(batch.folded_rows, 2);
    cr_expect_eq(batch.complaint_total, 0);
}

static void expect_long(const char *row, enum note_kind kind)
{
    cr_assert(take(arena_printf(arena, LONG "\n%s\n", row)), "%s", error.text);
    cr_assert_eq(batch.note_count, 1, "%s", batch.complaint_count ? batch.complaints[0].text : "no complaint");
    cr_expect_eq(batch.notes[0].kind, kind);
    cr_expect_str_eq(batch.notes[0].station, "heron-creek");
}

Test(read_notes, reads_one_row_a_note)
{
    expect_long("2026-03-01,10:00,HC-1,stage,,1.5,m,,,windy", NOTE_LEVEL);
    cr_expect_eq(batch.notes[0].value, 1.5);
    cr_expect_str_eq(batch.notes[0].text, "windy");
    cr_expect_eq(batch.notes[0].time, settings_time("2026-03-01T18:00:00Z"));
    expect_long("2026-03-01,10:00,HC-1,Tape down,,3' 4\",,,,", NOTE_TAPE_DOWN);
    expect_long("2026-03-01,10:00,HC-1,pulled out,,,,,,", NOTE_OUT_OF_WATER);
    expect_long("2026-03-01,10:00,HC-1,put back,,,,,,", NOTE_IN_WATER);
    expect_long("2026-03-01,10:00,HC-1,side by side,DO,7.1,mg/L,7.9,,", NOTE_CHECK);
    cr_expect_eq(batch.notes[0].quantity, QUANTITY_OXYGEN);
    cr_expect_eq(batch.notes[0].value, 7.1);
    cr_expect_eq(batch.notes[0].reference, 7.9);
    expect_long("2026-03-01,10:00,HC-1,standard,SpC,1400,uS/cm,1413,,", NOTE_STANDARD);
    cr_expect_float_eq(batch.notes[0].reference, 1.413, 1e-12);
    expect_long("2026-03-01,10:00,HC-1,clock,,09:58:30,,,,", NOTE_CLOCK);
    cr_expect_eq(batch.notes[0].until, settings_time("2026-03-01T17:58:30Z"));
    expect_long("2026-03-01,10:00,HC-1,strike,oxygen,,,,2026-03-02 04:00,mud on the sensor", NOTE_STRIKE);
    cr_expect_eq(batch.notes[0].quantity, QUANTITY_OXYGEN);
    cr_expect_eq(batch.notes[0].until, settings_time("2026-03-02T12:00:00Z"));
    expect_long("2026-03-01,10:00,HC-1,instrument,,,,,,SN-20418", NOTE_INSTRUMENT);
    expect_long("2026-03-01,10:00,HC-1,remark,,,,,,ice along the bank", NOTE_REMARK);
}

Test(read_notes, complains_about_rows_that_lack_what_their_kind_needs)
{
    expect_complaint(LONG, LONG_GOOD, "2026-03-01,11:00,HC-1,splash,,1,m,,,",
                     "line 4: column 'what': 'splash' is no kind of note: correct it, or add it to 'kinds' in layout "
                     "'east-book'");
    expect_complaint(
        LONG, LONG_GOOD, "2026-03-01,11:00,HC-1,check,pH,1,,2,,",
        "line 4: column 'of': 'pH' is no quantity: correct it, or add it to 'quantities' in layout 'east-book'");
    expect_complaint(LONG, LONG_GOOD, "2026-03-01,11:00,HC-1,stage,,1,mg/L,,,",
                     "line 4: column 'unit': 'mg/L' is no unit of length");
    expect_complaint(LONG, LONG_GOOD, "2026-03-01,11:00,HC-1,stage,,,,,,", "line 4: the note 'level' has no value");
    expect_complaint(LONG, LONG_GOOD, "2026-03-01,11:00,HC-1,check,,1,,2,,",
                     "line 4: the note 'check' does not say of which quantity");
    expect_complaint(LONG, LONG_GOOD, "2026-03-01,11:00,HC-1,check,DO,1,mg/L,,,",
                     "line 4: the note 'check' has no reading of the meter or standard");
    expect_complaint(LONG, LONG_GOOD, "2026-03-01,11:00,HC-1,strike,,,,,,",
                     "line 4: the note 'strike' does not say until when");
    expect_complaint(LONG, LONG_GOOD, "2026-03-01,11:00,HC-1,strike,,,,,10:00,",
                     "line 4: the note 'strike' ends before it begins");
    expect_complaint(
        LONG, LONG_GOOD, "2026-03-01,11:00,HC-1,strike,,,,,later,",
        "line 4: column 'until': 'later' is neither a time of day nor a time written as 'YYYY-MM-DD hh:mm'");
    expect_complaint(LONG, LONG_GOOD, "2026-03-01,11:00,HC-1,clock,,,,,,",
                     "line 4: the note 'clock' does not say what the logger's clock showed");
    expect_complaint(LONG, LONG_GOOD, "2026-03-01,11:00,HC-1,remark,,,,,,", "line 4: the note 'remark' has no text");
    cr_expect_eq(batch.refused_rows, 1);
}

Test(read_notes, keeps_two_standards_of_one_moment)
{
    cr_assert(
        take(LONG
             "\n2026-03-01,10:00,HC-1,standard,SpC,83,uS/cm,84,,\n2026-03-01,10:00,HC-1,standard,SpC,1400,uS/cm,1413,,"
             "\n"),
        "%s", error.text);
    cr_expect_eq(batch.note_count, 2);
    cr_expect_eq(batch.complaint_total, 0);
}

Test(read_notes, takes_the_station_from_the_path_where_rows_name_none)
{
    const char *text = "date,time,what,value,unit\n2026-03-01,10:00,stage,1.5,m\n";
    cr_assert_not(take(text));
    cr_expect_str_eq(error.text,
                     "unclaimed: no station claims it: add a column with 'is: station' to layout 'east-book', or a "
                     "pattern that matches its path to 'drops' of the station it belongs to");
    cr_assert(settings_read(arena, config, "books/heron.csv", text, &batch, &error), "%s", error.text);
    cr_assert_eq(batch.note_count, 1);
    cr_expect_eq(batch.place_kind, PLACE_STATION);
    cr_expect_str_eq(batch.evidence, "path matches '**heron*'");
}

Test(read_notes, sets_aside_a_page_of_which_most_rows_are_of_no_use)
{
    cr_assert_not(take(LONG "\n2026-03-01,10:00,HC-1,splash,,1,m,,,\n"));
    cr_expect_eq(error.kind, ERROR_INPUT);
    cr_expect_str_eq(error.text,
                     "1 of 1 data rows cannot be used; line 2: column 'what': 'splash' is no kind of note: correct "
                     "it, or add it to 'kinds' in layout 'east-book'");
}

static void expect_time(const char *written, const char *expected)
{
    cr_assert(take(arena_printf(arena, "When,Site,Staff (ft)\n%s,HC-1,3.5\n", written)), "%s: %s", written, error.text);
    cr_assert_eq(batch.note_count, 1, "%s", written);
    cr_expect_eq(batch.notes[0].time, settings_time(expected), "%s", written);
}

Test(read_notes, reads_times_of_day_as_people_write_them)
{
    expect_time("03/01/2026 13:50", "2026-03-01T21:50:00Z");
    expect_time("03/01/2026 1:50pm", "2026-03-01T21:50:00Z");
    expect_time("03/01/2026  1:50 PM", "2026-03-01T21:50:00Z");
    expect_time("03/01/2026 1350", "2026-03-01T21:50:00Z");
    expect_time("03/01/2026 13h50", "2026-03-01T21:50:00Z");
    expect_time("03/01/2026 9:05", "2026-03-01T17:05:00Z");
    expect_time("03/01/2026 noon", "2026-03-01T20:00:00Z");
    cr_expect_not(take("When,Site,Staff (ft)\n03/01/2026 13:50:30,HC-1,3.5\n"),
                  "seconds that the format has no room for");
    cr_expect_not(take("When,Site,Staff (ft)\n1/3/2026 1:50pm,HC-1,3.5\n"), "the date stays as it was agreed");
}

Test(read_notes, knows_marks_in_several_tongues)
{
    const char *marks[] = {"x", "X", "xx", "yes", "ok", "ja", "s\xC3\xAD", "oui", "\xE2\x9C\x93"};
    for (size_t i = 0; i < COUNT_OF(marks); i++) {
        expect_wide("Logger out", marks[i], NOTE_OUT_OF_WATER);
        cr_expect_eq(batch.notes[0].time, settings_time("2026-03-01T18:00:00Z"), "%s", marks[i]);
    }
    expect_wide("Logger in,Staff (ft)", "nein,3.5", NOTE_LEVEL);
}

/* The kept template, filled in, by the layout of the example settings. */
Test(read_notes, reads_the_template_that_people_keep)
{
    CLEANUP(cleanup_free) char *template = NULL;
    size_t length;
    struct config_problems problems;
    config_problems_init(&problems);
    const char *settings = arena_printf(arena, "%s/config-examples/full.yaml", settings_root());
    struct config *loaded = config_load(settings, &problems);
    cr_assert_not_null(loaded, "%s", problems.count ? config_problem_print(&problems.list[0], problems.arena) : "");
    cr_assert(file_read(arena_printf(arena, "%s/samples/field-notes-template.csv", settings_root()), 1 << 16, &template,
                        &length, &error));
    const char *filled =
        arena_printf(arena,
                     "%s2026-04-06,1:50 pm,HC-1,3 ft 4 in,,13:40,x,12.6,8.21,24100,,,13:49:30,,13:45,mount leans\n"
                     "2026-04-07,9:05,Heron Cr,0.556,1.25,,,,,,8.4,24300,,SN-2,,\n",
                     template);
    cr_assert(intake_read(arena, loaded, "north/field-notes-april.csv", filled, strlen(filled), settings_now(), false,
                          &batch, &error),
              "%s", error.text);
    cr_expect_eq(batch.complaint_total, 0, "%s", batch.complaint_total ? batch.complaints[0].text : "");
    struct text echo;
    text_init(&echo, 4096);
    for (size_t i = 0; i < batch.note_count; i++) {
        note_render(&batch.notes[i], &loaded->stations[0], &echo);
        text_putc(&echo, '\n');
    }
    cr_expect_str_eq(
        echo.bytes,
        "2026-04-06 13:50 -08:00 heron-creek: Water level by staff: 1.016 m \"mount leans\"\n"
        "2026-04-06 13:40 -08:00 heron-creek: Logger out of the water \"mount leans\"\n"
        "2026-04-06 13:50 -08:00 heron-creek: Logger into the water \"mount leans\"\n"
        "2026-04-06 13:50 -08:00 heron-creek: Water temperature, as found: sensor as the logger recorded it, meter "
        "12.6 °C \"mount leans\"\n"
        "2026-04-06 13:50 -08:00 heron-creek: Dissolved oxygen, as found: sensor as the logger recorded it, meter 8.21 "
        "mg/L \"mount leans\"\n"
        "2026-04-06 13:50 -08:00 heron-creek: Specific conductance at 25 °C, as found: sensor as the logger recorded "
        "it, "
        "meter 24100 µS/cm \"mount leans\"\n"
        "2026-04-06 13:50 -08:00 heron-creek: Clock check: the logger showed 2026-04-06 13:49:30 \"mount leans\"\n"
        "2026-04-06 13:45 -08:00 heron-creek: New batteries \"mount leans\"\n"
        "2026-04-07 09:05 -08:00 heron-creek: Water level by staff: 0.556 m\n"
        "2026-04-07 09:05 -08:00 heron-creek: Tape down to the water: 1.250 m\n"
        "2026-04-07 09:05 -08:00 heron-creek: Dissolved oxygen, after cleaning: sensor as the logger recorded it, "
        "meter 8.4 mg/L\n"
        "2026-04-07 09:05 -08:00 heron-creek: Specific conductance at 25 °C, after cleaning: sensor as the logger "
        "recorded it, meter 24300 µS/cm\n"
        "2026-04-07 09:05 -08:00 heron-creek: Instrument from here on \"SN-2\"\n",
        "%s", echo.bytes);
    text_done(&echo);
    config_free(loaded);
    config_problems_done(&problems);
}

Test(read_notes, a_serial_number_beside_a_logger_that_went_in_names_the_instrument)
{
    cr_assert(take("When,Site,Staff (ft),Logger in,Logger no\n03/01/2026 10:00,HC-1,,10:20,SN-7\n"
                   "03/02/2026 10:00,HC-1,3.5,,SN-7\n"),
              "%s", error.text);
    cr_assert_eq(batch.note_count, 3, "none beside a mere reading");
    cr_expect_eq(batch.notes[0].kind, NOTE_IN_WATER);
    cr_expect_eq(batch.notes[1].kind, NOTE_INSTRUMENT);
    cr_expect_eq(batch.notes[1].time, settings_time("2026-03-01T18:20:00Z"));
    cr_expect_str_eq(batch.notes[1].text, "SN-7");
    cr_expect_eq(batch.notes[2].kind, NOTE_LEVEL);
}
